r"""Where a sump goes by itself, left alone or kept full, if its losses go on as they are.

With evaporation :math:`e`, carry-off :math:`d` (as mix) and, from what fills it up, strength
:math:`w`,

.. math::

    \text{left alone:}\quad V = V_0 - (e + d) t, \qquad C = C_0 (V / V_0)^{d / (e + d)}

    \text{kept full:}\quad V \dot c = w (e + d) - d c, \qquad
    c = c_\infty + (c_0 - c_\infty) e^{-d t / V}, \quad c_\infty = w (e + d) / d

Depletion counts as carry-off: two instruments cannot tell them apart. Ingress makes :math:`e`
smaller, even negative.
"""

from dataclasses import dataclass
from math import exp, inf, log

from advisor.errors import AdvisorError
from advisor.words import Losses

STILL = 1e-9
"""A rate under this is none. [L/d]"""


@dataclass(frozen=True, slots=True)
class Rates:
    """How a sump loses, as two flows. [L/d]"""

    evaporation: float
    carry_off: float

    @property
    def total(self) -> float:
        """What has to be filled up. [L/d]"""
        return self.evaporation + self.carry_off


def rates_of(losses: Losses, strength: float) -> Rates | None:
    """Flows that lose so much water and concentrate at a concentration [1].

    `None` where the losses are not known. A loss below nothing is taken as none.

    >>> from advisor.words import Estimate
    >>> known = Losses(window_h=24.0, water=Estimate(19.6, 1.0), concentrate=Estimate(0.4, 0.1),
    ...                evaporation=None, carry_off=None)
    >>> rates_of(known, 0.08)
    Rates(evaporation=15.0, carry_off=5.0)
    """
    if losses.water is None or losses.concentrate is None or not 0.0 < strength < 1.0:
        return None
    concentrate = max(losses.concentrate.value, 0.0)
    water = max(losses.water.value, 0.0)
    carry_off = concentrate / strength
    return Rates(water + concentrate - carry_off, carry_off)


def left_alone(volume: float, strength: float, rates: Rates, days: float) -> tuple[float, float]:
    """Volume [L] and concentration [1] of a sump into which nothing is poured for so many days.

    An empty sump has the concentration of its last drop.

    >>> [round(x, 4) for x in left_alone(300.0, 0.08, Rates(15.0, 5.0), 1.0)]
    [280.0, 0.0842]
    """
    _require(volume, strength)
    left = max(volume - rates.total * days, 1e-6 * volume)
    if abs(rates.total) < STILL:
        return volume, strength * exp(-rates.carry_off * days / volume)
    return left, min(strength * (left / volume) ** (rates.carry_off / rates.total - 1.0), 1.0)


def days_left_alone(volume: float, strength: float, goal: float, rates: Rates) -> float:
    """Time after which a sump into which nothing is poured has the concentration `goal`. [d]

    Infinite where it never has, or only when it is empty; 0 where it is there already.

    >>> round(days_left_alone(300.0, 0.08, 0.10, Rates(10.0, 0.0)), 9)
    6.0
    """
    _require(volume, strength)
    if goal == strength:
        return 0.0
    if goal <= 0.0 or abs(rates.evaporation) < STILL:
        return inf
    if abs(rates.total) < STILL:
        days = -volume / rates.carry_off * log(goal / strength)
    else:
        left = volume * (goal / strength) ** (-rates.total / rates.evaporation)
        days = (volume - left) / rates.total
    return days if days > 0.0 else inf


def kept_full(volume: float, strength: float, fresh: float, rates: Rates, days: float) -> float:
    """Concentration of a sump that is kept full with a mix of strength `fresh`. [1]

    >>> round(kept_full(300.0, 0.08, 0.02, Rates(15.0, 5.0), 365.0), 6)
    0.08
    """
    _require(volume, strength)
    if rates.carry_off < STILL:
        return strength + fresh * rates.evaporation * days / volume
    end = fresh * rates.total / rates.carry_off
    return end + (strength - end) * exp(-rates.carry_off * days / volume)


def days_kept_full(
    volume: float, strength: float, goal: float, fresh: float, rates: Rates
) -> float:
    """Time after which a sump kept full with a mix of strength `fresh` reaches `goal`. [d]

    Infinite where it never does, 0 where it is there already.

    An idle sump of 300 L that is filled up with 1 % for 10 L a day creeps from 8 to 10 % in

    >>> round(days_kept_full(300.0, 0.08, 0.10, 0.01, Rates(10.0, 0.0)), 9)
    60.0
    """
    _require(volume, strength)
    if goal == strength:
        return 0.0
    if rates.carry_off < STILL:
        speed = fresh * rates.evaporation / volume
        days = (goal - strength) / speed if speed != 0.0 else inf
        return days if days > 0.0 else inf
    end = fresh * rates.total / rates.carry_off
    share = (end - goal) / (end - strength) if end != strength else inf
    return -volume / rates.carry_off * log(share) if 0.0 < share < 1.0 else inf


def _require(volume: float, strength: float) -> None:
    """Refuse a volume [L] or a concentration [1] that no sump has."""
    if not 0.0 < volume < inf:
        raise AdvisorError("volume", volume, "more than 0 L")
    if not 0.0 < strength <= 1.0:
        raise AdvisorError("concentration", strength, "more than 0, at most 1")
