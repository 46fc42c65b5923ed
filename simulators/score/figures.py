"""How numbers are written in the tables."""

from simulators.score.bootstrap import Interval
from simulators.score.tallies import Truthful


def number(value: float | None) -> str:
    """Three digits that mean something, or a dash."""
    if value is None:
        return "-"
    if abs(value) >= 100.0:
        return f"{value:.0f}"
    return f"{value:.1f}" if abs(value) >= 10.0 else f"{value:.2f}"


def fixed(value: float | None) -> str:
    """A ratio."""
    return "-" if value is None else f"{value:.2f}"


def percent(value: float | None) -> str:
    """A share."""
    return "-" if value is None else f"{100.0 * value:.1f} %"


def interval_of(value: Interval | None, scale: float = 1.0) -> str:
    """An interval, or nothing."""
    if value is None:
        return ""
    digits = 2 if scale == 1.0 else 1
    return f"({value[0] * scale:.{digits}f}-{value[1] * scale:.{digits}f})"


def truthful(words: Truthful) -> str:
    """How errors stand to their sd's."""
    if words.rms_z is None:
        return "not told"
    return f"error {words.rms_z:.2f} sd rms, {percent(words.covered)} within 2 sd"
