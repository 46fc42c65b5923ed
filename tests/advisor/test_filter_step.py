"""The linear core against an independent filter library, and its own promises."""

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter
from hypothesis import given
from hypothesis import strategies as st

from advisor.filter_step import clone, forget, learn, move, pack, project, shock, unpack

SIZE, BLOCK = 7, 4


def drawn(seed: int) -> tuple[np.ndarray, ...]:
    """A random but proper filter problem: mean, covariance, transition, decay, noise."""
    dice = np.random.default_rng(seed)
    root = dice.normal(size=(SIZE, SIZE)) * 10.0 ** dice.uniform(-2, 2, SIZE)[:, None]
    noise_root = dice.normal(size=(BLOCK, BLOCK))
    return (
        dice.normal(size=SIZE),
        root @ root.T + np.eye(SIZE) * 1e-6,
        np.eye(BLOCK) + 0.1 * dice.normal(size=(BLOCK, BLOCK)),
        dice.uniform(0.5, 1.0, SIZE),
        noise_root @ noise_root.T,
    )


@pytest.mark.parametrize("seed", range(20))
def test_agrees_with_filterpy(seed):
    """Three predictions and updates give filterpy's mean and covariance to 1e-9."""
    mean, cov, block, decay, noise = drawn(seed)
    other = KalmanFilter(dim_x=SIZE, dim_z=1)
    other.x, other.P = mean.copy()[:, None], cov.copy()
    whole = np.eye(SIZE)
    whole[:BLOCK, :BLOCK] = block
    other.F = np.diag(decay) @ whole
    other.Q = np.zeros((SIZE, SIZE))
    other.Q[:BLOCK, :BLOCK] = noise
    dice = np.random.default_rng(seed + 1000)
    for _ in range(3):
        row, value, variance = dice.normal(size=SIZE), dice.normal(), dice.uniform(0.1, 2.0)
        other.predict()
        other.update(np.array([[value]]), R=np.array([[variance]]), H=row[None, :])

        move(mean, cov, block, decay, noise)
        spread, known = project(cov, list(range(SIZE)), row)
        learn(mean, cov, spread, known + variance, value - float(row @ mean))

    scale = np.abs(other.P).max()
    assert mean == pytest.approx(other.x[:, 0], rel=1e-9, abs=1e-9 * scale**0.5)
    assert cov / scale == pytest.approx(other.P / scale, abs=1e-9)


@given(seed=st.integers(0, 10_000), sd=st.floats(1e-3, 1e3))
def test_covariance_stays_symmetric_and_positive(seed, sd):
    """No update makes a variance negative, and symmetry is kept to the last bit."""
    mean, cov, *_ = drawn(seed)
    cov = (cov + cov.T) / 2.0
    row = np.random.default_rng(seed).normal(size=SIZE)

    spread, known = project(cov, list(range(SIZE)), row)
    learn(mean, cov, spread, known + sd * sd, 1.0)

    assert np.array_equal(cov, cov.T)
    assert np.linalg.eigvalsh(cov).min() > -1e-9 * np.abs(cov).max()


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=50))
def test_packed_doubles_come_back_exactly(values):
    """Text and back gives the same doubles, bit for bit, in a fresh array."""
    array = np.array(values)

    back = unpack(pack(array))

    assert back.tobytes() == array.tobytes()
    assert back.flags.writeable


def test_updates_at_one_moment_commute():
    """Two measurements of one moment give the same in either order."""
    results = []
    for order in ((0, 1), (1, 0)):
        mean, cov, *_ = drawn(3)
        rows = np.random.default_rng(5).normal(size=(2, SIZE))
        for k in order:
            spread, known = project(cov, list(range(SIZE)), rows[k])
            learn(mean, cov, spread, known + 0.5, (1.0, -2.0)[k] - float(rows[k] @ mean))
        results.append((mean, cov))

    assert results[0][0] == pytest.approx(results[1][0], rel=1e-6, abs=1e-8)
    assert results[0][1] == pytest.approx(results[1][1], rel=1e-6, abs=1e-7)


def test_shock_adds_its_mean_and_variance():
    """A random amount moves the mean by its expectation and adds its variance, no more."""
    mean, cov, *_ = drawn(1)
    shape = np.array([1.0, 0.0, -2.0, 0.0, 0.0, 0.0, 0.5])
    before_mean, before_cov = mean.copy(), cov.copy()

    shock(mean, cov, shape, size=3.0, variance=4.0)

    assert mean - before_mean == pytest.approx(3.0 * shape)
    assert cov - before_cov == pytest.approx(4.0 * np.outer(shape, shape))


def test_clone_is_fully_correlated_and_a_forgotten_entry_is_not():
    """A clone equals its source now; a fresh entry hangs on nothing."""
    mean, cov, *_ = drawn(2)

    clone(mean, cov, 1, 5)
    assert mean[5] == mean[1]
    assert cov[5, 5] == cov[1, 1] == cov[1, 5]

    forget(mean, cov, 1, 7.0, 2.0)
    assert mean[1] == 7.0
    assert cov[1, 5] == 0.0
    assert cov[1, 1] == 2.0
