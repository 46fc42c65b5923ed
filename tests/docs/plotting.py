"""A small drawing of lines over two axes, as SVG. The same numbers give the same bytes."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from simulators.svg import Point, ticks

_WIDTH, _HEIGHT = 720, 400
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 190, 40, 48
_STYLE = """
text { font: 13px sans-serif; fill: #222 } .title { font-size: 14px; font-weight: bold }
.grid { stroke: #ddd } .axis { stroke: #444; fill: none } .line { fill: none; stroke-width: 2.4 }
"""


@dataclass(frozen=True, slots=True)
class Way:
    """A line with its name at its end."""

    label: str
    points: Sequence[Point]
    colour: str


def plot(title: str, x_title: str, y_title: str, ways: Sequence[Way]) -> str:
    """Draw lines, each named where it ends.

    Parameters
    ----------
    title, x_title, y_title : str
        Of the drawing and its axes, with units.
    ways : sequence of Way
        At least one, each of at least one point.
    """
    xs = [x for way in ways for x, _ in way.points]
    ys = [y for way in ways for _, y in way.points]
    room = 0.06 * (max(ys) - min(ys))
    low, high = min(ys) - room, max(ys) + room
    left, right = min(xs), max(xs)

    def across(x: float) -> float:
        return _LEFT + (x - left) / (right - left) * (_WIDTH - _LEFT - _RIGHT)

    def down(y: float) -> float:
        return _TOP + (high - y) / (high - low) * (_HEIGHT - _TOP - _BOTTOM)

    end, floor = _WIDTH - _RIGHT, _HEIGHT - _BOTTOM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img">',
        f"<title>{escape(title)}</title><style>{_STYLE}</style>",
        f'<rect width="{_WIDTH}" height="{_HEIGHT}" fill="#fff"/>',
        f'<text class="title" x="{_LEFT}" y="18">{escape(title)}</text>',
        f'<text x="{_LEFT - 50}" y="{_TOP - 8}">{escape(y_title)}</text>',
        f'<text x="{end}" y="{_HEIGHT - 8}" text-anchor="end">{escape(x_title)}</text>',
    ]
    for y in ticks(low, high):
        parts.append(f'<path class="grid" d="M{_LEFT},{down(y):.1f}H{end}"/>')
        parts.append(f'<text x="{_LEFT - 8}" y="{down(y) + 4:.1f}" text-anchor="end">{y:g}</text>')
    for x in ticks(left, right):
        parts.append(f'<path class="grid" d="M{across(x):.1f},{_TOP}V{floor}"/>')
        parts.append(
            f'<text x="{across(x):.1f}" y="{floor + 16}" text-anchor="middle">{x:g}</text>'
        )
    parts.append(f'<path class="axis" d="M{_LEFT},{_TOP}V{floor}H{end}"/>')
    for way in ways:
        line = " ".join(f"{across(x):.1f},{down(y):.1f}" for x, y in way.points)
        at_x, at_y = way.points[-1]
        parts.append(f'<polyline class="line" stroke="{way.colour}" points="{line}"/>')
        parts.append(
            f'<circle cx="{across(at_x):.1f}" cy="{down(at_y):.1f}" r="4" fill="{way.colour}"/>'
        )
        beside = down(at_y) + (4 if at_x > left else -8)
        label = escape(way.label)
        parts.append(f'<text x="{across(at_x) + 8:.1f}" y="{beside:.1f}">{label}</text>')
    return "\n".join([*parts, "</svg>"]) + "\n"
