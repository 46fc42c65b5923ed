"""Entering what was measured, poured, drained and done; correcting it; taking it back."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.effects import PublishState
from advisor.words import DAY, Check, CheckKind, Drain, Service
from agent.arrival import Outgoing
from agent.page.entering import FieldError, amount, plain_number
from agent.page.people import new_user, write_users
from agent.page.visitor import speech_for
from agent.store.batch import Batch, StoredEntry
from tests.page.shop import NOW, SUMP, Shop, a_plant, a_state, an_addition, token_of, words_of

PATH = f"/sumps/{SUMP}/enter"


def send(client, form_kind: str, /, **fields: str):
    """Fill in a form and press a button."""
    token = token_of(client.get(f"{PATH}/{form_kind}").text)
    data = {"token": token, "action": "save", "when": "now", **fields}
    return client.post(f"{PATH}/{form_kind}", data=data, follow_redirects=False)


def sent(shop: Shop) -> tuple[str, dict[str, object]]:
    """Channel and body of the one message that was sent."""
    (message,) = shop.sent
    assert message.retain is False
    return message.topic.rsplit("/", 1)[1], json.loads(message.payload)


FORMS = [
    pytest.param(
        "check",
        {"kind": "refractometer", "value": "6,4", "unit": "degBrix", "sample": "settled"},
        {"kind": "refractometer", "value": 6.4, "unit": "degBrix", "sample": "settled"},
        id="brix",
    ),
    pytest.param(
        "check",
        {"kind": "refractometer", "value": "8", "unit": "%"},
        {"kind": "refractometer", "value": 8.0, "unit": "%", "sample": "as-is"},
        id="percent",
    ),
    pytest.param(
        "check", {"kind": "ph", "value": "9.1"}, {"kind": "ph", "value": 9.1, "sample": "as-is"}
    ),
    pytest.param(
        "addition",
        {"water": "11", "concentrate": "500 mL"},
        {"water_l": 11.0, "concentrate_l": 0.5},
        id="parts",
    ),
    pytest.param(
        "addition",
        {"form": "mix", "volume": "20", "strength": "5", "water": "7"},
        {"volume_l": 20.0, "strength_pct": 5.0},
        id="mix",
    ),
    pytest.param("drain", {"form": "volume", "volume": "35"}, {"volume_l": 35.0, "to": ""}),
    pytest.param("drain", {"form": "level", "level": "200"}, {"to_level_mm": 200.0, "to": ""}),
    pytest.param("drain", {"form": "all", "to": "tote 3"}, {"all": True, "to": "tote 3"}),
    pytest.param(
        "service",
        {"kind": "skimmed", "note": "viel Öl"},
        {"kind": "skimmed", "note": "viel Öl"},
    ),
]


@pytest.mark.parametrize(("kind", "typed", "body"), FORMS)
def test_a_form_becomes_the_message_that_anybody_may_send(
    shop: Shop, kind: str, typed: dict[str, str], body: dict[str, object]
):
    """Same topics, same keys; saved means stored."""
    with shop.client() as client:
        answer = send(client, kind, by="Ann", **typed)
        assert answer.status_code == 303
        assert answer.headers["location"] == f"/sumps/{SUMP}?said=stored"
        assert "Saved." in words_of(client.get(answer.headers["location"]).text)
    channel, told = sent(shop)

    assert channel == kind
    assert told.pop("id")
    assert told == {**body, "by": "Ann"}
    assert len(shop.office.logbook.entries(SUMP, 0, NOW + 1, 9)) == 1


@pytest.mark.parametrize(
    ("kind", "typed", "words"),
    [
        ("check", {"kind": "refractometer", "value": ""}, "Enter a number, such as 7.9."),
        ("check", {"kind": "refractometer", "value": "-3"}, "Enter a number"),
        ("check", {"kind": "refractometer", "value": "1.234,5"}, "Enter a number"),
        ("check", {"kind": "refractometer", "value": "nan"}, "Enter a number"),
        ("check", {"kind": "refractometer", "value": "1e9"}, "It would be refused"),
        ("check", {"kind": "taste", "value": "3"}, "Choose one."),
        ("addition", {"water": "", "concentrate": ""}, "Enter how much it was."),
        ("addition", {"water": "12 apples"}, "Enter an amount"),
        ("addition", {"form": "mix", "volume": "20", "strength": "130"}, "Enter 0 to 100 %."),
        ("drain", {"form": "volume", "volume": "0"}, "Enter how much it was."),
        ("service", {"kind": ""}, "Choose one."),
        ("check", {"kind": "ph", "value": "9", "when": "then", "at": "soon"}, "a date and a time"),
        (
            "check",
            {"kind": "ph", "value": "9", "when": "then", "at": "2030-01-01T00:00"},
            "in the future",
        ),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_stays(
    shop: Shop, kind: str, typed: dict[str, str], words: str
):
    """Nothing is sent, the message says what is expected, the fields keep what was in them."""
    with shop.client() as client:
        answer = send(client, kind, **typed)
    assert answer.status_code == 422
    assert words in words_of(answer.text)
    for value in typed.values():
        if value and kind != "service" and value not in {"volume", "mix", "taste"}:
            assert value in answer.text
    assert shop.sent == []


def test_the_correction_is_shown_before_it_is_saved(shop: Shop):
    """What the estimate is now, and what it would be with the check; nothing is sent yet."""
    shop.tell(PublishState(a_state(shop.plant)))
    shop.believe()
    with shop.client() as client:
        answer = send(client, "check", kind="refractometer", value="6.0", action="look")
        said = words_of(answer.text)
    assert answer.status_code == 200
    assert "refractometer: 6.0 °Brix (7.5 %)" in said
    assert "What it changes" in said
    row = said[said.index("Concentration") :]
    before, after = row.split(" % ")[:2]
    assert "±" in before
    assert "±" in after
    assert shop.sent == []


def test_a_reading_far_from_what_is_expected_is_asked_about(shop: Shop):
    """The wrong sump, or oil on the prism: it can still be saved."""
    shop.believe()
    with shop.client() as client:
        far = send(client, "check", kind="refractometer", value="14", action="look")
        near = send(client, "check", kind="refractometer", value="6.4", action="look")
    assert "far from what the balance expects" in words_of(far.text)
    assert "far from what the balance expects" not in words_of(near.text)


def test_looking_changes_no_belief(shop: Shop):
    """A preview is thrown away: the belief of the agent is as before."""
    shop.believe()
    before = shop.office.beliefs[SUMP]
    with shop.client() as client:
        first = send(client, "check", kind="refractometer", value="9", action="look").text
        second = send(client, "check", kind="refractometer", value="9", action="look").text
    assert shop.office.beliefs[SUMP] is before
    assert words_of(first) == words_of(second)


def test_pressing_save_twice_counts_once(shop: Shop):
    """Both presses carry the same id, and an entry of one id is one entry."""
    with shop.client() as client:
        review = send(client, "addition", water="5", action="look").text
        name = review.split('name="entry" value="')[1].split('"')[0]
        for _ in range(2):
            send(client, "addition", water="5", entry=name)
    assert len(shop.office.logbook.entries(SUMP, 0, NOW + 1, 9)) == 1


def test_an_entry_written_ahead_of_its_transaction_is_found_in_the_store(shop: Shop):
    """A correction may be stored before the batch that tells of it: the store is looked at too."""
    shop.answers = False
    publish = shop.office.mailbox._publish

    def stored_quietly(message: Outgoing) -> None:
        publish(message)
        take, shop.office.mailbox.take = shop.office.mailbox.take, lambda _batch: None  # type: ignore[method-assign]  # deaf for a moment
        shop.store_sent(message)
        shop.office.mailbox.take = take  # type: ignore[method-assign]  # as before

    shop.office.mailbox._publish = stored_quietly
    with shop.client() as client:
        assert send(client, "addition", water="5").headers["location"].endswith("said=stored")


def test_without_the_broker_nothing_is_lost_from_the_form(shop: Shop):
    """The page says that nothing was saved, and holds what was typed for another try."""
    shop.is_connected = False
    with shop.client() as client:
        answer = send(client, "addition", water="5", concentrate="0.4")
    assert answer.status_code == 503
    assert "Nothing was saved" in words_of(answer.text)
    assert 'name="water" value="5"' in answer.text


def test_a_moment_of_the_past_is_on_the_plants_own_clock(shop: Shop):
    """Summer time as in Dublin, whatever the browser's own zone is."""
    shop.commit(Batch(clock=NOW + 150 * DAY))
    with shop.client() as client:
        send(client, "check", kind="ph", value="9", when="then", at="2026-07-01T08:30")
    assert sent(shop)[1]["at"] == "2026-07-01T07:30:00Z"


