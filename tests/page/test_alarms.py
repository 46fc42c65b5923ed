"""Alarms on the page: what stands, what was, and what people order."""

import json

import pytest

from advisor.effects import AlarmState, PublishAlarm
from advisor.words import HOUR, MINUTE, Signal
from agent.arrival import Outgoing
from agent.page.alarm_view import MEASURES, past
from agent.page.catalogue import catalogue
from agent.page.people import new_user, write_users
from agent.store.batch import Batch
from agent.store.changes import AlarmChange
from tests.page.shop import NOW, SUMP, Shop, a_plant, an_alarm, token_of, words_of


def order(client, **fields: str):
    """Press one of an alarm's buttons."""
    token = token_of(client.get("/alarms").text)
    data = {"token": token, "place": SUMP, "alarm": "level-low", "signal": "", **fields}
    return client.post("/alarms", data=data, follow_redirects=False)


@pytest.fixture
def alarmed(shop: Shop) -> Shop:
    """An alarm stands that nobody has acknowledged; the agent answers every order."""
    shop.tell(PublishAlarm(an_alarm()))
    shop.answers = False
    publish = shop.office.mailbox._publish

    def answer(message: Outgoing) -> None:
        publish(message)
        said = json.loads(message.payload)
        body = {"id": said["id"], "accepted": said["command"] != "reset", "reason": "not latched"}
        told = Outgoing(
            message.topic.replace("alarm-command", "alarm-answer"), json.dumps(body).encode(), False
        )
        shop.commit(Batch(outgoing=[told]))

    shop.office.mailbox._publish = answer
    return shop


def test_no_alarm_is_said(shop: Shop):
    """An empty list is a sentence."""
    with shop.client() as client:
        said = words_of(client.get("/alarms").text)
    assert "No alarm stands." in said
    assert "No alarm in this time." in said


def test_an_alarm_says_what_why_and_what_to_do(alarmed: Shop):
    """Its name, its priority and state in words, since when, and the action first."""
    with alarmed.client() as client:
        said = words_of(client.get("/alarms").text)
    assert "1 alarm waits to be acknowledged." in said
    assert "mill-07 : level low" in said
    assert "urgent new · since 05:00" in said
    assert said.index("Operator: top up.") < said.index("The pumps may draw air.")


def test_acknowledging_sends_the_command_that_anybody_may_send(alarmed: Shop):
    """With the name of whoever pressed the button."""
    with alarmed.client() as client:
        client.cookies.set("millpond-wishes", "by=Ann")
        assert order(client, command="acknowledge").status_code == 303
    (message,) = alarmed.sent
    body = json.loads(message.payload)
    assert message.topic == "millpond/north/mill-07/alarm-command"
    assert body.pop("id")
    assert body == {
        "at": "2026-03-02T06:00:00Z",
        "alarm": "level-low",
        "command": "acknowledge",
        "by": "Ann",
    }


def test_putting_aside_ends_by_itself(alarmed: Shop):
    """An hour or a shift, never for ever."""
    with alarmed.client() as client:
        order(client, command="shelve", hours="8")
        order(client, command="shelve", hours="10000")
    first, second = (json.loads(message.payload) for message in alarmed.sent)
    assert first["until"] == "2026-03-02T14:00:00Z"
    assert "until" not in second


def test_a_refusal_is_said_with_its_reason(alarmed: Shop):
    """What the agent does not carry out is not passed over in silence."""
    with alarmed.client() as client:
        answer = order(client, command="reset")
    assert "It was refused: not latched" in words_of(answer.text)


@pytest.mark.parametrize(
    "fields",
    [
        {"command": "delete"},
        {"command": "acknowledge", "alarm": "level-high"},
        {"command": "acknowledge", "place": "mill-99"},
        {"command": "acknowledge", "place": "../x"},
        {"command": ""},
    ],
)
def test_an_order_on_what_does_not_stand_is_not_sent(alarmed: Shop, fields: dict[str, str]):
    """Only alarms that stand, only orders that the page offers."""
    with alarmed.client() as client:
        answer = order(client, **fields)
    assert "does not stand any more" in words_of(answer.text)
    assert alarmed.sent == []


def test_the_order_is_by_what_presses_most(shop: Shop):
    """Not acknowledged before acknowledged, urgent before not, put aside last."""
    shop.tell(
        PublishAlarm(an_alarm("level-low", acknowledged=True, state=AlarmState.ACKNOWLEDGED)),
        PublishAlarm(an_alarm("concentration-high", priority="low")),
        PublishAlarm(an_alarm("mix-loss-high", priority="high")),
        PublishAlarm(an_alarm("check-overdue", state=AlarmState.SHELVED, until=NOW + HOUR)),
    )
    with shop.client() as client:
        said = words_of(client.get("/alarms").text)
    places = [
        said.index(name)
        for name in ("loses mix, perhaps a leak", "mix too rich", "level low", "check overdue")
    ]
    assert places == sorted(places)
    assert "2 alarms wait to be acknowledged." in said
    assert "put aside until 07:00" in said


