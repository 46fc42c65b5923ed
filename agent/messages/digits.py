"""To which digit each quantity is told: fixed, so that the same state gives the same bytes.

A standard deviation is told to the same digit as its value.
"""

VOLUME = 2
"""Volumes and totals of a sump, to 0.01 L: a tenth of what the best level sensor resolves."""

CONCENTRATION = 3
"""Concentrations and strengths, to 0.001 % of the mix."""

LOSS = 3
"""Rates, to 0.001 L/day."""

POUR = 3
"""What is to be poured or drained, to a millilitre."""

HOURS = 2
"""Spans of time, to 0.01 h."""

READING = 6
"""Limits and alarm values in a sensor's own unit: significant digits, since the unit is any."""


def step(digits: int, unit: str) -> str:
    """Words for a description.

    Examples
    --------
    >>> step(2, "L")
    'to 0.01 L'
    """
    return f"to {10.0**-digits:.{digits}f} {unit}"
