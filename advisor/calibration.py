r"""A refractometer's reading of a fresh charge: how much to add, or which factor it speaks for.

The charge was measured in, so its concentration :math:`c` is known but for what went wrong, and a
reading of :math:`B` °Brix speaks for the factor :math:`f = 100 c / B`. Or the factor is right and
the charge is not: then it has :math:`f B / 100`, and that is what to correct. One reading cannot
tell the two apart; a titration can, which knows nothing of the factor.
"""

from dataclasses import dataclass

from advisor.effects import Mix
from advisor.errors import AdvisorError
from advisor.mixing import mix_of

TELLS = 0.2
"""What a handheld refractometer tells apart on clean fluid (handbooks, from memory). [°Brix]"""

ROUNDS = 9
"""Marks of water that are tried from the exact amount on, for one of concentrate more. [1]"""

PLAUSIBLE_SHARE = 0.10
"""Part of the data sheet's factor by which a batch of concentrate may differ, *common practice*.
[1]"""

PLAUSIBLE = 0.8, 4.0
"""Factors that there are: emulsions about 1, semi-synthetics 1.2 to 2, synthetics 1.5 to more than
3 (from memory). [%/°Brix]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What a reading says of a charge."""

    reading: float
    """[°Brix]"""
    expected: float | None
    """By the factor; `None` without one. [°Brix]"""
    factor: float
    """That the reading speaks for, if the charge is as it was measured in. [%/°Brix]"""
    is_plausible: bool
    """Whether there may be such a factor."""
    is_as_expected: bool
    """Nearer to what was expected than the instrument tells apart."""
    strength: float | None
    """Of the charge, if the factor is right; `None` without one. [1]"""
    add: Mix | None
    """That brings it to the target then; `None` where nothing is to be added, or no mix would do.
    [L]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Charged:
    """A charge as it was measured in. Litres and fractions."""

    volume: float
    strength: float
    target: float
    weakest: float
    strongest: float
    """Of what may be added."""
    mark: float = 0.0
    """Step in which it is measured; 0 where any amount can be. [L]"""


def calibrate(charged: Charged, reading: float, factor: float | None) -> Calibration:
    """Say what a reading says of a charge.

    Parameters
    ----------
    charged : Charged
        Volume [L] and concentration [1] as measured in, and the rules of the fluid.
    reading : float
        Of the refractometer, at 20 °C or compensated. [°Brix]
    factor : float or None
        Of the data sheet. [%/°Brix]

    Raises
    ------
    AdvisorError
        If the reading is none that a charge can have.

    Examples
    --------
    300 L at 8 % read 6.0 °Brix: a factor of 1.33, or 7.5 % by a factor of 1.25.

    >>> fresh = Charged(volume=300.0, strength=0.08, target=0.08, weakest=0.0, strongest=0.2)
    >>> found = calibrate(fresh, 6.0, 1.25)
    >>> round(found.factor, 2), found.strength, round(found.add.concentrate, 2)
    (1.33, 0.075, 2.5)
    """
    if not 0.0 < reading < 95.0:
        raise AdvisorError("reading", reading, "more than 0, less than 95 °Brix")
    speaks_for = 100.0 * charged.strength / reading
    if factor is None:
        low, high = PLAUSIBLE
        return Calibration(
            reading=reading,
            expected=None,
            factor=speaks_for,
            is_plausible=low <= speaks_for <= high,
            is_as_expected=False,
            strength=None,
            add=None,
        )
    expected = 100.0 * charged.strength / factor
    strength = min(factor * reading / 100.0, 1.0)
    as_expected = abs(reading - expected) <= TELLS
    return Calibration(
        reading=reading,
        expected=expected,
        factor=speaks_for,
        is_plausible=abs(speaks_for - factor) <= PLAUSIBLE_SHARE * factor,
        is_as_expected=as_expected,
        strength=strength,
        add=None if as_expected else correction(charged, strength),
    )


def correction(charged: Charged, strength: float) -> Mix | None:
    """What brings a sump from another concentration [1] to the target by adding. [L]

    With the strongest mix or the weakest: x = V (t - c) / (w - t). `None` where neither would do.

    >>> fresh = Charged(volume=300.0, strength=0.08, target=0.08, weakest=0.0, strongest=0.2)
    >>> correction(fresh, 0.10)
    Mix(water=75.0, concentrate=0.0)
    """
    fresh = charged.strongest if strength < charged.target else charged.weakest
    missing, gained = charged.target - strength, fresh - charged.target
    if missing == 0.0 or gained == 0.0 or (missing > 0.0) != (gained > 0.0):
        return None
    exact = mix_of(charged.volume * missing / gained, fresh)
    return _in_marks(charged, strength, exact) if charged.mark > 0.0 else exact


def _in_marks(charged: Charged, strength: float, exact: Mix) -> Mix:
    """Give what stands on the marks about the exact amounts and leads nearest to the target. [L]

    The exact amounts, where no such mix may be made.
    """
    mark = charged.mark
    first, second = (int(part / mark + 1e-9) for part in (exact.water, exact.concentrate))
    tried = [
        Mix(water * mark, concentrate * mark)
        for water in range(first, first + ROUNDS)
        for concentrate in (second, second + 1)
        if water + concentrate > 0
    ]
    allowed = [m for m in tried if charged.weakest - 1e-9 <= m.strength <= charged.strongest + 1e-9]
    pure = charged.volume * strength
    return min(
        allowed,
        key=lambda m: abs((pure + m.concentrate) / (charged.volume + m.volume) - charged.target),
        default=exact,
    )