def test_the_journal_is_shown_newest_first(shop: Shop):
    """What changed, when, and who ordered it."""
    changes = [
        AlarmChange(
            at=NOW - hours * HOUR, about=SUMP, name="signal-stale", signal=Signal.BRIX,
            was=AlarmState.NORMAL, state=state, priority="medium", by=by, value=None, limit=None,
            unit="", raised_at=None, because_of=None, until=None,
        )
        for hours, state, by in (
            (2, AlarmState.UNACKNOWLEDGED, None),
            (1, AlarmState.ACKNOWLEDGED, "Ann"),
        )
    ]  # fmt: skip
    shop.commit(Batch(changes=changes))
    with shop.client() as client:
        said = words_of(client.get("/alarms").text)
    assert "05:00 mill-07: signal silent (refractometer) acknowledged Ann" in said
    assert said.index("05:00 mill-07") < said.index("04:00 mill-07")


def test_who_may_enter_acknowledges_and_who_may_change_puts_aside(tmp_path):
    """Putting an alarm out of sight takes more than seeing it."""
    password = "correct horse battery"  # noqa: S105  invented
    write_users(
        tmp_path / "users.toml",
        {n: new_user(n, r, password) for n, r in (("ann", "enter"), ("cho", "change"))},
    )
    shop = Shop(tmp_path, a_plant(tmp_path, page='users = "users.toml"'))
    shop.tell(PublishAlarm(an_alarm()))
    shop.is_connected = False
    seen = {}
    for name in ("ann", "cho"):
        with shop.client() as client:
            token = token_of(client.get("/sign-in").text)
            client.post("/sign-in", data={"token": token, "name": name, "password": password})
            text = client.get("/alarms").text
            seen[name] = ('value="shelve"' in text, order(client, command="shelve").status_code)
    assert seen == {"ann": (False, 403), "cho": (True, 200)}
    shop.close()


def a_change(minutes: float, state: AlarmState, name: str = "level-low", **more: object):
    """A line of the journal, so many minutes ago."""
    fields = {
        "about": SUMP, "signal": None, "was": AlarmState.NORMAL, "priority": "high", "by": None,
        "value": None, "limit": None, "unit": "", "raised_at": None, "because_of": None,
        "until": None, **more,
    }  # fmt: skip
    return AlarmChange(at=NOW - round(minutes * MINUTE), name=name, state=state, **fields)  # type: ignore[arg-type]  # its fields


def test_the_figures_of_the_alarm_system_stand_beside_their_goals(shop: Shop):
    """Twelve within one period are a flood's beginning: the measure is missed, and it says so."""
    names = ["level-low", "level-high", "concentration-low", "concentration-high", "stagnant",
             "check-overdue", "water-gain", "sensor-fault", "advice-open", "hardness-high",
             "chloride-high", "ph-out-of-band"]  # fmt: skip
    changes = [
        a_change(7.0 - n / 10.0, AlarmState.UNACKNOWLEDGED, name) for n, name in enumerate(names)
    ]
    shop.commit(Batch(changes=changes))
    with shop.client() as client:
        said = words_of(client.get("/alarms?span=day").text)

    assert "alarms in ten minutes, at most 12 at most 10 ▲ no" in said
    assert "alarms a day 12 at most 150 ✓ yes" in said
    assert "There were 12 alarms in this time" in said
    assert "mill-07: check overdue once, 8.33 %" in said


def test_a_new_measure_needs_a_name(shop: Shop):
    """The names of the page are as many as the measures of the computation."""
    found = past(shop.office, NOW)
    assert len(found.measures) == len(MEASURES) == 10
    for name, _ in found.measures:
        assert f"alarms.measure.{name}" in catalogue("en").texts


def test_the_history_is_picked_by_sump_and_by_time(tmp_path):
    """Only what was asked for; nonsense shows the usual."""
    shop = Shop(tmp_path, a_plant(tmp_path, sumps=2))
    shop.commit(
        Batch(
            changes=[
                a_change(60 * 24 * 20, AlarmState.UNACKNOWLEDGED, "stagnant"),
                a_change(30, AlarmState.UNACKNOWLEDGED, "water-gain", about="mill-08"),
                a_change(20, AlarmState.UNACKNOWLEDGED),
            ]
        )
    )
    seen = {}
    with shop.client() as client:
        for query in ("", "span=day", "about=mill-08", "span=aeon&about=%3Cb%3E"):
            page = client.get(f"/alarms?{query}").text
            table = words_of(page[page.index('id="history"') :].partition("</form>")[2])
            seen[query] = [w for w in ("stands still", "gains water", "level low") if w in table]
    shop.close()
    assert len(seen[""]) == len(seen["span=aeon&about=%3Cb%3E"]) == 3
    assert len(seen["span=day"]) == 2
    assert len(seen["about=mill-08"]) == 1


@pytest.mark.parametrize("command", ["suppress", "out-of-service"])
def test_an_alarm_is_taken_out_until_somebody_takes_it_back(shop: Shop, command: str):
    """The rare orders are there too, folded away, for who may change."""
    shop.tell(PublishAlarm(an_alarm()))
    with shop.client() as client:
        assert f'value="{command}"' in client.get("/alarms").text
        order(client, command=command)
    body = json.loads(shop.sent[-1].payload)
    assert (body["command"], body["alarm"]) == (command, "level-low")
    assert "until" not in body
