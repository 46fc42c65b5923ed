"""Additions and drains: reported, metered, delivered, or found; each told once."""

import random

import pytest

from advisor.additions import gain_of
from advisor.belief import Meter
from advisor.estimate import Belief, absorb, begin, state_at
from advisor.plan import SignalPlan, SumpPlan
from advisor.sump import event_news
from advisor.words import (
    HOUR,
    MINUTE,
    Addition,
    Delivery,
    Drain,
    Evidence,
    Reading,
    Signal,
    SumpEvent,
)
from tests.advisor.truth import AREA, BEGIN, Life, live, plan, unlike


def fold(evidence: list[Evidence], told: SumpPlan | None = None) -> Belief:
    """All the evidence, one after another."""
    told = plan() if told is None else told
    belief = begin(told)
    for item in evidence:
        belief = absorb(belief, item, told)
    return belief


def events_of(belief: Belief, told: SumpPlan | None = None) -> list[SumpEvent]:
    """Events that were not withdrawn."""
    state = state_at(belief, belief.at, plan() if told is None else told)
    return [event for event in state.events if event.kind != "withdrawn"]


def steady(volume: float, minutes: int, *, at: int = BEGIN, seed: int = 1) -> list[Evidence]:
    """A sump that stands still, pumps off, a level reading a minute."""
    dice = random.Random(seed)
    evidence: list[Evidence] = [Reading(at, Signal.RUNNING, 0.0)]
    evidence += [
        Reading(at + k * MINUTE, Signal.LEVEL, volume / AREA + dice.gauss(0.0, 1.0))
        for k in range(1, minutes)
    ]
    return evidence


def test_unreported_additions_are_found_soon_and_measured():
    """Additions of 12 L and more are found once, within 20 minutes; volume and strength fit."""
    found = missed = false = within = strong = 0
    for seed in range(6):
        truth, evidence = live(unlike(seed, reported=False))
        belief, first = begin(plan()), {}
        for item in evidence:
            belief = absorb(belief, item, plan())
            for note in belief.core.notes:
                first.setdefault(note.told.id, belief.at)
        told = {event.id: event for event in events_of(belief) if event.kind == "addition"}
        late = belief.at - HOUR
        told = {name: event for name, event in told.items() if event.at < late}
        for at, volume, strength in truth.poured:
            if at > late:
                continue
            near = [event for event in told.values() if abs(event.at - at) < 20 * MINUTE]
            if not near:
                missed += 1
                continue
            event = min(near, key=lambda event: abs(event.at - at))
            del told[event.id]
            found += 1
            assert first[event.id] - at < 20 * MINUTE
            scale = (event.volume.sd**2 + 0.3**2) ** 0.5
            within += abs(event.volume.value - volume) < 2.0 * scale
            strong += abs(event.strength.value - strength) < 2.0 * event.strength.sd + 0.005
        false += len(told)

    assert missed == 0
    assert false == 0
    assert within / found > 0.85
    assert strong / found > 0.85


def test_nothing_is_found_where_nothing_happened():
    """Two weeks of pump starts, drain-back and foam bring no event."""
    for seed in (20, 21):
        _, evidence = live(unlike(seed, days=7.0, per_day=0.0))

        assert events_of(fold(evidence)) == []


def test_an_addition_at_a_pump_start_is_told_from_the_holdup():
    """With the holdup known by then, 20 L poured a minute after a start are found as such."""
    truth, evidence = live(
        Life(seed=4, days=4.0, reported=False, at_pump_start=True, evaporation=30.0)
    )
    later = [at for at, _, _ in truth.poured if at > BEGIN + 12 * HOUR]

    found = [event.at for event in events_of(fold(evidence))]

    assert later
    for at in later:
        assert any(abs(at - event) < 20 * MINUTE for event in found)


def test_buckets_poured_within_minutes_are_one_event():
    """Three buckets of 10 L, four minutes apart, are one addition of 30 L."""
    evidence = steady(300.0, 120)
    for k, volume in enumerate((310.0, 320.0, 330.0)):
        evidence += steady(volume, 5, at=BEGIN + (120 + 4 * k) * MINUTE, seed=k)[1:]
    evidence += steady(330.0, 120, at=BEGIN + 132 * MINUTE)[1:]

    events = events_of(fold(evidence))

    assert [event.kind for event in events] == ["addition"]
    assert events[0].volume.value == pytest.approx(30.0, abs=3.0)
    assert abs(events[0].at - (BEGIN + 120 * MINUTE)) <= 12 * MINUTE


