"""What each instrument and each person's measurement says about the state, as rows of weights."""

from dataclasses import dataclass

import numpy as np

from advisor import states as s
from advisor.balance import concentration
from advisor.filter_step import Vector
from advisor.geometry import area_at, height, volume_at
from advisor.plan import SumpPlan
from advisor.water import COLDEST, HOTTEST, volume_at_20


@dataclass(frozen=True, slots=True)
class Row:
    """A measurement's expectation and how it hangs on the state, linear about the mean."""

    expected: float
    places: list[int]
    weights: Vector
    variance: float
    """Of the measurement itself. [its own unit, squared]"""


def level_row(mean: Vector, share: float, share_sd: float, area: float, sd: float) -> Row:
    r"""Level as drawn volume in the tank: :math:`V + O - u H + A (n + m + o)`.

    Parameters
    ----------
    mean : shape (n,)
        State. [its own unit]
    share, share_sd : float
        Share of the holdup that is up. [1]
    area : float
        Of the surface, by the drawing. [L/mm]
    sd : float
        White noise, as depth. [mm]
    """
    noise = float(mean[s.WAVES] + mean[s.SWAY] + mean[s.SHIFT])
    return Row(
        float(mean[s.V] + mean[s.OIL] - share * mean[s.HOLDUP]) + area * noise,
        [s.V, s.OIL, s.HOLDUP, s.WAVES, s.SWAY, s.SHIFT],
        np.array((1.0, 1.0, -share, area, area, area)),
        (area * sd) ** 2 + (float(mean[s.HOLDUP]) * share_sd) ** 2,
    )


def brix_row(mean: Vector, factor: float, sd: float, warmer: float = 0.0) -> Row:
    r"""Inline refractometer: :math:`100 C / (k V) + s + b + w + t (T - 20)`.

    `factor` is the data sheet's :math:`k` [%/°Brix], `sd` the white noise [°Brix], `warmer` how far
    the fluid is above 20 °C, 0 where nobody measures it [°C].
    """
    handheld = handheld_row(mean, factor, sd)
    offsets = float(mean[s.FILM] + mean[s.WANDER]) + warmer * float(mean[s.WARMTH])
    return Row(
        handheld.expected + offsets,
        [*handheld.places, s.FILM, s.WANDER, s.WARMTH],
        np.append(handheld.weights, (1.0, 1.0, warmer)),
        handheld.variance,
    )


def handheld_row(mean: Vector, factor: float, sd: float) -> Row:
    r"""Refractometer by hand: :math:`100 C / (k V) + s`; shares factor and oil with the inline.

    `factor` is the data sheet's :math:`k` [%/°Brix], `sd` the person's spread [°Brix].
    """
    strength, volume = concentration(mean), max(float(mean[s.V]), 1e-3)
    slope = 100.0 / factor
    return Row(
        slope * strength + float(mean[s.SHARED]),
        [s.V, s.C, s.SHARED],
        np.array((-slope * strength / volume, slope / volume, 1.0)),
        sd * sd,
    )


def titration_row(mean: Vector, sd: float) -> Row:
    r"""Titration: :math:`(1 - g) C / V`, whatever the oil does; `sd` [1]."""
    volume, keep = max(float(mean[s.V]), 1e-3), 1.0 - float(mean[s.FACTOR])
    read = concentration(mean)
    return Row(
        keep * read,
        [s.V, s.C, s.FACTOR],
        np.array((-keep * read / volume, keep / volume, -read)),
        sd * sd,
    )


def dipstick_row(mean: Vector, share: float, share_sd: float, area: float, sd: float) -> Row:
    """Depth by hand, as volume: the level's row without the sensor's own noise over hours."""
    row = level_row(mean, share, share_sd, area, sd)
    noise = area * float(mean[s.WAVES] + mean[s.SWAY] + mean[s.SHIFT])
    return Row(row.expected - noise, row.places[:3], row.weights[:3], row.variance)


def level_volume(plan: SumpPlan, depth: float, temperature: float | None) -> float:
    """Volume at 20 °C of fluid that stands `depth` deep, kept within the tank. [L]"""
    volume = volume_at(plan.tank, min(max(depth, 0.0), height(plan.tank)))
    if temperature is None:
        return volume
    return volume_at_20(volume, min(max(temperature, COLDEST), HOTTEST))


def surface(plan: SumpPlan, depth: float) -> float:
    """Area of the surface at a depth, for depths that a sensor may tell. [L/mm]"""
    deepest = height(plan.tank)
    return area_at(plan.tank, min(max(depth, 0.02 * deepest), 0.98 * deepest))
