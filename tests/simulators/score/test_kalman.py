"""The yardstick's algebra against a reference library and a published series."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.score.fitting import climb
from simulators.score.kalman import Gaussian
from tests.published.test_kalman import LEVEL, NILE, OBSERVATION
from tests.simulators.score.reference import Reference


@given(seed=st.integers(0, 10_000))
def test_every_operation_agrees_with_the_reference_library(seed):
    """Any sequence of moves, readings and events gives filterpy's mean and covariance to 1e-9."""
    draw = np.random.default_rng(seed)
    n, m = 6, 4
    belief = Reference(draw.normal(size=n), draw.uniform(0.5, 2.0, size=n))
    for _ in range(30):
        match int(draw.integers(6)):
            case 0:
                root = draw.normal(size=(m, m)) * 0.1
                belief.move(np.eye(m) + 0.1 * draw.normal(size=(m, m)), root @ root.T)
            case 1 | 2:
                places = draw.choice(n, size=3, replace=False)
                belief.observe(places, draw.normal(size=3), draw.normal(), draw.uniform(0.1, 1.0))
            case 3:
                belief.hit((0, 2), draw.normal(size=2), draw.normal(), draw.uniform(0.0, 1.0))
            case 4:
                belief.bend((1, 3), draw.normal(size=(2, 2)) + 2.0 * np.eye(2))
            case _:
                belief.copy(0, 5)
                belief.forget(4, 0.5, 0.3)
    assert belief.compared >= 30
    assert belief.worst < 1e-9


def nile(level: float, observation: float) -> tuple[Gaussian, float]:
    """The Nile's local level, its start given by the first value: belief and log-likelihood."""
    belief = Gaussian(np.array([float(NILE[0])]), np.array([observation**0.5]))
    total = 0.0
    for value in NILE[1:]:
        belief.move(np.eye(1), np.array([[level]]))
        total += belief.read((0,), np.ones(1), value, observation)
    return belief, total


def test_the_nile_ends_where_the_book_has_it():
    """J. Durbin and S. J. Koopman, 2nd ed. 2012, ch. 2: the last level is 798.370 +- 4032.158."""
    belief, total = nile(LEVEL, OBSERVATION)

    assert belief.mean[0] == pytest.approx(798.370, abs=2e-3)
    assert belief.cov[0, 0] == pytest.approx(4032.158, abs=2e-3)
    # their diffuse log-likelihood, -633.4646, counts log(2 pi) for the first value as well
    assert total - 0.5 * np.log(2.0 * np.pi) == pytest.approx(-633.4646, abs=1e-3)


def test_climbing_finds_the_variances_that_the_book_estimates():
    """Maximum likelihood gives 1469.1 and 15099, as printed there in table 2.1."""
    level, observation = np.exp(
        climb(lambda logs: nile(*np.exp(logs))[1], [8.0, 9.0], step=1.0, least=1e-4)
    )

    assert level == pytest.approx(1469.1, rel=2e-3)
    assert observation == pytest.approx(15099.0, rel=1e-3)


def test_a_known_sum_has_no_spread():
    """What was read without error is known: the sum's sd is 0 and its mean the reading."""
    belief = Gaussian(np.zeros(2), np.ones(2))
    belief.read((0, 1), np.array((1.0, 2.0)), 3.0, 0.0)

    mean, sd = belief.sum((0, 1), np.array((1.0, 2.0)))
    assert (mean, sd) == (pytest.approx(3.0), pytest.approx(0.0, abs=1e-7))


def test_a_copy_stays_what_it_was():
    """A copied entry keeps its value while the original goes on, and knows how they belong."""
    belief = Gaussian(np.array([1.0, 0.0]), np.array([2.0, 9.0]))
    belief.copy(0, 1)
    assert belief.sum((0, 1), np.array((1.0, -1.0))) == (pytest.approx(0.0), pytest.approx(0.0))

    belief.move(np.eye(1), np.array([[5.0]]))
    assert belief.sum((0, 1), np.array((1.0, -1.0)))[1] == pytest.approx(5.0**0.5)
