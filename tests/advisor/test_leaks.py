"""The fast test for a leak: soon, seldom falsely, and no step is one."""

import random

import pytest

from advisor.leaks import FALSE_A_YEAR, SLOT, Depths, runs_out, take_depth
from advisor.priors import priors
from tests.advisor.truth import AREA, plan

QUIET = priors(plan())._replace(level_sd=1.0, waves_sd=0.5, waves_days=0.02)
READINGS = 10
MAY = 35.0 / AREA
LEAST = 4.0
SLOT_SD = (1.0 / 6.0 + 0.25) ** 0.5


def taken(falls: list[float], *, sd: float = 0.0, seed: int = 1) -> list[bool]:
    """Whether a leak is seen after each slot; `falls` are what the level loses in each. [mm]"""
    dice, depths, level, seen = random.Random(seed), (), 340.0, []
    for number, fall in enumerate(falls):
        level -= fall
        depths = take_depth(depths, number * SLOT, level + dice.gauss(0.0, sd), QUIET.waves_sd)
        seen.append(runs_out(depths, READINGS, QUIET, may=MAY, least=LEAST))
    return seen


@pytest.mark.parametrize("seed", range(20))
def test_twenty_litres_an_hour_are_seen_within_forty_minutes(seed):
    """20 L/h is 3.2 mm a slot: four slots are enough, whatever the noise."""
    seen = taken([0.1] * 8 + [20.0 / 6.0 / AREA] * 6, sd=SLOT_SD, seed=seed)

    assert not any(seen[:8])
    assert any(seen[8:12])


def test_level_noise_alone_is_seldom_a_leak():
    """Two sump-years of looks at noise of the stated size: at most as many as are stated."""
    years = 2
    looks = round(years * 365 * 144)

    false = sum(taken([0.1] * looks, sd=SLOT_SD))

    assert false <= max(1.0, 3.0 * years * FALSE_A_YEAR)


@pytest.mark.parametrize("size", [10.0, 30.0, 60.0])
@pytest.mark.parametrize("slots", [1, 2])
def test_a_drain_is_no_leak(size, slots):
    """What is gone within two slots, and then no more, somebody has drained."""
    falls = [0.1] * 8 + [size / slots] * slots + [0.1] * 10

    assert not any(taken(falls))


def test_usual_losses_are_no_leak():
    """The most that evaporates and is carried off, for days."""
    assert not any(taken([MAY / 144.0] * 1000, sd=SLOT_SD))


def test_a_gap_begins_anew_and_a_slot_cut_short_is_passed_over():
    """Nobody knows what happened meanwhile; slots much nearer than usual tell nothing new."""
    depths: Depths = ((0, 300.0, 1.0), (SLOT, 299.0, 1.0))

    assert take_depth(depths, 4 * SLOT, 280.0, 1.0) == ((4 * SLOT, 280.0, 1.0),)
    assert take_depth(depths, SLOT + SLOT // 3, 298.0, 1.0) == depths
