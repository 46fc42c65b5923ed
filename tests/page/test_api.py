"""The API: the same things as on the page, under the same rights, told as JSON."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from advisor.effects import PublishAdvice, PublishAlarm, PublishEvent, PublishState
from advisor.words import HOUR, MINUTE, Check, CheckKind, Estimate, Signal, SumpEvent
from agent.arrival import Arrival, Outgoing
from agent.decode.decoder import Decoder
from agent.decode.results import AlarmOrder, Reason, Refusal, Report, StockReport
from agent.instants import text_of
from agent.messages.bodies import alarm_answer_body
from agent.page.people import new_user, read_users, token_user, write_users
from agent.resources import shipped
from agent.store.batch import Batch, StoredEntry
from tests.page.shop import (
    NOW,
    SUMP,
    Shop,
    a_plant,
    a_state,
    an_addition,
    an_advice,
    an_alarm,
)

API = "/api/1"
PASSWORD = "correct horse battery"  # noqa: S105  a test's
CHECK = {"kind": "refractometer", "value": 6.4, "unit": "degBrix"}


class ApiShop(Shop):
    """A shop that takes in whatever the API sends, and answers orders."""

    def store_sent(self, message: Outgoing) -> None:
        """Decode a message as the agent does, and store or refuse it."""
        batch = Batch()
        arrival = Arrival(NOW, message.topic, message.payload)
        for found in Decoder(self.plant).decode(arrival):
            match found:
                case Report(entry=entry) if entry.at > NOW + 5 * MINUTE:
                    refused = Refusal(
                        message.topic,
                        Reason.FUTURE,
                        "in the future",
                        message.payload[:100].decode(),
                    )
                    batch.refusals.append((NOW, refused))
                case Report(entry=entry):
                    batch.entries.append(StoredEntry(SUMP, entry, NOW))
                case StockReport():
                    batch.stock.append(found)
                case AlarmOrder():
                    self._answer(batch, message, found)
                case Refusal():
                    batch.refusals.append((NOW, found))
        self.commit(batch)

    def _answer(self, batch: Batch, message: Outgoing, order: AlarmOrder) -> None:
        """Accept orders on the alarm that stands, refuse others."""
        refusal = None if order.alarm == "level-low" else "no such alarm stands"
        topic = f"{message.topic.rsplit('/', 1)[0]}/alarm-answer"
        body = alarm_answer_body(order, refusal)
        batch.outgoing.append(Outgoing(topic, body, retain=False))


@pytest.fixture
def api_shop(tmp_path: Path) -> Iterator[ApiShop]:
    """A shop of which something is told, without sign-in."""
    shop = ApiShop(tmp_path, a_plant(tmp_path))
    fill(shop)
    yield shop
    shop.close()


def fill(shop: ApiShop) -> None:
    """A day of states, an event, an advice, alarms, entries, a stock, a refusal, readings."""
    for minute in range(0, 120, 5):
        shop.tell(
            PublishState(a_state(shop.plant, 300.0 + minute / 10.0, at=NOW - minute * MINUTE))
        )
    event = SumpEvent(
        id="e1",
        at=NOW - 3 * HOUR,
        kind="addition",
        source="inferred",
        volume=Estimate(12.0, 1.0),
        strength=None,
    )
    shop.tell(PublishEvent(event), PublishAdvice(an_advice()), PublishAlarm(an_alarm()))
    check = Check(at=NOW - HOUR, id="c-1", kind=CheckKind.TITRATION, value=0.072, by="ann")
    batch = Batch(entries=[StoredEntry(SUMP, e, NOW) for e in (an_addition(by="bob"), check)])
    batch.readings = [(SUMP, Signal.LEVEL, NOW - k * MINUTE, 300.0 + k, True) for k in range(30)]
    batch.stock = [StockReport(supply="drum-1", at=NOW - HOUR, id="s-1", volume=120.0, lot="L7")]
    batch.refusals = [(NOW, Refusal("north/x", Reason.UNIT, "no unit", "7,9"))]
    shop.commit(batch)


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[tuple[ApiShop, dict[str, str]]]:
    """A shop where one signs in; tokens of three programs by their role."""
    shop = ApiShop(tmp_path, a_plant(tmp_path, page='users = "users.toml"'))
    users, tokens = {"ann": new_user("ann", "enter", PASSWORD)}, {}
    for role in ("look", "enter", "change"):
        users[role], tokens[role] = token_user(role, role)
    write_users(tmp_path / "users.toml", users)
    fill(shop)
    yield shop, tokens
    shop.close()


def bearing(token: str) -> dict[str, str]:
    """Headers of a program."""
    return {"authorization": f"Bearer {token}"}


def kind_of(answer: Any) -> str:
    """Kind of a problem document, the rest of which is as RFC 9457 wants it."""
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert body["status"] == answer.status_code
    return str(body["type"].removeprefix("urn:millpond:problem:"))


# --- looking -------------------------------------------------------------------------------------


def test_states_and_advice_are_the_messages_themselves(api_shop: ApiShop):
    """What was published under a topic is what the API answers, by the same schema."""
    with api_shop.client() as client:
        for name in ("state", "advice"):
            body = client.get(f"{API}/sumps/{SUMP}/{name}").json()
            topic = f"{api_shop.plant.prefix}/{SUMP}/{name}"
            [told] = [p for t, p in api_shop.office.told.retained() if t == topic]
            assert body == json.loads(told)
            schema = json.loads(shipped(f"schemas/{name}.json").read_text("utf-8"))
            Draft202012Validator(schema).validate(body)


def test_what_was_told_is_found_in_every_place(api_shop: ApiShop):
    """Overview, series, events, entries, alarms, supplies, refusals."""
    with api_shop.client() as client:

        def of(path: str) -> Any:
            answer = client.get(f"{API}/{path}")
            assert answer.status_code == 200, answer.text
            return answer.json()

        [sump] = of("sumps")["sumps"]
        assert (sump["id"], sump["urgency"], sump["advice"]) == (SUMP, "now", "top-up")
        points = of(f"sumps/{SUMP}/series?points=20")["points"]
        assert 2 <= len(points) <= 20
        assert points[-1]["volume_l"]["value"] == 300.0
        assert points[-1]["concentration_pct"]["value"] == pytest.approx(7.62)
        readings = of(f"sumps/{SUMP}/signals/level/series")
        assert (readings["unit"], len(readings["points"])) == ("mm", 30)
        assert [e["id"] for e in of(f"sumps/{SUMP}/events")["events"]] == ["e1"]
        entries = of(f"sumps/{SUMP}/entries")["entries"]
        assert {e["id"]: e["channel"] for e in entries} == {"c-1": "check", "e-1": "addition"}
        [check] = [e["body"] for e in entries if e["id"] == "c-1"]
        assert (check["value"], check["unit"]) == (pytest.approx(7.2), "%")
        assert {"acknowledge", "shelve"} <= set(of("alarms")["alarms"][0]["commands"])
        supplies = {s["id"]: s for s in of("supplies")["supplies"]}
        assert (supplies["drum-1"]["left_l"], supplies["drum-1"]["lot"]) == (120.0, "L7")
        assert of("refusals")["refusals"][0]["reason"] == "unit"
        assert of("refusals")["counts"] == {"unit": 1}
        assert of("plant")["sumps"][0]["brim_l"] == pytest.approx(451.5)  # 1.5 m x 0.7 m x 0.43 m


def test_entries_are_told_as_they_would_be_entered(api_shop: ApiShop):
    """The body of each entry passes the schema of the message that makes such an entry."""
    with api_shop.client() as client:
        for entry in client.get(f"{API}/sumps/{SUMP}/entries").json()["entries"]:
            schema = json.loads(shipped(f"schemas/{entry['channel']}.json").read_text("utf-8"))
            Draft202012Validator(schema).validate(entry["body"])


@pytest.mark.parametrize(
    ("path", "status", "kind"),
    [
        ("sumps/mill-99", 404, "missing"),
        ("sumps/mill-99/state", 404, "missing"),
        ("sumps/MILL", 422, "parameter"),
        ("nowhere", 404, "missing"),
        ("sumps/a%0Ab", 404, "missing"),
        (f"sumps/{SUMP}/signals/ph/series", 404, "missing"),
        (f"sumps/{SUMP}/signals/smell/series", 422, "parameter"),
        (f"sumps/{SUMP}/series?begin=yesterday", 422, "parameter"),
        (f"sumps/{SUMP}/series?points=1", 422, "parameter"),
        (f"sumps/{SUMP}/series?begin=2020-01-01T00:00:00Z", 422, "parameter"),
        (f"sumps/{SUMP}/series?begin=2026-03-02T06:00:00Z", 422, "parameter"),
        ("refusals?limit=0", 422, "parameter"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_told_as_a_problem(
    api_shop: ApiShop, path: str, status: int, kind: str
):
    """RFC 9457: a type to tell it by, a title, the status, and where it was."""
    with api_shop.client() as client:
        answer = client.get(f"{API}/{path}")
        assert answer.status_code == status
        assert kind_of(answer) == kind


def test_of_a_sump_that_has_told_nothing_that_is_said(tmp_path: Path):
    """No state is no error of the sump's name; the overview has null."""
    shop = ApiShop(tmp_path)
    with shop.client() as client:
        assert kind_of(client.get(f"{API}/sumps/{SUMP}/state")) == "nothing-told"
        assert client.get(f"{API}/sumps/{SUMP}").json()["state"] is None
    shop.close()


