"""A burst hose and one left open: found, booked as lost or gained, and over when they are over."""

import random

from advisor.estimate import absorb, begin, state_at
from advisor.words import DAY, HOUR, MINUTE, Reading, Signal, SumpState
from tests.advisor.truth import AREA, BEGIN, plan


def run(leak: float, ingress: float, *, seed: int = 3) -> tuple[list[SumpState], list[float]]:
    """States every ten minutes, and water truly lost by then; from 24 to 28 h something runs."""
    dice, belief, at = random.Random(seed), begin(plan()), BEGIN
    belief = absorb(belief, Reading(at, Signal.RUNNING, 1.0), plan())
    volume, solute, lost = 330.0, 26.4, 0.0
    states: list[SumpState] = []
    truth: list[float] = []
    while at < BEGIN + 32 * HOUR:
        at += MINUTE
        runs = 24 * HOUR <= at - BEGIN < 28 * HOUR
        part, c = MINUTE / DAY, solute / volume
        mix, water = 3.0 + leak * runs, 15.0 - ingress * runs
        volume -= (mix + water) * part
        solute -= c * mix * part
        lost += (water + (1.0 - c) * mix) * part
        for signal, value in (
            (Signal.LEVEL, (volume - 35.0) / AREA + dice.gauss(0.0, 1.0)),
            (Signal.BRIX, 80.0 * solute / volume + dice.gauss(0.0, 0.05)),
        ):
            belief = absorb(belief, Reading(at, signal, value), plan())
        if at % (10 * MINUTE) == 0:
            states.append(state_at(belief, at, plan()))
            truth.append(lost)
    return states, truth


def told(state: SumpState, name: str) -> bool:
    """Whether a finding about the sump is told."""
    return any(found.name == name for found in state.findings)


def test_a_burst_hose_is_found_within_an_hour_and_is_a_loss():
    """480 L a day run out for four hours: told as loss of mix, and no drain is left on record."""
    states, truth = run(480.0, 0.0)

    first = next(n for n, state in enumerate(states) if told(state, "mix-loss-high"))
    assert 144 <= first <= 150
    assert not [event for event in states[-1].events if event.kind == "drain"]
    lost = states[-1].lost
    assert lost is not None
    assert abs(lost.water.value - truth[-1]) < 2.0 * lost.water.sd < 20.0


def test_a_hose_left_open_is_water_that_comes_in():
    """400 L a day run in for four hours: told as a gain, over soon after, and no addition."""
    states, truth = run(0.0, 400.0)

    gains = [n for n, state in enumerate(states) if told(state, "water-gain")]
    assert 144 <= gains[0] <= 152
    assert not [event for event in states[-1].events if event.kind == "addition"]
    lost = states[-1].lost
    assert lost is not None
    assert abs(lost.water.value - truth[-1]) < 2.0 * lost.water.sd < 20.0


def test_a_usual_sump_never_rushes():
    """Nothing runs: neither a leak nor a gain is told."""
    states, _ = run(0.0, 0.0)

    assert not [state for state in states if state.findings]