def test_an_unreported_drain_is_found():
    """25 L taken out without a word are a drain and no loss."""
    evidence = steady(300.0, 120) + steady(275.0, 180, at=BEGIN + 120 * MINUTE)[1:]

    belief = fold(evidence)
    events = events_of(belief)

    assert [event.kind for event in events] == ["drain"]
    assert events[0].volume.value == pytest.approx(25.0, abs=3.0)
    state = state_at(belief, belief.at, plan())
    assert state.drained.water.value == pytest.approx(25.0 * 0.92, abs=4.0)
    assert state.lost.water.value == pytest.approx(0.0, abs=4.0)


def test_strength_is_known_only_once_the_pumps_have_mixed():
    """While the pumps stand the strength's sd stays wide; after they ran it is narrow."""
    life = Life(seed=3, days=3.0, reported=False, per_day=0.0)
    _, evidence = live(life)
    night = BEGIN + 41 * HOUR
    calm = [item for item in evidence if item.at < night]
    poured = []
    for item in evidence:
        if item.at >= night and isinstance(item, Reading) and item.signal is Signal.LEVEL:
            poured.append(Reading(item.at, item.signal, item.value + 30.0 / AREA))
        elif item.at >= night and isinstance(item, Reading) and item.signal is Signal.BRIX:
            diluted = item.value * 330.0 / 360.0
            poured.append(Reading(item.at, item.signal, round(diluted, 1)))
        elif item.at >= night:
            poured.append(item)
    belief = fold([*calm, *[item for item in poured if item.at < night + 2 * HOUR]])
    (before,) = events_of(belief)
    for item in poured:
        if night + 2 * HOUR <= item.at < BEGIN + 54 * HOUR:
            belief = absorb(belief, item, plan())

    after = next(event for event in events_of(belief) if event.id == before.id)

    assert before.strength.sd > 0.02
    assert after.strength.sd < 0.5 * before.strength.sd
    assert after.strength.value < 0.03


def test_a_report_of_what_is_seen_is_one_event():
    """A reported addition that the level shows as well is told once, and better than reported."""
    evidence = steady(300.0, 120)
    evidence += [Addition(at=BEGIN + 120 * MINUTE, id="a1", water=19.0, concentrate=1.0)]
    evidence += steady(320.0, 120, at=BEGIN + 121 * MINUTE)[1:]

    (event,) = events_of(fold(evidence))

    assert event.source == "report"
    assert event.volume.value == pytest.approx(20.0, abs=1.5)
    assert event.strength.value == pytest.approx(0.05, abs=0.01)


METERED = plan(
    signals={
        **plan().signals,
        Signal.WATER_METER: SignalPlan(signal=Signal.WATER_METER, rollover=10_000.0),
        Signal.CONCENTRATE_METER: SignalPlan(signal=Signal.CONCENTRATE_METER),
    }
)


def test_metered_and_reported_is_counted_once():
    """What both meters counted and a person reports afterwards is one metered event."""
    evidence = steady(300.0, 60)
    evidence += [
        Reading(BEGIN + 60 * MINUTE, Signal.WATER_METER, 9_990.0),
        Reading(BEGIN + 60 * MINUTE, Signal.CONCENTRATE_METER, 50.0),
        Reading(BEGIN + 62 * MINUTE, Signal.WATER_METER, 9.0),
        Reading(BEGIN + 62 * MINUTE, Signal.CONCENTRATE_METER, 51.0),
        Addition(at=BEGIN + 64 * MINUTE, id="a1", water=19.0, concentrate=1.0),
    ]
    evidence += steady(320.0, 60, at=BEGIN + 65 * MINUTE)[1:]

    belief = fold(evidence, METERED)
    (event,) = events_of(belief, METERED)

    assert event.source == "meter"
    assert event.volume.value == pytest.approx(20.0, abs=0.6)
    added = state_at(belief, belief.at, METERED).added
    assert added.water.value == pytest.approx(19.0, abs=0.6)
    assert added.concentrate.value == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize(
    ("before", "now", "gained"),
    [
        pytest.param(-1.0, 500.0, 0.0, id="first reading tells nothing"),
        pytest.param(500.0, 512.5, 12.5, id="counts on"),
        pytest.param(9_995.0, 5.0, 10.0, id="rolls over"),
        pytest.param(4_000.0, 3.0, 3.0, id="was reset to zero"),
    ],
)
def test_totalisers_roll_over_and_reset(before, now, gained):
    """A fall is a rollover near the end of the counter, a reset elsewhere."""
    told = SignalPlan(signal=Signal.WATER_METER, rollover=10_000.0)

    assert gain_of(Meter(before, BEGIN), now, told) == pytest.approx(gained)


