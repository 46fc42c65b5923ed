"""From litres of the drawing and concentrate as read to true litres."""

from collections.abc import Sequence

import numpy as np

from simulators.score import places as p
from simulators.score.kalman import Gaussian, Vector


def true_product(
    belief: Gaussian, places: Sequence[int], weights: Vector, scales: Sequence[int]
) -> tuple[float, float]:
    """Mean and sd of a weighted sum times (1 + scale) for each of some scales, to first order."""
    mean = belief.mean
    plain = float(weights @ mean[list(places)])
    factor = float(np.prod([1.0 + mean[scale] for scale in scales]))
    slopes = [plain * factor / (1.0 + mean[scale]) for scale in scales]
    row = np.concatenate((weights * factor, slopes))
    _, variance = belief.toward((*places, *scales), row)
    return plain * factor, max(variance, 0.0) ** 0.5


def concentrate_between(belief: Gaussian, since: int) -> tuple[float, float]:
    """Concentrate lost since a kept moment, and its sd. [L]"""
    places, pair = (p.CONCENTRATE, since + 1), np.array((1.0, -1.0))
    return true_product(belief, places, pair, (p.AREA, p.FACTOR))


def water_between(belief: Gaussian, since: int) -> tuple[float, float]:
    """Water lost since a kept moment, and its sd: all that was lost less the concentrate. [L]"""
    mean = belief.mean
    wide, strong = 1.0 + mean[p.AREA], 1.0 + mean[p.FACTOR]
    solute = mean[p.CONCENTRATE] - mean[since + 1]
    water = mean[p.LOST] - mean[since] - strong * solute
    row = np.array((wide, -wide, -wide * strong, wide * strong, water, -wide * solute))
    places = (p.LOST, since, p.CONCENTRATE, since + 1, p.AREA, p.FACTOR)
    _, variance = belief.toward(places, row)
    return float(wide * water), max(variance, 0.0) ** 0.5
