"""Intervals by drawing whole runs again: hours within a run share their errors."""

from collections.abc import Callable, Sequence

import numpy as np

from simulators.score.kalman import Matrix, Vector

DRAWS = 2000
Interval = tuple[float, float]


def interval(
    rows: Sequence[Sequence[float]], statistic: Callable[[Matrix], Vector], share: float = 0.95
) -> Interval | None:
    """Interval of a statistic of sums over runs; None for fewer than three runs.

    Parameters
    ----------
    rows
        One a run: whatever the statistic sums up.
    statistic
        From sums over the runs (a draw a line) to the statistic of each draw.
    share
        Of the draws that the interval holds. [1]

    References
    ----------
    .. [1] B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap, 1993, ch. 13, the
       percentile interval (from memory).
    """
    table = np.asarray(rows, dtype=np.float64)
    if len(table) < 3:
        return None
    generator = np.random.Generator(np.random.PCG64(20260302))
    drawn = generator.integers(0, len(table), size=(DRAWS, len(table)))
    times = np.zeros((DRAWS, len(table)))
    np.add.at(times, (np.arange(DRAWS)[:, None], drawn), 1.0)
    found = statistic(times @ table)
    found = found[np.isfinite(found)]
    if not len(found):
        return None
    low, high = np.quantile(found, ((1.0 - share) / 2.0, (1.0 + share) / 2.0))
    return float(low), float(high)