class TestCorrecting:
    """A mistaken entry is corrected, never erased."""

    ENTRIES = (
        an_addition("a-1"),
        Drain(at=NOW - DAY, id="d-1", volume=20.0, by="ann"),
        Check(at=NOW - DAY, id="c-1", kind=CheckKind.REFRACTOMETER, value=6.4, by="ann"),
        Service(at=NOW - DAY, id="s-1", kind="skimmed", note="oil", by="ann"),
    )
    KINDS = (("addition", "a-1"), ("drain", "d-1"), ("check", "c-1"), ("service", "s-1"))

    @pytest.fixture
    def used(self, shop: Shop) -> Shop:
        """A sump with one entry of each kind."""
        shop.commit(Batch(entries=[StoredEntry(SUMP, e, NOW) for e in self.ENTRIES]))
        return shop

    @pytest.mark.parametrize(("kind", "name"), KINDS)
    def test_the_form_holds_what_was_entered(self, used: Shop, kind: str, name: str):
        """One changes what was wrong; the rest, the moment too, is as it was."""
        with used.client() as client:
            text = client.get(f"{PATH}/{kind}?corrects={name}").text
        assert "It stays in the records." in words_of(text)
        assert 'name="when" value="then" checked' in text
        assert f'name="corrects" value="{name}"' in text

    def test_a_correction_names_what_it_replaces(self, used: Shop):
        """The later entry stands, the earlier one stays."""
        with used.client() as client:
            send(client, "addition", water="11", concentrate="2", corrects="a-1",
                 when="then", at="2026-03-02T05:00")  # fmt: skip
        assert sent(used)[1]["replaces"] == "a-1"
        logged = used.office.logbook.entry(SUMP, "a-1")
        assert logged is not None
        assert logged.is_replaced

    @pytest.mark.parametrize(("kind", "name"), KINDS)
    def test_any_entry_can_be_taken_back(self, used: Shop, kind: str, name: str):
        """What was poured becomes nothing, a check becomes a note; the agent takes both."""
        with used.client() as client:
            answer = send(client, kind, action="undo", corrects=name)
        assert answer.headers["location"].endswith("said=stored")
        channel, body = sent(used)
        assert body["replaces"] == name
        assert channel == ("service" if kind in {"check", "service"} else kind)
        logged = used.office.logbook.entry(SUMP, name)
        assert logged is not None
        assert logged.is_replaced

    def test_what_is_corrected_already_is_not_corrected_again(self, used: Shop):
        """Two corrections of one entry would contradict each other."""
        with used.client() as client:
            send(client, "addition", action="undo", corrects="a-1")
            assert client.get(f"{PATH}/addition?corrects=a-1").status_code == 404
            assert client.get(f"{PATH}/addition?corrects=nothing").status_code == 404
            assert client.get(f"{PATH}/drain?corrects=c-1").status_code == 404

    def test_one_corrects_ones_own(self, tmp_path):
        """With sign-in: one's own entries; with the right to change, anybody's."""
        users = {
            name: new_user(name, role, "correct horse battery")
            for name, role in (("ann", "enter"), ("bob", "enter"), ("cho", "change"))
        }
        write_users(tmp_path / "users.toml", users)
        shop = Shop(tmp_path, a_plant(tmp_path, page='users = "users.toml"'))
        shop.commit(Batch(entries=[StoredEntry(SUMP, an_addition("a-1"), NOW)]))
        statuses = {}
        for name in users:
            with shop.client() as client:
                token = token_of(client.get("/sign-in").text)
                data = {"token": token, "name": name, "password": "correct horse battery"}
                client.post("/sign-in", data=data)
                statuses[name] = client.get(f"{PATH}/addition?corrects=a-1").status_code
                if name == "bob":
                    send(client, "service", kind="other", by="ann")
        assert statuses == {"ann": 200, "bob": 403, "cho": 200}
        assert sent(shop)[1]["by"] == "bob"
        shop.close()


@given(st.text(max_size=30))
def test_any_text_is_a_number_or_a_mistake(text: str):
    """Whatever is typed in a number's field, the reader answers, and never with less than 0."""
    try:
        value = plain_number(text)
    except FieldError:
        return
    assert 0.0 <= value < float("inf")


@given(st.text(max_size=60))
def test_any_text_is_an_amount_or_a_mistake(text: str):
    """The same with a unit behind the number."""
    try:
        value = amount(text, speech_for("en", "metric", "UTC"))
    except FieldError:
        return
    assert 0.0 <= value < float("inf")


def test_amounts_are_in_the_units_that_one_reads():
    """A bare number is in litres or in US gallons, a unit goes before both."""
    metric, us = speech_for("en", "metric", "UTC"), speech_for("en", "us", "UTC")

    assert amount("2", metric) == 2.0
    assert amount("2", us) == pytest.approx(7.570823568)  # NIST Handbook 44, appendix C
    assert amount("2 gal", metric) == pytest.approx(7.570823568)
    assert amount("16 fl oz", us) == pytest.approx(0.473176473)
