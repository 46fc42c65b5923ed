"""The process model: exact in time, nothing from nowhere; losses told apart where they can be."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import expm

from advisor import states as s
from advisor.balance import passage, split
from advisor.filter_step import move
from advisor.priors import priors
from advisor.words import Estimate
from tests.advisor.truth import plan

PRIOR = priors(plan())


def start() -> np.ndarray:
    """A sump of 300 L at 8 % that loses water and concentrate."""
    mean = np.zeros(s.SIZE)
    mean[[s.V, s.C]] = 300.0, 24.0
    mean[[s.WATER_REST, s.WATER_RUN]] = 4.0, 15.0
    mean[[s.CONCENTRATE_REST, s.CONCENTRATE_CUT]] = 0.1, 0.4
    return mean


def test_transition_is_the_matrix_exponential():
    """The block equals exp(A t) of the rate equations, by scipy."""
    block, _, _ = passage(start(), PRIOR, 0.3, 0.3, 0.3)
    rates = np.zeros((s.MOVING, s.MOVING))
    for water in (s.WATER_REST, s.WATER_RUN):
        rates[s.V, water], rates[s.LOST_WATER, water] = -1.0, 1.0
    for solute in (s.CONCENTRATE_REST, s.CONCENTRATE_CUT):
        rates[s.V, solute] = rates[s.C, solute] = -1.0
        rates[s.LOST_CONCENTRATE, solute] = 1.0
    for grown, source in ((s.FILM, s.FILM_RATE), (s.SHARED, s.SHARED_RATE), (s.OIL, s.OIL_RATE)):
        rates[grown, source] = 1.0
    rates[s.SHARED, s.WATER_BRIX] = block[s.SHARED, s.WATER_BRIX] / 0.3

    assert block == pytest.approx(expm(rates * 0.3), abs=1e-12)


def test_noise_adds_up_over_time():
    """Two half intervals give the covariance of the whole one: the discretisation is exact."""
    whole, halves = np.zeros((s.SIZE, s.SIZE)), np.zeros((s.SIZE, s.SIZE))
    mean = start()
    move(mean.copy(), whole, *passage(mean, PRIOR, 1.0, 1.0, 1.0))
    for _ in range(2):
        move(mean.copy(), halves, *passage(mean, PRIOR, 0.5, 0.5, 0.5))

    assert halves == pytest.approx(whole, rel=1e-9, abs=1e-12)


@given(
    days=st.floats(0.0, 30.0),
    run=st.floats(0.0, 1.0),
    cut=st.floats(0.0, 1.0),
)
def test_what_is_lost_is_missing(days, run, cut):
    """Volume and losses, concentrate and its loss, always add up to what was there."""
    mean = start()
    before = mean.copy()

    move(mean, np.zeros((s.SIZE, s.SIZE)), *passage(mean, PRIOR, days, run * days, cut * days))

    lost = mean[s.LOST_WATER] + mean[s.LOST_CONCENTRATE]
    assert mean[s.V] + lost == pytest.approx(before[s.V], rel=1e-12)
    assert mean[s.C] + mean[s.LOST_CONCENTRATE] == pytest.approx(before[s.C], rel=1e-12)


def test_nothing_runs_nothing_of_the_running_loss():
    """With the pumps off only the losses at rest go on."""
    mean = start()

    move(mean, np.zeros((s.SIZE, s.SIZE)), *passage(mean, PRIOR, 1.0, 0.0, 0.0))

    assert mean[s.LOST_WATER] == pytest.approx(4.0)
    assert mean[s.LOST_CONCENTRATE] == pytest.approx(0.1)


def test_split_gives_back_evaporation_and_carry_off():
    """20 L of water and 5 L of mix at 8 % a day are told apart; the error grows by 1/c."""
    water, solute = Estimate(20.0 + 0.92 * 5.0, 1.0), Estimate(0.4, 0.02)

    evaporation, carry_off = split(water, solute, 0.0, 0.08)

    assert evaporation.value == pytest.approx(20.0)
    assert carry_off.value == pytest.approx(5.0)
    assert carry_off.sd >= 0.02 / 0.08
    assert evaporation.sd >= 0.92 * 0.02 / 0.08
