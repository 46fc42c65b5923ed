"""Small drawings of the overview, as numbers that a template puts into SVG.

Drawn on the server, so that a page is complete when it arrives, prints, and needs no script.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from agent.page.cards import Gauge
from agent.store.history import Trace

STRIP_WIDTH = 240.0
TREND_WIDTH, TREND_HEIGHT = 120.0, 28.0
LEAST_SPREAD = 3.0
"""Narrower than this a span cannot be seen."""


@dataclass(frozen=True, slots=True)
class Strip:
    """A quantity on its scale: places along `STRIP_WIDTH`."""

    band: tuple[float, float]
    """Begin and width of what is allowed."""
    target: float
    due: float | None
    value: float | None
    spread: tuple[float, float]
    """Begin and width of where it almost surely is."""
    verdict: str


def strip(gauge: Gauge) -> Strip:
    """Lay a gauge out."""
    low, high = gauge.share(gauge.low) * STRIP_WIDTH, gauge.share(gauge.high) * STRIP_WIDTH
    value, spread = None, (0.0, 0.0)
    if gauge.estimate is not None:
        middle, span = gauge.estimate.value, 2.0 * gauge.estimate.sd
        value = gauge.share(middle) * STRIP_WIDTH
        begin = gauge.share(middle - span) * STRIP_WIDTH
        width = gauge.share(middle + span) * STRIP_WIDTH - begin
        if width < LEAST_SPREAD:
            begin, width = value - LEAST_SPREAD / 2.0, LEAST_SPREAD
        spread = (begin, width)
    return Strip(
        band=(low, high - low),
        target=gauge.share(gauge.target) * STRIP_WIDTH,
        due=None if gauge.due is None else gauge.share(gauge.due) * STRIP_WIDTH,
        value=value,
        spread=spread,
        verdict=gauge.verdict,
    )


def trend_path(points: Sequence[Trace], quantity: str, least: float) -> str:
    """SVG path of a day's trend over `TREND_WIDTH`, broken where nothing was told.

    Parameters
    ----------
    points : sequence of Trace
        Oldest first.
    quantity : str
        ``volume`` [L] or ``concentration`` [1].
    least : float
        The drawing's height stands for this at least, so that noise is not blown up.
    """
    told = [(p.at, getattr(p, quantity)) for p in points]
    values = [value for _, value in told if value is not None]
    if len(values) < 2:
        return ""
    begin, length = told[0][0], max(told[-1][0] - told[0][0], 1)
    middle = (min(values) + max(values)) / 2.0
    reach = max(max(values) - min(values), least)
    path, pen = [], "M"
    for at, value in told:
        if value is None:
            pen = "M"
            continue
        x = (at - begin) / length * TREND_WIDTH
        y = TREND_HEIGHT * (0.5 - 0.86 * (value - middle) / reach)
        path.append(f"{pen}{x:.1f} {y:.1f}")
        pen = "L"
    return "".join(path)
