"""Sensor health: what is a fault, what is not, and how trust comes back."""

import random

import pytest

from advisor.estimate import Belief, absorb, begin, state_at
from advisor.faults import UNSEEN, Watch, is_other_unit, look
from advisor.words import (
    DAY,
    HOUR,
    MINUTE,
    Check,
    CheckKind,
    Evidence,
    Finding,
    Quality,
    Reading,
    Signal,
)
from tests.advisor.truth import BEGIN, live, plan, unlike


def watched(values: list[float], sd: float, interval: int = MINUTE) -> Watch:
    """A watch after these readings."""
    watch = UNSEEN
    for k, value in enumerate(values):
        watch = look(watch, BEGIN + k * interval, value, sd, "")
    return watch


def test_flat_is_not_stuck():
    """Honest readings of 0.1 resolution and little noise stand still for hours: no fault."""
    dice = random.Random(1)
    values = [round(6.43 + dice.gauss(0.0, 0.02), 1) for _ in range(600)]

    assert watched([6.5, 6.4, *values], sd=0.02).fault == ""


def test_a_noisy_sensor_that_repeats_is_stuck_and_earns_trust_back():
    """A level that scattered by 1.5 mm and then repeats for an hour is stuck until it moves."""
    dice = random.Random(2)
    values = [round(300.0 + dice.gauss(0.0, 1.5), 1) for _ in range(60)]

    stuck = watched([*values, *[301.2] * 60], sd=1.5)
    back = stuck
    for k, value in enumerate((299.9, 301.0, 300.4)):
        back = look(back, BEGIN + (121 + k) * MINUTE, value, 1.5, "")

    assert "301.2" in stuck.fault
    assert back.fault == ""


@pytest.mark.parametrize(
    ("value", "expected", "other"),
    [
        (30.1, 300.0, True),
        (0.3, 300.0, True),
        (11.81, 300.0, True),
        (200.0, 300.0, False),
        (0.0, 300.0, False),
    ],
)
def test_other_units_are_known_by_their_ratio(value, expected, other):
    """Centimetres, metres and inches are told from a sump that was half emptied."""
    assert is_other_unit(value, expected) is other


def fold(evidence: list[Evidence]) -> Belief:
    """All the evidence, one after another."""
    belief = begin(plan())
    for item in evidence:
        belief = absorb(belief, item, plan())
    return belief


def bent(evidence: list[Evidence], signal: Signal, begin_h: float, end_h: float, bend) -> list:
    """The evidence with one signal's readings bent for some hours."""
    out = []
    for item in evidence:
        hour = (item.at - BEGIN) / HOUR
        if isinstance(item, Reading) and item.signal is signal and begin_h <= hour < end_h:
            out.append(Reading(item.at, item.signal, bend(item.value)))
        else:
            out.append(item)
    return out


def found(belief: Belief) -> list[Finding]:
    """Findings at the newest evidence."""
    return list(state_at(belief, belief.at, plan()).findings)


def test_spikes_are_passed_over():
    """Single readings 60 mm off leave volume and events as they were."""
    _, evidence = live(unlike(30, days=1.0, per_day=0.0))
    spiked = [
        Reading(item.at, item.signal, item.value + 60.0)
        if isinstance(item, Reading) and item.signal is Signal.LEVEL and k % 97 == 0
        else item
        for k, item in enumerate(evidence)
    ]

    plain, hurt = fold(evidence), fold(spiked)

    state = state_at(hurt, hurt.at, plan())
    assert state.volume.value == pytest.approx(
        state_at(plain, plain.at, plan()).volume.value, abs=1.0
    )
    assert [event for event in state.events if event.kind != "withdrawn"] == []


def test_a_changed_unit_is_flagged_left_out_and_forgiven():
    """A level that turns to centimetres is bad within an hour, moves nothing, and comes back."""
    _, evidence = live(unlike(31, days=1.0, per_day=0.0))
    wrong = bent(evidence, Signal.LEVEL, 8.0, 12.0, lambda value: value / 10.0)
    during = fold([item for item in wrong if item.at < BEGIN + 9 * HOUR])
    after = fold(wrong)

    assert [(item.name, item.signal) for item in found(during)] == [("sensor-fault", Signal.LEVEL)]
    state = state_at(during, during.at, plan())
    assert state.qualities[Signal.LEVEL] is Quality.BAD
    calm = fold([item for item in evidence if item.at < BEGIN + 9 * HOUR])
    assert state.volume.value == pytest.approx(
        state_at(calm, calm.at, plan()).volume.value, abs=1.5
    )
    assert found(after) == []
    assert state_at(after, after.at, plan()).qualities[Signal.LEVEL] is Quality.GOOD


def test_a_step_of_the_refractometer_is_its_own():
    """Brix that jumps by 1.2 while the level stands is a sensor fault and no concentrate."""
    _, evidence = live(unlike(32, days=2.0, per_day=0.0))
    jumped = bent(evidence, Signal.BRIX, 30.0, 48.0, lambda value: value + 1.2)

    belief, calm = fold(jumped), fold(evidence)

    assert ("sensor-fault", Signal.BRIX) in [(item.name, item.signal) for item in found(belief)]
    told = state_at(belief, belief.at, plan()).concentration
    assert told.value == pytest.approx(
        state_at(calm, calm.at, plan()).concentration.value, abs=0.006
    )


def test_a_gap_is_no_fault():
    """Six hours without readings bring no finding."""
    _, evidence = live(unlike(33, days=1.0, per_day=0.0))
    gap = [item for item in evidence if not 6.0 <= (item.at - BEGIN) / HOUR < 12.0]

    assert found(fold(gap)) == []


def test_clean_weeks_bring_no_flag():
    """Three weeks of honest readings, in lives that differ, are never called faulty."""
    for seed in (34, 35, 36):
        _, evidence = live(unlike(seed, days=7.0, interval=5 * MINUTE))
        belief = begin(plan())
        for item in evidence:
            belief = absorb(belief, item, plan())
            assert belief.watches[0].fault == ""
            assert belief.watches[1].fault == ""
        assert belief.core.shifted == ()


def test_checks_that_keep_disagreeing_are_a_drift():
    """Daily titrations that keep saying 1 % less than the inline reading bring sensor-drift."""
    _, evidence = live(unlike(37, days=1.0, per_day=0.0))
    belief = fold(evidence)
    truth = state_at(belief, belief.at, plan()).concentration.value
    for k in range(6):
        lower = truth - 0.02 - 0.012 * k
        check = Check(
            at=belief.at + DAY, id=f"t{k}", kind=CheckKind.TITRATION, value=max(lower, 0.0)
        )
        belief = absorb(belief, check, plan())

    assert [(item.name, item.signal) for item in found(belief)] == [("sensor-drift", Signal.BRIX)]