def test_a_store_that_is_away_is_said(api_shop: ApiShop, monkeypatch: pytest.MonkeyPatch):
    """A status that asks to come again, not a mistake."""
    from agent.errors import StoreUnavailable

    def away(*_: object) -> None:
        raise StoreUnavailable(Path("north.db"), "locked")

    with api_shop.client() as client:
        monkeypatch.setattr(api_shop.office.logbook, "entries", away)
        answer = client.get(f"{API}/sumps/{SUMP}/entries")
        assert kind_of(answer) == "store-away"
        assert int(answer.headers["retry-after"]) > 0


# --- entering ------------------------------------------------------------------------------------


def test_an_entry_goes_out_as_the_message_that_it_is(api_shop: ApiShop):
    """Topic and body of the broker's message, the id told back."""
    with api_shop.client() as client:
        answer = client.post(f"{API}/sumps/{SUMP}/check", json={**CHECK, "by": "ann"})
        assert (answer.status_code, answer.json()["outcome"]) == (200, "stored")
        [sent] = api_shop.sent
        assert sent.topic == f"{api_shop.plant.prefix}/{SUMP}/check"
        assert json.loads(sent.payload) == {**CHECK, "by": "ann", "id": answer.json()["id"]}


@pytest.mark.parametrize(
    ("channel", "body"),
    [
        ("addition", {"water_l": 8.0, "concentrate_l": 2.0}),
        ("addition", {"volume_l": 10.0, "strength_pct": 8.0, "supply": "drum-1"}),
        ("drain", {"volume_l": 10.0, "to": "tank"}),
        ("drain", {"all": True}),
        ("charge", {"stage": "begun"}),
        ("service", {"kind": "skimmed", "note": "much"}),
        ("check", {"kind": "ph", "value": 9.1}),
    ],
)
def test_every_kind_of_entry_can_be_made(api_shop: ApiShop, channel: str, body: dict[str, Any]):
    """It is stored, and found among the entries with the same words."""
    with api_shop.client() as client:
        answer = client.post(f"{API}/sumps/{SUMP}/{channel}", json=body)
        assert answer.status_code == 200, answer.text
        entries = client.get(f"{API}/sumps/{SUMP}/entries").json()["entries"]
        assert answer.json()["id"] in {entry["id"] for entry in entries}


