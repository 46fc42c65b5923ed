r"""The yardstick's algebra: a normal belief, moved in time, looked at, and hit by events.

The state is split in two: the first entries feed one another as time passes, the rest stand still.
So a step costs little however many unmoving entries ride along.

.. math:: m \leftarrow F m, \quad P \leftarrow F P F^T + Q

.. math:: s = h^T P h + r, \quad m \leftarrow m + P h\,(z - \hat z)/s, \quad
          P \leftarrow P - P h h^T P / s

References
----------
.. [1] R. E. Kalman, J. Basic Eng. 82 (1960) 35 (from memory).
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Vector = npt.NDArray[np.float64]
Matrix = npt.NDArray[np.float64]

_LOG_2PI = math.log(2.0 * math.pi)


class Gaussian:
    """A state that is known as a normal distribution. Units are the caller's."""

    def __init__(self, mean: Vector, sds: Vector) -> None:
        self.mean = mean.astype(np.float64).copy()
        self.cov: Matrix = np.diag(sds.astype(np.float64) ** 2)

    def move(self, transition: Matrix, noise: Matrix) -> None:
        """Let time pass for the first entries, as many as the transition has."""
        m = len(transition)
        self.mean[:m] = transition @ self.mean[:m]
        self.cov[:m] = transition @ self.cov[:m]
        self.cov[:, :m] = self.cov[:, :m] @ transition.T
        self.cov[:m, :m] += noise

    def toward(self, places: Sequence[int], weights: Vector) -> tuple[Vector, float]:
        """Covariance of every entry with a weighted sum of some, and the sum's variance."""
        spread = weights @ self.cov[list(places)]
        return spread, float(weights @ spread[list(places)])

    def observe(
        self, places: Sequence[int], weights: Vector, surprise: float, noise: float
    ) -> float:
        """Take in one reading of a weighted sum: its log-likelihood.

        Parameters
        ----------
        places, weights
            The sum that was read.
        surprise
            Reading less what was expected of it.
        noise
            Variance of the reading's own error.
        """
        spread, variance = self.toward(places, weights)
        total = variance + noise
        self.mean += spread * (surprise / total)
        self.cov -= np.multiply.outer(spread, spread / total)
        return -0.5 * (_LOG_2PI + math.log(total) + surprise * surprise / total)

    def read(self, places: Sequence[int], weights: Vector, value: float, noise: float) -> float:
        """Take in one reading of a sum that is linear: its log-likelihood."""
        return self.observe(
            places, weights, value - float(weights @ self.mean[list(places)]), noise
        )

    def hit(self, places: Sequence[int], weights: Vector, size: float, variance: float) -> None:
        """Add an amount that is known to a variance to some entries at once."""
        idx = list(places)
        self.mean[idx] += weights * size
        self.cov[np.ix_(idx, idx)] += np.multiply.outer(weights, weights) * variance

    def shift(self, place: int, size: float) -> None:
        """Add to one entry what is known for certain, in its unit."""
        self.mean[place] += size

    def bend(self, places: Sequence[int], slopes: Matrix, means: Vector | None = None) -> None:
        """Turn some entries into functions of them, linear or with these slopes and new means."""
        idx = list(places)
        self.mean[idx] = slopes @ self.mean[idx] if means is None else means
        self.cov[idx] = slopes @ self.cov[idx]
        self.cov[:, idx] = self.cov[:, idx] @ slopes.T

    def copy(self, source: int, target: int) -> None:
        """Let one entry be what another is now; from here on they go their own ways."""
        self.mean[target] = self.mean[source]
        self.cov[target] = self.cov[source]
        self.cov[:, target] = self.cov[:, source]
        self.cov[target, target] = self.cov[source, source]

    def forget(self, place: int, mean: float, variance: float) -> None:
        """Let one entry be known afresh, whatever it was."""
        self.mean[place] = mean
        self.cov[place] = 0.0
        self.cov[:, place] = 0.0
        self.cov[place, place] = variance

    def sum(self, places: Sequence[int], weights: Vector) -> tuple[float, float]:
        """Mean and sd of a weighted sum, in its unit."""
        _, variance = self.toward(places, weights)
        return float(weights @ self.mean[list(places)]), math.sqrt(max(variance, 0.0))
