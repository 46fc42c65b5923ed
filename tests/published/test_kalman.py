"""The linear core against published filters: the Nile series, a constant voltage, closed forms."""

import math

import numpy as np
import pytest

from advisor.filter_step import learn, move, project

# Annual flow of the Nile at Aswan 1871-1970: J. Durbin and S. J. Koopman, "Time Series Analysis by
# State Space Methods", Oxford, 2nd ed. 2012, ch. 2; data as in R's datasets::Nile.
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180,
    799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833,
    701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845,
    864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649,
    846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815,
    1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip
OBSERVATION, LEVEL = 15099.0, 1469.1  # maximum-likelihood variances, same book, table 2.1


def filtered(first: float, variance: float, values: list[int]) -> list[tuple[float, float]]:
    """Local level filtered from a given start: mean and variance after each value."""
    mean, cov = np.array([first]), np.array([[variance]])
    path = []
    for n, value in enumerate(values):
        if n:
            move(mean, cov, np.eye(1), np.ones(1), np.array([[LEVEL]]))
        spread, known = project(cov, [0], np.ones(1))
        learn(mean, cov, spread, known + OBSERVATION, value - float(mean[0]))
        path.append((float(mean[0]), float(cov[0, 0])))
    return path


def test_nile_has_the_mean_that_is_printed():
    """The data are the printed ones: 100 values with mean 919.35."""
    assert len(NILE) == 100
    assert sum(NILE) / 100 == pytest.approx(919.35)


def test_nile_local_level_agrees_with_the_book():
    """From a1 = 0, P1 = 1e7 the filter gives the book's levels and variances."""
    path = filtered(0.0, 1e7, NILE)

    assert [mean for mean, _ in path[:3]] == pytest.approx([1118.311, 1140.108, 1072.316], abs=2e-3)
    assert [var for _, var in path[:3]] == pytest.approx([15076.236, 7894.558, 5779.497], abs=2e-3)
    assert path[-1] == pytest.approx((798.370, 4032.158), abs=2e-3)


def test_nile_diffuse_likelihood_agrees_with_print():
    """The exact diffuse start gives the log-likelihood -633.4646 that packages print."""
    mean, cov = np.array([float(NILE[0])]), np.array([[OBSERVATION]])
    total = 0.0
    for value in NILE[1:]:
        move(mean, cov, np.eye(1), np.ones(1), np.array([[LEVEL]]))
        spread, known = project(cov, [0], np.ones(1))
        variance, surprise = known + OBSERVATION, value - float(mean[0])
        total -= 0.5 * (math.log(2 * math.pi * variance) + surprise**2 / variance)
        learn(mean, cov, spread, variance, surprise)

    # Durbin and Koopman's diffuse likelihood counts log(2 pi) for the first value as well.
    assert total - 0.5 * math.log(2 * math.pi) == pytest.approx(-633.4646, abs=1e-3)


def test_constant_voltage_agrees_with_the_tutorial():
    """Welch and Bishop's constant: Q = 1e-5, R = 0.01, P0 = 1 give the gains that follow."""
    mean, cov = np.zeros(1), np.eye(1)
    gains, variances = [], []
    for _ in range(50):
        move(mean, cov, np.eye(1), np.ones(1), np.array([[1e-5]]))
        spread, known = project(cov, [0], np.ones(1))
        gain = learn(mean, cov, spread, known + 0.01, -0.37727 - float(mean[0]))
        gains.append(float(gain[0]))
        variances.append(float(cov[0, 0]))

    # G. Welch and G. Bishop, "An Introduction to the Kalman Filter", UNC-CH TR 95-041, ch. 3;
    # the problem is theirs, the digits those of its closed recursion.
    assert gains[:2] == pytest.approx([0.990099, 0.497765], abs=1e-6)
    assert variances[:2] == pytest.approx([0.00990099, 0.00497765], abs=1e-8)
    assert variances[-1] == pytest.approx(3.3921e-4, abs=1e-8)


@pytest.mark.parametrize("ratio", [0.0973, 1.0, 4.0])
def test_steady_gain_is_the_closed_form(ratio):
    """A local level of signal-to-noise q settles at gain x/(x + 1), x = (q + sqrt(q²+4q))/2."""
    mean, cov = np.zeros(1), np.eye(1) * 1e3
    gain = np.zeros(1)
    for _ in range(200):
        move(mean, cov, np.eye(1), np.ones(1), np.array([[ratio]]))
        spread, known = project(cov, [0], np.ones(1))
        gain = learn(mean, cov, spread, known + 1.0, 0.0)

    x = (ratio + math.sqrt(ratio * ratio + 4.0 * ratio)) / 2.0
    assert float(gain[0]) == pytest.approx(x / (x + 1.0), rel=1e-9)