def test_the_same_entry_twice_counts_once_another_of_its_id_is_refused(api_shop: ApiShop):
    """A program that got no answer may send again."""
    with api_shop.client() as client:
        body = {**CHECK, "id": "panel-1"}
        for _ in range(2):
            answer = client.post(f"{API}/sumps/{SUMP}/check", json=body)
            assert answer.json() == {"id": "panel-1", "outcome": "stored"}
        assert len(api_shop.sent) == 1
        other = client.post(f"{API}/sumps/{SUMP}/check", json={**body, "value": 7.0})
        assert kind_of(other) == "conflict"


def test_a_mistake_is_corrected_and_taken_back_never_erased(api_shop: ApiShop):
    """The correction stands, the first entry stays in the records as replaced."""
    with api_shop.client() as client:

        def post(path: str, **body: object) -> Any:
            return client.post(f"{API}/sumps/{SUMP}/{path}", json=body)

        first = post("addition", water_l=80.0).json()["id"]
        second = post("addition", water_l=8.0, replaces=first).json()["id"]
        assert kind_of(post("addition", water_l=9.0, replaces=first)) == "conflict"
        assert kind_of(post("drain", volume_l=9.0, replaces=second)) == "conflict"
        assert kind_of(post("addition", water_l=9.0, replaces="nobody")) == "missing"
        assert post("undo", entry=second).status_code == 200
        assert kind_of(post("undo", entry=second)) == "conflict"
        entries = client.get(f"{API}/sumps/{SUMP}/entries").json()["entries"]
        replaced = {entry["id"]: entry["replaced"] for entry in entries}
        assert replaced[first]
        assert replaced[second]
        [last] = [e for e in entries if e["body"].get("replaces") == second]
        assert last["body"]["water_l"] == 0.0


