"""How fast the estimator is: the linear core beside filterpy, and whole beliefs, in one run.

Times are the best of some repeats; the ratios hold for the machine and the moment of the run. With
numba installed the core is compiled as well (it is no dependency); without it that line is left
out.
"""

import timeit
from collections.abc import Callable, Iterator

import numpy as np
from filterpy.kalman import KalmanFilter

from advisor.estimate import absorb, begin, state_at
from advisor.filter_step import learn, move, project
from advisor.slots import close
from advisor.words import MINUTE, Evidence, Reading, Signal
from tests.advisor.truth import Life, live, plan

STATES = 4
ROW = np.array([1.0, 0.0, 0.0, 1.0])
BLOCK = np.array([[1.0, 0.0, -0.01, 0.0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 0.9]])
NOISE = np.eye(STATES) * 1e-3


def best(work: Callable[[], object], number: int) -> float:
    """Best time of one call. [µs]"""
    return min(timeit.repeat(work, number=number, repeat=5)) / number * 1e6


def ours() -> Callable[[], object]:
    """One prediction and one update of the linear core, four states."""
    mean, cov, decay = np.zeros(STATES), np.eye(STATES), np.ones(STATES)
    places = list(range(STATES))

    def step() -> None:
        move(mean, cov, BLOCK, decay, NOISE)
        spread, known = project(cov, places, ROW)
        learn(mean, cov, spread, known + 1.0, 0.1)

    return step


def reference() -> Callable[[], object]:
    """The same step by filterpy."""
    other = KalmanFilter(dim_x=STATES, dim_z=1)
    other.F, other.Q, other.R, other.H = BLOCK, NOISE, np.eye(1), ROW[None, :]
    value = np.array([[0.1]])

    def step() -> None:
        other.predict()
        other.update(value)

    return step


def compiled() -> Callable[[], object] | None:
    """The same straight-line step compiled by numba, where it is installed."""
    try:
        from numba import njit
    except ImportError:
        return None

    @njit
    def step(mean, cov, block, decay, noise, row):
        mean[:] = (block @ mean) * decay
        moved = block @ cov @ block.T
        for i in range(len(mean)):
            for j in range(len(mean)):
                cov[i, j] = moved[i, j] * decay[i] * decay[j] + noise[i, j]
        spread = cov @ row
        variance = row @ spread + 1.0
        gain = spread / variance
        surprise = 0.1 - row @ mean
        for i in range(len(mean)):
            mean[i] += gain[i] * surprise
            for j in range(len(mean)):
                cov[i, j] -= gain[i] * spread[j]

    arrays = (np.zeros(STATES), np.eye(STATES), BLOCK, np.ones(STATES), NOISE, ROW)
    step(*arrays)
    return lambda: step(*arrays)


def whole(days: float) -> dict[str, float]:
    """Cost of the whole estimator on a sump's life, a reading a minute of level and Brix. [µs]"""
    told = plan()
    _, evidence = live(Life(seed=1, days=days, interval=MINUTE, reported=False))
    belief = begin(told)
    for item in evidence:
        belief = absorb(belief, item, told)
    full = belief
    ahead: list[Evidence] = [
        Reading(full.at + k * MINUTE, signal, value)
        for k in range(1, 9)
        for signal, value in (
            (Signal.LEVEL, full.core.told.sensor_depth),
            (Signal.BRIX, full.core.told.brix),
        )
    ]
    for item in ahead:
        full = absorb(full, item, told)

    def run() -> None:
        again = begin(told)
        for item in evidence:
            again = absorb(again, item, told)

    return {
        "a reading, all in": best(run, 1) / len(evidence),
        "a slot of ten minutes taken in": best(lambda: close(full, told), 200),
        "a state told": best(lambda: state_at(belief, belief.at + MINUTE, told), 500),
    }


def measure(days: float = 2.0) -> Iterator[tuple[str, str]]:
    """Give what was measured and how it came out."""
    core, other, fast = best(ours(), 2000), best(reference(), 1000), compiled()
    yield f"linear core, {STATES} states, predict and update", f"{core:.2f} µs"
    yield "the same by filterpy", f"{other:.2f} µs"
    if fast is not None:
        quick = best(fast, 20_000)
        yield "the same compiled by numba", f"{quick:.2f} µs"
        yield "compiled is faster than filterpy by", f"{other / quick:.1f}"
    for name, cost in whole(days).items():
        yield name, f"{cost:.2f} µs"