def test_deliveries_of_one_setpoint_are_one_event():
    """A station's running totals for one setpoint add up to its last ones, not to their sum."""
    evidence = steady(300.0, 60)
    for k, water in enumerate((4.0, 8.0, 12.0)):
        evidence.append(
            Delivery(
                at=BEGIN + (60 + k) * MINUTE,
                setpoint="s1",
                water=water,
                concentrate=water / 20.0,
                finished=k == 2,
            )
        )
    evidence += steady(312.6, 60, at=BEGIN + 63 * MINUTE)[1:]

    (event,) = events_of(fold(evidence))

    assert event.volume.value == pytest.approx(12.6, abs=0.7)


@pytest.mark.parametrize(
    ("drain", "left"),
    [
        pytest.param({"volume": 50.0}, 250.0, id="a volume"),
        pytest.param({"to_level": 200.0}, 210.0, id="down to a depth"),
        pytest.param({"everything": True}, 4.5, id="all of it"),
    ],
)
def test_a_reported_drain_takes_out_mix(drain, left):
    """A drain lowers the volume and leaves the concentration; it is neither lost nor added."""
    belief = fold(steady(300.0, 120))
    before = state_at(belief, belief.at, plan())
    belief = absorb(belief, Drain(at=belief.at + MINUTE, id="d1", **drain), plan())

    state = state_at(belief, belief.at, plan())

    assert state.volume.value == pytest.approx(left, abs=8.0)
    assert state.drained.water.value == pytest.approx((300.0 - left) * 0.92, abs=10.0)
    assert state.lost.water.value == pytest.approx(before.lost.water.value, abs=0.5)
    assert [event.kind for event in state.events] == ["drain"]


def test_an_addition_reported_twice_is_counted_once():
    """A second report of one bucket, of which nothing arrives, is withdrawn."""
    evidence = steady(300.0, 120)
    evidence += [Addition(at=BEGIN + 120 * MINUTE, id="a1", water=20.0, concentrate=0.0)]
    evidence += steady(320.0, 40, at=BEGIN + 121 * MINUTE)[1:]
    evidence += [Addition(at=BEGIN + 165 * MINUTE, id="a2", water=20.0, concentrate=0.0)]
    evidence += steady(320.0, 90, at=BEGIN + 166 * MINUTE)[1:]

    belief = fold(evidence)
    events = events_of(belief)
    state = state_at(belief, belief.at, plan())

    assert [event.id for event in events] == ["addition-a1"]
    assert [event.kind for event in state.events] == ["addition", "withdrawn"]
    assert state.added.water.value == pytest.approx(20.0, abs=2.5)
    assert state.lost.water.value == pytest.approx(0.0, abs=2.5)


def test_a_sump_that_keeps_running_out_has_a_leak_and_no_drains():
    """30 L an hour for three hours are lost, not drained, and called mix-loss-high."""
    evidence = steady(350.0, 180)
    dice = random.Random(9)
    evidence += [
        Reading(
            BEGIN + (180 + k) * MINUTE,
            Signal.LEVEL,
            (350.0 - 0.5 * k) / AREA + dice.gauss(0.0, 1.0),
        )
        for k in range(180)
    ]

    belief = fold(evidence)
    state = state_at(belief, belief.at, plan())

    assert state.drained.water.value == pytest.approx(0.0, abs=5.0)
    assert state.lost.water.value == pytest.approx(90.0 * 0.92, abs=20.0)
    assert abs(state.volume.value - 260.0) < 2.0 * state.volume.sd
    assert "mix-loss-high" in [finding.name for finding in state.findings]


def test_events_that_are_let_go_of_are_not_withdrawn():
    """More additions than the memory holds: each is told once, and none is taken back."""
    told: tuple[SumpEvent, ...] = ()
    counted, belief = set(), fold(steady(300.0, 30))
    for k in range(40):
        at = BEGIN + 30 * MINUTE + 3 * k * HOUR
        poured = Addition(at=at, id=f"a{k}", water=5.0, concentrate=0.0)
        volume = 305.0 + 5.0 * k
        seen = [Reading(at + m * MINUTE, Signal.LEVEL, volume / AREA) for m in range(1, 30, 4)]
        for item in [poured, *seen]:
            belief = absorb(belief, item, plan())
            state = state_at(belief, belief.at, plan())
            told, news = event_news(told, state.events, state.events_since)
            counted |= {event.id for event in news}
            assert [event for event in news if event.kind == "withdrawn"] == []

    assert counted == {f"addition-a{k}" for k in range(40)}