def test_what_an_entry_would_change_is_told_beforehand(api_shop: ApiShop):
    """Before and after, nothing stored; a reading far from the balance is marked."""
    api_shop.believe()
    with api_shop.client() as client:
        body = {**CHECK, "value": 12.0, "at": text_of(NOW)}
        told = client.post(f"{API}/sumps/{SUMP}/preview/check", json=body).json()
        assert told["far"] is True
        before, after = (told[k]["concentration_pct"]["value"] for k in ("before", "after"))
        assert after > before
        assert api_shop.sent == []


@pytest.mark.parametrize(
    "body",
    [
        {"kind": "refractometer", "value": 6.4},
        {"kind": "refractometer", "value": "6.4", "unit": "degBrix"},
        {**CHECK, "extra": 1},
        {**CHECK, "at": "2026-03-02T06:00:00"},
        {**CHECK, "value": -1.0},
        [],
        "6.4",
    ],
)
def test_a_body_that_is_not_the_messages_is_refused_with_its_place(api_shop: ApiShop, body: Any):
    """The agent's own reader says what is wrong; nothing is sent."""
    with api_shop.client() as client:
        answer = client.post(f"{API}/sumps/{SUMP}/check", json=body)
        assert answer.status_code == 422
        assert kind_of(answer) == "body"
        assert answer.json()["detail"]
    assert api_shop.sent == []


def test_what_the_agent_refuses_is_told(api_shop: ApiShop):
    """A moment in the future passes the schema, and not the agent."""
    with api_shop.client() as client:
        body = {**CHECK, "at": text_of(NOW + 2 * HOUR)}
        answer = client.post(f"{API}/sumps/{SUMP}/check", json=body)
        assert (kind_of(answer), answer.json()["detail"]) == ("refused", "in the future")


def test_without_broker_nothing_is_taken(api_shop: ApiShop):
    """It says so at once, and when to come again."""
    api_shop.is_connected = False
    with api_shop.client() as client:
        answer = client.post(f"{API}/sumps/{SUMP}/check", json=CHECK)
        assert answer.status_code == 503
        assert kind_of(answer) == "broker-away"


def test_orders_on_alarms_are_carried_out_or_refused_with_the_reason(api_shop: ApiShop):
    """Of a sump, a supply and the whole plant."""
    with api_shop.client() as client:
        good = {"alarm": "level-low", "command": "acknowledge"}
        answer = client.post(f"{API}/sumps/{SUMP}/alarm-command", json=good)
        assert answer.json()["outcome"] == "stored"
        for path, alarm in (("supplies/drum-1", "stock-low/"), ("", "feed-lost")):
            where = f"{API}/{path}/alarm-command".replace("//", "/")
            body = {"alarm": alarm.strip("/"), "command": "acknowledge"}
            refused = client.post(where, json=body)
            assert kind_of(refused) == "refused"
            assert refused.json()["detail"] == "no such alarm stands"


