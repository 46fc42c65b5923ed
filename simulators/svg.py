"""Charts as SVG: a few panels of lines and dots over a common time axis. No library needed."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from math import floor, log10

_WIDTH = 1100
_PANEL = 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 70, 150, 34, 40
_STYLE = """
text { font: 12px sans-serif; fill: #222 } .title { font-size: 14px; font-weight: bold }
.grid { stroke: #ddd; stroke-width: 1 } .axis { stroke: #444; stroke-width: 1; fill: none }
.line { fill: none; stroke-width: 1.6 } .band { fill: #2a7f62; fill-opacity: 0.10 }
.mark { stroke-width: 1; stroke-dasharray: 4 3 }
"""

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Series:
    """One line or cloud of dots; x in days."""

    label: str
    points: Sequence[Point]
    colour: str
    dots: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """An upright line at a moment. [d]"""

    x: float
    colour: str
    label: str = ""


@dataclass(slots=True)
class Panel:
    """One chart among those that stand above each other."""

    title: str
    series: list[Series] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    band: tuple[float, float] | None = None
    """A shaded range of y."""


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round values between two ends.

    >>> ticks(0.0, 10.0)
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    span = max(high - low, 1e-9)
    power = 10.0 ** floor(log10(span / about))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if span / (m * power) <= about + 0.5)
    first = floor(low / step + 1e-9)
    values = [round(i * step, 10) for i in range(first, first + 4 * about)]
    return [value for value in values if low - 1e-9 * span <= value <= high + 1e-9 * span]


def thinned(points: Sequence[Point], most: int = 2000) -> list[Point]:
    """At most about so many points, the lowest and highest of each stretch kept."""
    if len(points) <= most:
        return list(points)
    size = -(-len(points) * 2 // most)
    kept: list[Point] = []
    for i in range(0, len(points), size):
        part = points[i : i + size]
        ends = {min(part, key=lambda p: p[1]), max(part, key=lambda p: p[1])}
        kept += sorted(ends)
    return kept


def chart(title: str, panels: Sequence[Panel]) -> str:
    """The whole drawing."""
    xs = [x for panel in panels for series in panel.series for x, _ in series.points]
    low, high = (min(xs), max(xs)) if xs else (0.0, 1.0)
    height = _TOP + len(panels) * (_PANEL + 26) + _BOTTOM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" role="img">',
        f"<title>{escape(title)}</title><style>{_STYLE}</style>",
        f'<rect width="{_WIDTH}" height="{height}" fill="#fff"/>',
        f'<text class="title" x="{_LEFT}" y="20">{escape(title)}</text>',
    ]
    for i, panel in enumerate(panels):
        parts += _Frame(panel, _TOP + 16 + i * (_PANEL + 26), (low, high)).drawn()
    parts.append(f'<text x="{_LEFT}" y="{height - 8}">days</text></svg>')
    return "\n".join(parts) + "\n"


class _Frame:
    """Scales of one panel."""

    def __init__(self, panel: Panel, top: float, x_range: Point) -> None:
        ys = [y for series in panel.series for _, y in series.points]
        ys += list(panel.band or ())
        low, high = (min(ys), max(ys)) if ys else (0.0, 1.0)
        room = 0.05 * max(high - low, 1e-6)
        self._panel = panel
        self._top = top
        self._y = (low - room, high + room)
        self._x = x_range

    def _at(self, x: float, y: float) -> str:
        """Place of a point."""
        return f"{self._across(x):.1f},{self._down(y):.1f}"

    def _across(self, x: float) -> float:
        """Place of a time."""
        low, high = self._x
        return _LEFT + (x - low) / max(high - low, 1e-9) * (_WIDTH - _LEFT - _RIGHT)

    def _down(self, y: float) -> float:
        """Place of a value."""
        low, high = self._y
        return self._top + (high - y) / (high - low) * _PANEL

    def drawn(self) -> list[str]:
        """All elements, from the ground up."""
        right, bottom = _WIDTH - _RIGHT, self._top + _PANEL
        parts = [f'<text x="{_LEFT}" y="{self._top - 4:.0f}">{escape(self._panel.title)}</text>']
        if self._panel.band is not None:
            low, high = self._panel.band
            parts.append(
                f'<rect class="band" x="{_LEFT}" y="{self._down(high):.1f}" '
                f'width="{right - _LEFT}" height="{self._down(low) - self._down(high):.1f}"/>'
            )
        for y in ticks(*self._y):
            at = self._down(y)
            parts.append(f'<path class="grid" d="M{_LEFT},{at:.1f}H{right}"/>')
            parts.append(f'<text x="{_LEFT - 8}" y="{at + 4:.1f}" text-anchor="end">{y:g}</text>')
        for x in ticks(*self._x, about=14):
            at = self._across(x)
            parts.append(f'<path class="grid" d="M{at:.1f},{self._top}V{bottom}"/>')
            parts.append(f'<text x="{at:.1f}" y="{bottom + 14}" text-anchor="middle">{x:g}</text>')
        parts += self._marks(bottom) + self._lines() + self._legend(right)
        parts.append(f'<path class="axis" d="M{_LEFT},{self._top}V{bottom}H{right}"/>')
        return parts

    def _marks(self, bottom: float) -> list[str]:
        """Events."""
        return [
            f'<path class="mark" stroke="{mark.colour}" d="M{self._across(mark.x):.1f},{self._top}'
            f'V{bottom}"><title>{escape(mark.label)}</title></path>'
            for mark in self._panel.marks
        ]

    def _lines(self) -> list[str]:
        """Dots first, lines over them."""
        parts: list[str] = []
        for series in sorted(self._panel.series, key=lambda series: not series.dots):
            points = thinned(series.points)
            if series.dots:
                dots = "".join(f"M{self._at(x, y)}h0.01" for x, y in points)
                parts.append(
                    f'<path d="{dots}" stroke="{series.colour}" stroke-width="2.2" '
                    'stroke-linecap="round" fill="none"/>'
                )
            else:
                way = " ".join(self._at(x, y) for x, y in points)
                parts.append(f'<polyline class="line" stroke="{series.colour}" points="{way}"/>')
        return parts

    def _legend(self, right: float) -> list[str]:
        """Names of the series beside the panel."""
        parts: list[str] = []
        for i, series in enumerate(self._panel.series):
            y = self._top + 14 + 18 * i
            parts.append(
                f'<path d="M{right + 10},{y}h16" stroke="{series.colour}" stroke-width="3"/>'
                f'<text x="{right + 32}" y="{y + 4:.0f}">{escape(series.label)}</text>'
            )
        return parts
