"""What goes in as messages comes out as messages, whatever the order, and across restarts."""

import json
from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.estimate import SCHEMA
from advisor.words import Signal
from agent.arrival import Arrival, Outgoing, Tick
from agent.pipeline import Pipeline
from agent.plant.load import parse_plant
from agent.plant.plant import Plant
from agent.store.ledger import Ledger
from tests.e2e.plant_north import PLANT, PREFIX, START, reading, rfc3339

PLANT_NORTH: Plant = parse_plant(PLANT.format(port=1883), Path("north.toml"))
STATE, EVENT = f"{PREFIX}/mill-07/state", f"{PREFIX}/mill-07/event"


def stamp(seconds: float) -> int:
    """A moment so many seconds after the start. [ms]"""
    return 1000 * START + round(1000 * seconds)


STOPPED = Arrival(stamp(0), "north/mill-07/pumps", b"off")


def level(depth: float, at: int, *, arrived: float | None = None) -> Arrival:
    """A dated level reading; it arrives at once unless said otherwise."""
    arrival = stamp(at if arrived is None else arrived)
    return Arrival(arrival, "north/mill-07/level", reading(depth, at).encode())


def report(topic: str, arrived: float, **body: object) -> Arrival:
    """Something that a person reports."""
    return Arrival(stamp(arrived), f"{PREFIX}/mill-07/{topic}", json.dumps(body).encode())


def steady(seconds: Iterable[int], depth: float = 300.0) -> list[Arrival]:
    """Readings of a sump that stands still."""
    return [level(depth, at) for at in seconds]


class Run:
    """A pipeline with a ledger in memory, and all that it published."""

    def __init__(self) -> None:
        self.ledger = Ledger.open(None, belief_schema=SCHEMA)
        self.pipeline = Pipeline(PLANT_NORTH, self.ledger)
        self.told: list[tuple[int, Outgoing]] = []

    def take(self, *items: Arrival | Tick) -> "Run":
        """Take items in and commit them."""
        for item in items:
            self.pipeline.take(item)
        self.told += self.pipeline.published
        self.ledger.commit(self.pipeline.seal())
        return self

    def restart(self) -> "Run":
        """Go on with a new pipeline on the same store."""
        self.pipeline = Pipeline(PLANT_NORTH, self.ledger)
        return self

    def bodies(self, topic: str) -> list[dict[str, object]]:
        """The JSON of all that was published on a topic."""
        return [json.loads(o.payload) for _, o in self.told if o.topic == topic and o.payload]

    def refusals(self) -> list[str]:
        """Reasons of all refusals, oldest first."""
        return [str(refusal.reason) for _, refusal in reversed(self.ledger.refusals(100))]


def test_a_state_is_told_for_every_whole_minute_of_data_time():
    """Minutes are those of the readings' times, told once a later reading or the clock is past."""
    run = Run().take(*steady(range(0, 301, 20)), Tick(stamp(320)))

    assert [body["at"] for body in run.bodies(STATE)] == [rfc3339(60 * n) for n in range(6)]


def test_no_minute_is_told_twice_and_none_without_readings():
    """While nothing comes, the clock alone tells no new states, until a signal goes stale."""
    run = Run().take(*steady(range(0, 61, 20)), *(Tick(stamp(60 * n)) for n in range(2, 8)))

    assert [body["at"] for body in run.bodies(STATE)] == [rfc3339(0), rfc3339(60)]


def test_a_signal_that_falls_silent_is_told_as_stale():
    """Staleness is judged by the clock: the state is told again with the signal stale."""
    run = Run().take(*steady(range(0, 601, 20)), *(Tick(stamp(600 + 60 * n)) for n in range(1, 90)))

    qualities = [body["signals"]["level"] for body in run.bodies(STATE)]
    assert qualities[-1] == "stale"
    assert set(qualities[:-1]) == {"good"}
    assert any("/alarm/signal-stale/level" in outgoing.topic for _, outgoing in run.told)


def test_bad_messages_are_refused_and_good_ones_beside_them_count():
    """A refusal has its reason in the log, and hinders nothing."""
    run = Run().take(
        level(300.0, 0),
        Arrival(stamp(1), "north/mill-07/level", b"\xff\xfe"),
        Arrival(stamp(2), "north/mill-07/level", b'{"v": "x", "t": "2026-03-02T06:00:02Z"}'),
        report("check", 3, at=rfc3339(3), kind="no-such-kind", value=1.0, unit="%"),
        Arrival(stamp(4), "somewhere/else", b"1"),
        level(300.0, 20),
    )

    assert run.refusals() == ["not-text", "not-a-number", "schema", "unknown-topic"]
    assert len(run.ledger.evidence("mill-07", 0)) == 2