def test_a_stock_is_entered(api_shop: ApiShop):
    """What is left stands among the supplies afterwards."""
    with api_shop.client() as client:
        body = {"volume_l": 85.0, "lot": "L8", "at": text_of(NOW)}
        answer = client.post(f"{API}/supplies/drum-1/stock", json=body)
        assert answer.json()["outcome"] == "stored"
        [drum] = [
            s for s in client.get(f"{API}/supplies").json()["supplies"] if s["id"] == "drum-1"
        ]
        assert (drum["left_l"], drum["lot"]) == (85.0, "L8")


# --- who may -------------------------------------------------------------------------------------


def test_nobody_looks_without_a_token_or_session(guarded: tuple[ApiShop, dict[str, str]]):
    """Not even the document; a wrong token is no token."""
    shop, _ = guarded
    with shop.client() as client:
        for path in ("plant", "sumps", "openapi.json", "nowhere"):
            for headers in ({}, bearing("mp-wrong"), {"authorization": "Basic YTpi"}):
                answer = client.get(f"{API}/{path}", headers=headers)
                assert answer.status_code == 401
                assert kind_of(answer) == "sign-in"
                assert answer.headers["www-authenticate"].startswith("Bearer")
                assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    ("role", "entering", "shelving"),
    [("look", "role", "role"), ("enter", None, "role"), ("change", None, None)],
)
def test_a_programs_role_says_what_it_may(
    guarded: tuple[ApiShop, dict[str, str]], role: str, entering: str | None, shelving: str | None
):
    """Look, enter, change: as of people; what it enters carries its name."""
    shop, tokens = guarded
    with shop.client() as client:
        headers = bearing(tokens[role])
        assert client.get(f"{API}/self", headers=headers).json() == {
            "name": role, "role": role, "program": True, "form_token": None,
        }  # fmt: skip
        for path, body, wanted in (
            ("check", CHECK, entering),
            ("alarm-command", {"alarm": "level-low", "command": "shelve"}, shelving),
        ):
            answer = client.post(f"{API}/sumps/{SUMP}/{path}", json=body, headers=headers)
            if wanted is None:
                assert answer.status_code == 200, answer.text
                assert json.loads(shop.sent[-1].payload)["by"] == role
            else:
                assert kind_of(answer) == wanted


def test_others_entries_are_corrected_with_the_right_to_change_only(
    guarded: tuple[ApiShop, dict[str, str]],
):
    """Bob's addition is not the program's own."""
    shop, tokens = guarded
    with shop.client() as client:
        path, body = f"{API}/sumps/{SUMP}/undo", {"entry": "e-1"}
        assert kind_of(client.post(path, json=body, headers=bearing(tokens["enter"]))) == "role"
        assert client.post(path, json=body, headers=bearing(tokens["change"])).status_code == 200


def test_nobody_enters_under_anothers_name(guarded: tuple[ApiShop, dict[str, str]]):
    """Who is signed in is who entered it."""
    shop, tokens = guarded
    with shop.client() as client:
        answer = client.post(
            f"{API}/sumps/{SUMP}/check",
            json={**CHECK, "by": "bob"},
            headers=bearing(tokens["enter"]),
        )
        assert kind_of(answer) == "body"
        assert shop.sent == []


def test_tokens_are_kept_as_hashes_and_open_no_other_door(
    guarded: tuple[ApiShop, dict[str, str]], tmp_path: Path
):
    """The file does not hold them, the sign-in does not take them, pages do not know them."""
    shop, tokens = guarded
    text = (tmp_path / "users.toml").read_text("utf-8")
    with shop.client() as client:
        for token in tokens.values():
            assert token not in text
            assert client.get("/", headers=bearing(token), follow_redirects=False).status_code in {
                401,
                303,
            }
        assert read_users(tmp_path / "users.toml")["enter"].is_program
        from agent.page.people import matches

        assert not matches(tokens["enter"], read_users(tmp_path / "users.toml")["enter"].hash)


