"""Alarms on the page: what stands, what was, and what people order."""

import json

import pytest

from advisor.effects import AlarmState, PublishAlarm
from advisor.words import HOUR, Signal
from agent.arrival import Outgoing
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
        {"command": "suppress"},
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