def test_the_same_reading_counts_once():
    """(Signal, time) is the key: a redelivery changes nothing."""
    once = Run().take(*steady(range(0, 121, 20)), Tick(stamp(150)))
    twice = Run().take(*(a for a in steady(range(0, 121, 20)) for _ in (1, 2)), Tick(stamp(150)))

    assert twice.told == once.told


@settings(max_examples=25)
@given(st.data())
def test_readings_late_within_the_allowed_lateness_give_the_state_of_the_right_order(data):
    """The state after the last minute does not depend on the order of arrival."""
    delays = data.draw(st.lists(st.integers(0, 240), min_size=31, max_size=31))
    depths = [300.0 - 0.02 * n for n in range(31)]
    items = [
        level(depth, 20 * n, arrived=20 * n + delay)
        for n, (depth, delay) in enumerate(zip(depths, delays, strict=True))
    ]
    shuffled = sorted(items, key=lambda item: item.at)
    straight = [level(depth, 20 * n) for n, depth in enumerate(depths)]

    late = Run().take(*shuffled, level(299.0, 960), Tick(stamp(1000)))
    right = Run().take(*straight, level(299.0, 960), Tick(stamp(1000)))

    assert late.bodies(STATE)[-1] == right.bodies(STATE)[-1]


@settings(max_examples=25)
@given(st.sets(st.integers(1, 80), max_size=4))
def test_restarts_anywhere_change_nothing_that_is_told(places):
    """A restarted agent goes on as if it had not stopped."""
    items: list[Arrival | Tick] = [level(300.0 - 0.1 * n, 20 * n) for n in range(80)]
    items.insert(40, report("addition", 790, at=rfc3339(780), water_l=10, concentrate_l=1))
    undisturbed = Run()
    disturbed = Run()

    for place, item in enumerate(items):
        undisturbed.take(item)
        if place in places:
            disturbed.restart()
        disturbed.take(item)
    end = Tick(stamp(1700))

    assert disturbed.take(end).told == undisturbed.take(end).told


def test_a_report_about_the_past_is_taken_in_where_it_belongs():
    """A report of an hour ago, out of memory's reach, gives the belief as if told at once."""
    before, after = range(0, 600, 20), range(620, 4800, 20)
    said = {"id": "x1", "at": rfc3339(610), "water_l": 20, "concentrate_l": 2}
    poured = [level(300.0, at) for at in before] + [level(320.9, at) for at in after]

    late = Run().take(*poured, report("addition", 4800, **said), Tick(stamp(4900)))
    prompt = Run().take(
        *(item for item in poured if item.at < stamp(610)),
        report("addition", 610, **said),
        *(item for item in poured if item.at > stamp(610)),
        Tick(stamp(4900)),
    )

    assert late.pipeline._desks["mill-07"].timeline.belief.core == (
        prompt.pipeline._desks["mill-07"].timeline.belief.core
    )
    kinds = {body["source"] for body in late.bodies(f"{PREFIX}/mill-07/event")}
    assert "report" in kinds


@pytest.mark.parametrize("late", [1900, 4800])
@pytest.mark.parametrize("again", [False, True])
def test_a_late_report_of_what_was_inferred_keeps_its_id(late: int, again: bool):
    """Within memory's reach and beyond it, and across a restart: one event, told better."""
    filled = range(1520, late, 20)
    run = Run().take(
        STOPPED,
        *steady(range(0, 1500, 20)),
        *(level(320.9, at) for at in filled),
        Tick(stamp(late)),
    )
    if again:
        run.restart()
    before = run.bodies(EVENT)
    said = {"id": "x1", "at": rfc3339(1510), "water_l": 20, "concentrate_l": 2}
    run.take(report("addition", late, **said), Tick(stamp(late + 100)))
    run.take(*(level(320.9, at) for at in range(late + 120, late + 720, 20)))

    assert {body["source"] for body in before} == {"inferred"}
    assert {body["id"] for body in run.bodies(EVENT)} == {before[0]["id"]}
    assert run.bodies(EVENT)[-1]["source"] == "report"
    assert run.bodies(EVENT)[-1]["kind"] == "addition"