def test_a_token_that_was_taken_away_opens_nothing_more(
    guarded: tuple[ApiShop, dict[str, str]], tmp_path: Path
):
    """The file is read again when it changes."""
    shop, tokens = guarded
    with shop.client() as client:
        assert client.get(f"{API}/plant", headers=bearing(tokens["look"])).status_code == 200
        users = read_users(tmp_path / "users.toml")
        del users["look"]
        write_users(tmp_path / "users.toml", users)
        assert client.get(f"{API}/plant", headers=bearing(tokens["look"])).status_code == 401


def test_wrong_tokens_have_to_wait_right_ones_do_not(guarded: tuple[ApiShop, dict[str, str]]):
    """After 25 wrong ones from an address the answer is 429, with when to come again."""
    shop, tokens = guarded
    with shop.client() as client:
        for _ in range(25):
            assert client.get(f"{API}/plant", headers=bearing("mp-x")).status_code == 401
        answer = client.get(f"{API}/plant", headers=bearing("mp-x"))
        assert kind_of(answer) == "too-many"
        assert int(answer.headers["retry-after"]) > 0
        assert client.get(f"{API}/plant", headers=bearing(tokens["look"])).status_code == 200


def test_a_session_needs_the_form_token_to_enter(guarded: tuple[ApiShop, dict[str, str]]):
    """The cookie alone, which another site's page could have sent along, is not enough."""
    from tests.page.shop import token_of

    shop, _ = guarded
    with shop.client() as client:
        form = {"name": "ann", "password": PASSWORD, "token": token_of(client.get("/sign-in").text)}
        assert client.post("/sign-in", data=form, follow_redirects=False).status_code == 303
        who = client.get(f"{API}/self").json()
        assert (who["name"], who["program"]) == ("ann", False)
        path = f"{API}/sumps/{SUMP}/check"
        assert kind_of(client.post(path, json=CHECK)) == "form-token"
        headers = {"x-form-token": who["form_token"]}
        assert client.post(path, json=CHECK, headers=headers).status_code == 200
        elsewhere = {**headers, "origin": "https://evil.example"}
        assert kind_of(client.post(path, json=CHECK, headers=elsewhere)) == "other-site"


def test_a_form_of_another_site_is_no_json(api_shop: ApiShop):
    """Where nobody signs in, what a form can send is not taken."""
    with api_shop.client() as client:
        for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
            answer = client.post(
                f"{API}/sumps/{SUMP}/check",
                content=json.dumps(CHECK),
                headers={"content-type": kind},
            )
            assert kind_of(answer) == "media-type"
    assert api_shop.sent == []


def test_hosts_methods_and_sizes_are_those_of_the_page(api_shop: ApiShop):
    """An unknown host, another method, a body without or beyond its length."""
    with api_shop.client() as client:
        path = f"{API}/sumps/{SUMP}/check"
        assert kind_of(client.get(f"{API}/plant", headers={"host": "evil.example"})) == "host"
        for method in ("PUT", "DELETE", "PATCH"):
            answer = client.request(method, path)
            assert kind_of(answer) == "method"
            assert answer.headers["allow"] == "GET, POST"
        assert kind_of(client.post(f"{API}/plant", json={})) == "method"
        assert kind_of(client.post(path, content=b" " * 200_001)) == "too-large"
        assert kind_of(client.post(path, content=iter([b"{}"]))) == "length"


def test_a_mistake_of_ours_tells_nothing_of_the_inside(
    api_shop: ApiShop, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    """The traceback goes to the log; the program gets a problem document."""

    def broken(_sump: str) -> None:
        raise RuntimeError("secret inside")

    with api_shop.client(raise_server_exceptions=False) as client:
        monkeypatch.setattr(type(api_shop.office), "card", lambda _self, sump: broken(sump))
        answer = client.get(f"{API}/sumps/{SUMP}")
        assert kind_of(answer) == "mistake"
        assert "secret" not in answer.text
    assert "secret inside" in caplog.text
