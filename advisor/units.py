"""Fractions, percent and parts per hundred of water; the US customary units that people read.

Conversions of whatever else a plant sends are made once, at load time, in `agent.quantities`.
"""

from typing import Final

from advisor.errors import AdvisorError

GALLON: Final = 3.785411784
"""US liquid gallon, 231 cubic inches of 25.4 mm: exact, NIST Handbook 44, appendix C. [L]"""

FLUID_OUNCE: Final = GALLON / 128
"""US fluid ounce, 29.5735295625 mL: NIST Handbook 44, appendix C. [L]"""


def fraction_from_percent(percent: float) -> float:
    """Share of the whole, 0..1 where `percent` is 0..100. [1]

    >>> fraction_from_percent(8.0)
    0.08
    """
    return percent / 100.0


def percent_from_fraction(fraction: float) -> float:
    """Share of the whole in percent. [%]

    >>> percent_from_fraction(0.08)
    8.0
    """
    return fraction * 100.0


def fraction_from_parts(parts: float) -> float:
    """Concentration of `parts` concentrate to a hundred of water. [1]

    The trade's second convention; not a percentage of the mix.

    >>> fraction_from_parts(6.0)  # "six to a hundred" is 5.66 % of the mix
    0.0566
    """
    if not 0.0 <= parts < float("inf"):
        raise AdvisorError("parts per hundred of water", parts, "a number from 0 on")
    return parts / (100.0 + parts)


def parts_from_fraction(fraction: float) -> float:
    """Parts of concentrate to a hundred of water in a mix of this concentration. [1]

    >>> parts_from_fraction(0.05)  # 5 % of the mix is 1 to 19
    5.2632
    """
    if not 0.0 <= fraction < 1.0:
        raise AdvisorError("concentration", fraction, "at least 0 and less than 1")
    return 100.0 * fraction / (1.0 - fraction)


def fraction_from_ratio(first: float, second: float) -> float:
    """Concentration of a mix that is named as a ratio, such as 4:1 or 1:4. [1]

    The larger of the two is the water, whichever way round it was said: nobody pours more
    concentrate than water (*common practice*).

    >>> fraction_from_ratio(4, 1), fraction_from_ratio(1, 4)
    (0.2, 0.2)
    >>> fraction_from_ratio(1, 20)  # 1:20 is not 5 %
    0.0476
    """
    for part in (first, second):
        if not 0.0 < part < float("inf"):
            raise AdvisorError("ratio", f"{first}:{second}", "two numbers above 0")
    return min(first, second) / (first + second)
