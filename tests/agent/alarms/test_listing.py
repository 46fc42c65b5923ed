"""How alarms are written in the terminal."""

from dataclasses import replace
from zoneinfo import ZoneInfo

from advisor.effects import AlarmState
from advisor.key_figures import key_figures
from advisor.words import DAY, HOUR, MINUTE, Instant, Signal
from agent.alarms.listing import (
    figures_body,
    figures_text,
    history_bodies,
    history_text,
    moment,
    standing_text,
    transitions,
)
from agent.store.changes import AlarmChange

START = 1_772_431_200_000  # 2026-03-02T06:00:00Z
DUBLIN, CHICAGO = ZoneInfo("Europe/Dublin"), ZoneInfo("America/Chicago")

BODY = {
    "schema": 1,
    "sump": "mill-07",
    "name": "level-low",
    "signal": None,
    "state": "unacknowledged",
    "active": True,
    "acknowledged": False,
    "priority": "medium",
    "raised_at": "2026-03-02T06:00:00Z",
    "value": 171.6,
    "limit": 180.0,
    "unit": "mm",
    "cause": "Mill 7: the fluid stands low.",
    "consequence": "Foam.",
    "action": "Operator: top up.",
    "because_of": None,
    "by": None,
    "until": None,
}

CHANGE = AlarmChange(
    at=START,
    about="mill-07",
    name="level-low",
    signal=None,
    was=AlarmState.NORMAL,
    state=AlarmState.UNACKNOWLEDGED,
    priority="medium",
    by=None,
    value=171.6,
    limit=180.0,
    unit="mm",
    raised_at=START,
    because_of=None,
    until=None,
)


def test_moments_are_those_of_the_plant():
    """Six o'clock UTC is midnight in Chicago, in winter."""
    assert moment(START, CHICAGO) == "2026-03-02 00:00"
    assert moment(None, DUBLIN) == "-"


def test_what_asks_for_somebody_comes_first():
    """Unacknowledged before acknowledged before put aside; then by priority."""
    bodies = [
        ("mill-1", BODY | {"state": "shelved", "priority": "high", "by": "ann"}),
        ("mill-2", BODY | {"state": "acknowledged", "acknowledged": True, "priority": "high"}),
        ("mill-3", BODY | {"priority": "low"}),
        ("", BODY | {"name": "feed-lost", "priority": "high"}),
    ]
    lines = [line for line in standing_text(bodies, DUBLIN) if not line.startswith(" ")]

    assert [line.split()[4] for line in lines] == ["plant", "mill-3", "mill-2", "mill-1"]


def test_an_alarm_is_told_with_its_cause_and_what_to_do():
    """State, since when, and the sentences of the message."""
    text = "\n".join(standing_text([("mill-07", BODY)], DUBLIN))

    assert text.splitlines() == [
        "medium  unacknowledged  2026-03-02 06:00  mill-07  level-low",
        "    Mill 7: the fluid stands low.",
        "    Operator: top up.",
    ]


def test_what_is_put_aside_says_by_whom_and_until_when():
    """A shelved alarm names the person and the end."""
    shelved = BODY | {"state": "shelved", "by": "ann", "until": "2026-03-02T14:00:00Z"}

    assert "    last ordered by ann, until 2026-03-02 14:00" in standing_text(
        [("mill-07", shelved)], DUBLIN
    )


def test_a_consequence_names_its_cause_and_nothing_else():
    """Suppressed by design: what to do stands with the cause."""
    silent = BODY | {"name": "signal-stale", "signal": "brix", "state": "suppressed"}
    lines = list(standing_text([("mill-07", silent | {"because_of": "feed-lost"})], DUBLIN))

    assert lines[0].endswith("mill-07  signal-stale/brix")
    assert lines[1:] == ["    follows from feed-lost"]


def test_the_history_has_one_line_for_each_change():
    """What was, what is, the numbers, and who did it."""
    acknowledged = replace(
        CHANGE,
        at=START + MINUTE,
        was=AlarmState.UNACKNOWLEDGED,
        state=AlarmState.ACKNOWLEDGED,
        by="ann",
    )

    lines = list(history_text([CHANGE, acknowledged], DUBLIN))
    second = "2026-03-02 06:01 mill-07 level-low unacknowledged -> acknowledged medium"
    second += " 172 mm (limit 180 mm) by ann"
    assert [" ".join(line.split()) for line in lines] == [
        "2026-03-02 06:00 mill-07 level-low normal -> unacknowledged medium 172 mm (limit 180 mm)",
        second,
    ]
    assert lines[0].index("->") == lines[1].index("->")


def test_the_history_as_json_has_every_field_and_times_that_others_read():
    """RFC 3339 for moments, words for states."""
    (body,) = history_bodies([replace(CHANGE, signal=Signal.LEVEL)])

    assert body["at"] == body["raised_at"] == "2026-03-02T06:00:00Z"
    assert (body["was"], body["state"], body["signal"]) == ("normal", "unacknowledged", "level")
    assert body["until"] is None


def raised(at: Instant, about: str) -> list[AlarmChange]:
    """An alarm that comes and goes within half an hour."""
    back = replace(CHANGE, at=at + 30 * MINUTE, about=about, state=AlarmState.NORMAL)
    return [replace(CHANGE, at=at, about=about), back]


def test_figures_stand_beside_their_targets():
    """Twelve alarms in ten minutes are a flood, and the target says so."""
    changes = sorted(
        (c for n in range(12) for c in raised(START + HOUR + n * 1000, f"mill-{n}")),
        key=lambda change: change.at,
    )
    changes.append(replace(CHANGE, at=START + 2 * HOUR, about=""))
    figures = key_figures(transitions(changes), begin=START, end=START + 4 * DAY, sumps=12)
    text = list(figures_text(figures, DUBLIN))

    (row,) = (line for line in text if line.startswith("alarms in 10 minutes, most"))
    assert row.split() == ["alarms", "in", "10", "minutes,", "most", "12", "<=", "10", "missed"]
    assert "  2026-03-02 07:00 to 2026-03-02 07:10  12 alarms" in text
    assert "  plant/level-low  since 2026-03-02 08:00  stale" in text
    body = figures_body(figures)
    assert body["floods"][0]["begin"] == "2026-03-02T07:00:00Z"
    assert {m["name"]: m["met"] for m in body["measures"]}["alarms in 10 minutes, most"] is False