@pytest.mark.parametrize("pour", [1500, 1530, 1555])
def test_a_pour_is_in_the_state_of_the_next_minute_but_one(pour: int):
    """25 L that nobody told of are in the state within two whole minutes of data time."""
    run = Run().take(
        STOPPED,
        *steady(range(0, pour, 15)),
        *(level(323.8, at) for at in range(pour, pour + 240, 15)),
        Tick(stamp(pour + 300)),
    )
    told = {body["at"]: body["volume_l"] for body in run.bodies(STATE)}
    minute = rfc3339(60 * (pour // 60 + 2))

    assert told[minute]["value"] == pytest.approx(340.0, abs=4.0)


def test_a_reported_pour_is_in_the_next_state():
    """What somebody says to have poured counts at once."""
    run = Run().take(STOPPED, *steady(range(0, 1500, 15)), Tick(stamp(1500)))
    before = run.bodies(STATE)[-1]["volume_l"]["value"]
    said = {"id": "x1", "at": rfc3339(1505), "water_l": 23, "concentrate_l": 2}
    run.take(report("addition", 1505, **said))

    assert run.bodies(STATE)[-1]["volume_l"]["value"] == pytest.approx(before + 25.0, abs=0.5)


@pytest.mark.parametrize("wait", [60, 3000])
def test_a_corrected_report_counts_in_place_of_the_wrong_one(wait: int):
    """Whether memory still holds the wrong entry or only the store does."""
    wrong = {"id": "w", "at": rfc3339(300), "water_l": 100, "concentrate_l": 10}
    right = {"id": "r", "replaces": "w", "at": rfc3339(300), "water_l": 10, "concentrate_l": 1}
    readings = [level(300.0 if at < 300 else 310.5, at) for at in range(0, 300 + wait, 20)]
    end = 300 + wait

    corrected = Run().take(
        *(item for item in readings if item.at < stamp(300)),
        report("addition", 300, **wrong),
        *(item for item in readings if item.at > stamp(300)),
        report("addition", end, **right),
    )
    del right["replaces"]
    proper = Run().take(
        *(item for item in readings if item.at < stamp(300)),
        report("addition", 300, **right),
        *(item for item in readings if item.at > stamp(300)),
    )

    added = [run.take(Tick(stamp(end + 100))).bodies(STATE)[-1] for run in (corrected, proper)]
    assert added[0]["added_total"] == added[1]["added_total"]


def test_a_gateways_backlog_of_one_signal_is_taken_up_while_another_is_live():
    """Brix that comes hours late, in order, is folded in its place."""

    def brix(value: float, at: int, arrived: float) -> Arrival:
        return Arrival(stamp(arrived), "north/mill-07/brix", reading(value, at).encode())

    live = [level(300.0, at) for at in range(0, 7200, 60)]
    backlog = [brix(6.4, at, 7200 + at / 1000) for at in range(0, 7200, 60)]
    run = Run().take(*live, *backlog, Tick(stamp(7300)))
    prompt = Run().take(
        *sorted([*live, *(brix(6.4, at, at) for at in range(0, 7200, 60))], key=lambda a: a.at),
        Tick(stamp(7300)),
    )

    assert (
        run.bodies(STATE)[-1]["concentration_pct"]
        == (prompt.bodies(STATE)[-1]["concentration_pct"])
    )
    evidence = run.ledger.evidence("mill-07", 0)
    assert sum(1 for item in evidence if getattr(item, "signal", None) is Signal.BRIX) == 120


def test_orders_on_alarms_reach_the_board_or_are_refused_with_the_reason():
    """An order about an alarm that does not stand is kept in the log of refusals."""
    order = {"at": rfc3339(30), "alarm": "level-low", "command": "acknowledge", "by": "Ada"}
    run = Run().take(*steady(range(0, 61, 20)), report("alarm-command", 61, **order))

    assert run.refusals() == ["schema"]


def test_readings_of_one_signal_that_come_after_those_of_another_are_judged():
    """What they change of the past is no minute that was foreseen."""
    run = Run().take(STOPPED, *steady(range(0, 211, 30), depth=240.0))
    kinds = [body["kind"] for body in run.bodies(f"{PREFIX}/mill-07/advice")]
    assert set(kinds) == {"check"}

    brix = [
        Arrival(stamp(215), "north/mill-07/brix", reading(6.4, at).encode())
        for at in range(0, 211, 30)
    ]
    run.take(*brix, Tick(stamp(300)))

    assert run.bodies(f"{PREFIX}/mill-07/advice")[-1]["kind"] == "top-up"
