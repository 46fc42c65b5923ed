"""Losses that are too high and gains that nobody poured: found surely, told apart, and not else."""

import random

import pytest

from advisor.estimate import Belief, absorb, begin, state_at
from advisor.losing import limit
from advisor.words import DAY, HOUR, MINUTE, Account, Estimate, Reading, Signal, SumpState
from tests.advisor.truth import AREA, BEGIN, live, plan, unlike

STEP = 5 * MINUTE


def run(*phases: tuple[float, float, float], seed: int = 1) -> list[SumpState]:
    """States at every hour of a sump that runs on; a phase: days, water and mix lost a day."""
    dice, belief, at = random.Random(seed), begin(plan()), BEGIN
    belief = absorb(belief, Reading(at, Signal.RUNNING, 1.0), plan())
    volume, solute, states = 400.0, 32.0, []
    for days, water, mix in phases:
        for _ in range(round(days * DAY / STEP)):
            at += STEP
            part = STEP / DAY
            strength = solute / volume
            volume -= (water + mix) * part
            solute -= strength * mix * part
            for signal, value in (
                (Signal.LEVEL, (volume - 35.0) / AREA + dice.gauss(0.0, 1.0)),
                (Signal.BRIX, round(80.0 * solute / volume + 0.15 + dice.gauss(0.0, 0.05), 2)),
            ):
                belief = absorb(belief, Reading(at, signal, value), plan())
            if at % HOUR == 0:
                states.append(state_at(belief, at, plan()))
    return states


def names(state: SumpState) -> list[str]:
    """Names of the findings about the sump itself."""
    return [found.name for found in state.findings if found.signal is None]


def first(states: list[SumpState], name: str) -> float:
    """Hours from the beginning until a finding is told first."""
    return next((n for n, state in enumerate(states, 1) if name in names(state)), 1e9)


def test_water_that_comes_in_is_told_as_a_gain():
    """A valve that drips 48 L a day into a sump is found within a day, and called that."""
    states = run((2.0, 15.0, 2.0), (1.5, -48.0, 2.0))

    assert 48 <= first(states, "water-gain") <= 72
    assert names(states[47]) == []
    (found,) = [found for found in states[-1].findings if found.name == "water-gain"]
    assert found.value == pytest.approx(48.0, rel=0.6)
    assert found.unit == "L/d"


def test_a_loss_of_water_beyond_what_is_usual_is_told():
    """From 12 to 50 L of water a day with the concentrate as before: within two days."""
    states = run((4.0, 12.0, 1.0), (2.0, 50.0, 1.0))

    assert 96 <= first(states, "water-loss-high") <= 144
    assert first(states, "mix-loss-high") > 1e6
    assert first(states, "concentrate-loss-high") > 1e6


def test_mix_that_leaks_slowly_is_told_as_mix():
    """From 3 to 40 L of mix a day is no evaporation and no depletion."""
    states = run((4.0, 10.0, 3.0), (2.0, 10.0, 40.0))

    assert 96 <= first(states, "mix-loss-high") <= 144
    assert "concentrate-loss-high" not in names(states[-1])


@pytest.mark.parametrize("seed", [40, 41, 42])
def test_ordinary_weeks_bring_no_finding(seed):
    """Shifts, weekends and reported additions never look like a leak or an ingress."""
    _, evidence = live(unlike(seed, days=9.0, interval=5 * MINUTE))
    belief: Belief = begin(plan())
    seen: set[str] = set()
    for item in evidence:
        belief = absorb(belief, item, plan())
        if item.at % HOUR == 0:
            seen |= set(names(state_at(belief, belief.at, plan())))

    assert seen == set()


@pytest.mark.parametrize(
    ("days", "lost", "most"),
    [
        pytest.param(1.0, 90.0, 40.0, id="a new account: a tenth of the volume"),
        pytest.param(10.0, 150.0, 30.0, id="twice the usual"),
        pytest.param(10.0, 10.0, 8.0, id="at least a fiftieth"),
        pytest.param(10.0, 300.0, 40.0, id="at most a tenth"),
        pytest.param(10.0, 500.0, 50.0, id="but never under the usual"),
    ],
)
def test_the_limit_follows_what_is_usual_within_bounds(days, lost, most):
    """By hand, for 400 L: twice the mean of the account, between 8 and 40 L a day."""
    account = Account(since=BEGIN, water=Estimate(lost, 1.0), concentrate=Estimate(0.0, 1.0))

    assert limit(account, "water", 400.0, days) == pytest.approx(most)
