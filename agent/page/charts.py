"""Charts over time, laid out on the server as SVG: complete on arrival, printable, no script.

A chart library that ships in a wheel weighs a megabyte or more before the first line is drawn; a
panel of a thousand points is some twenty kilobytes here, compressed. A script only adds zooming
and reading off values, on what is already there.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, log10
from statistics import median
from typing import Literal, TypeAlias

from advisor.words import DAY, HOUR, MINUTE, Estimate, Instant
from agent.page.speech import SURE_SDS, Speech

Point: TypeAlias = tuple[Instant, Estimate | None, tuple[float, float] | None]
"""Moment, estimate, and lowest and highest of the stretch that it stands for."""

SPANS: dict[str, Instant] = {
    "hour": HOUR,
    "shift": 8 * HOUR,
    "day": DAY,
    "week": 7 * DAY,
    "month": 31 * DAY,
    "quarter": 92 * DAY,
    "year": 366 * DAY,
}
GAP_STEPS = 6.0
"""A line breaks where nothing was told for so many usual steps."""
LEAST_GAP: Instant = 10 * MINUTE

MarkKind: TypeAlias = Literal["addition", "drain", "charge", "check", "alarm", "service"]


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened, on the time axis or at a value."""

    at: Instant
    kind: MarkKind
    text: str
    value: float | None = None
    """Where it stands on the scale; `None`: on the time axis."""
    panel: str = "volume"
    """Chart that it belongs to."""
    until: Instant | None = None
    """When it ended, of what lasts. [ms]"""


@dataclass(frozen=True, slots=True)
class Frame:
    """Size of a panel, and the stretch of time that it shows. [ms]"""

    begin: Instant
    end: Instant
    is_narrow: bool

    @property
    def width(self) -> float:
        """Of the drawing."""
        return 400.0 if self.is_narrow else 1100.0

    @property
    def height(self) -> float:
        """Of the drawing."""
        return 190.0 if self.is_narrow else 200.0

    @property
    def left(self) -> float:
        """Where the plot begins."""
        return 46.0 if self.is_narrow else 60.0

    @property
    def top(self) -> float:
        """Where the plot begins."""
        return 22.0

    @property
    def right(self) -> float:
        """Where the plot ends."""
        return self.width - 14.0

    @property
    def bottom(self) -> float:
        """Where the plot ends."""
        return self.height - 28.0

    def x(self, at: Instant) -> float:
        """Place of a moment."""
        return self.left + (at - self.begin) / (self.end - self.begin) * (self.right - self.left)


@dataclass(frozen=True, slots=True)
class Scale:
    """Values from bottom to top."""

    low: float
    high: float
    ticks: tuple[float, ...]
    digits: int


@dataclass(frozen=True, slots=True)
class Drawn:
    """A mark with its place."""

    mark: Mark
    x: float
    y: float
    x_end: float
    """Where it ends, of what lasts; else `x`."""


@dataclass(frozen=True, slots=True)
class Panel:
    """One chart, ready for its template."""

    name: str
    frame: Frame
    scale: Scale
    line: str
    spread: str
    extremes: str
    band: tuple[float, float] | None
    """Top and height of what is allowed."""
    target: float | None
    y_labels: tuple[tuple[float, str], ...]
    x_labels: tuple[tuple[float, str], ...]
    marks: tuple[Drawn, ...]
    is_empty: bool
    readings: str
    """Second of the frame, value and span of each point, for a script that reads them off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a panel shows. Values are in the unit that people read."""

    name: str
    points: Sequence[Point]
    marks: Sequence[Mark] = ()
    band: tuple[float, float] | None = None
    target: float | None = None
    least: float
    """The scale spans this at least, so that noise is not blown up."""
    from_zero: bool = False


def panel(wanted: Wanted, frame: Frame, speech: Speech) -> Panel:
    """Lay a chart out."""
    inside = [point for point in wanted.points if frame.begin <= point[0] <= frame.end]
    scale = _scale(wanted, inside)
    height = frame.bottom - frame.top

    def y(value: float) -> float:
        share = (value - scale.low) / (scale.high - scale.low)
        return frame.bottom - min(max(share, -0.05), 1.05) * height

    strokes = _strokes(inside)
    band = None
    if wanted.band is not None:
        top, bottom = max(y(wanted.band[1]), frame.top), min(y(wanted.band[0]), frame.bottom)
        band = (top, max(bottom - top, 0.0))
    return Panel(
        name=wanted.name,
        frame=frame,
        scale=scale,
        line="".join(_line(stroke, frame.x, y) for stroke in strokes),
        spread="".join(_area(stroke, frame.x, y, _sure) for stroke in strokes),
        extremes="".join(_area(stroke, frame.x, y, _extremes) for stroke in strokes),
        band=band,
        target=None if wanted.target is None else y(wanted.target),
        y_labels=tuple((y(tick), speech.number(tick, scale.digits)) for tick in scale.ticks),
        x_labels=tuple(_x_labels(frame, speech)),
        marks=tuple(
            _drawn(mark, frame, frame.top - 10.0 if mark.value is None else y(mark.value))
            for mark in wanted.marks
            if mark.at <= frame.end and max(mark.at, mark.until or 0) >= frame.begin
        ),
        is_empty=not strokes,
        readings=";".join(_readings(inside, frame.begin)),
    )


def _drawn(mark: Mark, frame: Frame, y: float) -> Drawn:
    """Give a mark its place; what lasts lies along the foot of the plot."""
    x = frame.x(max(mark.at, frame.begin))
    if mark.until is None:
        return Drawn(mark, x, y, x)
    return Drawn(mark, x, frame.bottom - 4.0, max(frame.x(min(mark.until, frame.end)), x + 3.0))


def _readings(points: Sequence[Point], begin: Instant) -> Iterator[str]:
    """Points as a script reads them: second, value, and to either side where it almost surely is.

    Where nothing was told stands a second alone.
    """
    for at, estimate, _ in points:
        second = (at - begin) // 1000
        if estimate is None:
            yield f"{second}"
        else:
            yield f"{second},{estimate.value:.5g},{SURE_SDS * estimate.sd:.3g}"


# --- the scale of values -------------------------------------------------------------------------


def _scale(wanted: Wanted, inside: Sequence[Point]) -> Scale:
    """Round ends around all that is shown, the band included where it is near."""
    values = [mark.value for mark in wanted.marks if mark.value is not None]
    for _, estimate, extremes in inside:
        if estimate is not None:
            reach = min(SURE_SDS * estimate.sd, wanted.least)
            values += [estimate.value - reach, estimate.value + reach]
        if extremes is not None:
            values += extremes
    if wanted.band is not None:
        values += wanted.band
    if wanted.from_zero or not values:
        values.append(0.0)
    low, high = min(values), max(values)
    lacking = wanted.least - (high - low)
    if lacking > 0.0:
        low, high = (
            (low, high + lacking) if wanted.from_zero else (low - lacking / 2, high + lacking / 2)
        )
    step = nice_step((high - low) / 4.0)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    ticks = tuple(number * step for number in range(first, last + 1))
    digits = max(0, -floor(log10(step) + 1e-9))
    return Scale(ticks[0], ticks[-1] if len(ticks) > 1 else ticks[0] + step, ticks, digits)


def nice_step(rough: float) -> float:
    """Smallest of 1, 2, 5 times a power of ten that is not under `rough`.

    Examples
    --------
    >>> nice_step(0.3), nice_step(20.0), nice_step(21.0)
    (0.5, 20.0, 50.0)
    """
    power = 10.0 ** floor(log10(rough))
    return next(
        power * lead for lead in (1.0, 2.0, 5.0, 10.0) if power * lead >= rough * (1 - 1e-9)
    )


# --- strokes -------------------------------------------------------------------------------------


def _strokes(points: Sequence[Point]) -> list[list[Point]]:
    """Points in runs without a gap."""
    told = [point for point in points if point[1] is not None]
    if len(told) < 2:
        return []
    usual = median(b[0] - a[0] for a, b in pairwise(told))
    longest = max(GAP_STEPS * usual, LEAST_GAP)
    strokes = [[told[0]]]
    for before, point in pairwise(points):
        if point[1] is None:
            continue
        if point[0] - strokes[-1][-1][0] > longest or before[1] is None:
            strokes.append([])
        strokes[-1].append(point)
    return [stroke for stroke in strokes if len(stroke) > 1]


def _line(
    stroke: Sequence[Point], x: Callable[[Instant], float], y: Callable[[float], float]
) -> str:
    """Path through the estimates."""
    places = [
        f"{x(at):.1f} {y(estimate.value):.1f}" for at, estimate, _ in stroke if estimate is not None
    ]
    return "M" + "L".join(places)


def _sure(point: Point) -> tuple[float, float] | None:
    """Where the value almost surely is."""
    estimate = point[1]
    if estimate is None:
        return None
    span = SURE_SDS * estimate.sd
    return estimate.value - span, estimate.value + span


def _extremes(point: Point) -> tuple[float, float] | None:
    """Lowest and highest of the stretch, where they are not the value itself."""
    estimate, ends = point[1], point[2]
    if estimate is None or ends is None or ends[0] == ends[1]:
        return None if estimate is None else (estimate.value, estimate.value)
    return ends


def _area(
    stroke: Sequence[Point],
    x: Callable[[Instant], float],
    y: Callable[[float], float],
    ends_of: Callable[[Point], tuple[float, float] | None],
) -> str:
    """Closed path between the lower and the upper ends."""
    ends = [(x(point[0]), pair) for point in stroke if (pair := ends_of(point)) is not None]
    if all(low == high for _, (low, high) in ends):
        return ""
    upper = [f"{place:.1f} {y(high):.1f}" for place, (_, high) in ends]
    lower = [f"{place:.1f} {y(low):.1f}" for place, (low, _) in reversed(ends)]
    return "M" + "L".join((*upper, *lower)) + "Z"


# --- the axis of time ----------------------------------------------------------------------------

_STEPS: tuple[Instant, ...] = (
    5 * MINUTE, 10 * MINUTE, 15 * MINUTE, 30 * MINUTE, HOUR, 2 * HOUR, 3 * HOUR, 6 * HOUR,
    12 * HOUR, DAY, 2 * DAY, 7 * DAY,
)  # fmt: skip


def _x_labels(frame: Frame, speech: Speech) -> list[tuple[float, str]]:
    """Round moments of the plant's own clock, with what they are called."""
    most = 5 if frame.is_narrow else 10
    length = frame.end - frame.begin
    step = next((s for s in _STEPS if length / s <= most), None)
    if step is None:
        return _month_labels(frame, speech, every=ceil(length / (30.4 * DAY) / most))
    labels = []
    day = 0
    midnight = speech.midnight(frame.begin)
    while midnight <= frame.end:
        following = speech.midnight(frame.begin, day + 1)
        at = midnight
        while at < following:
            if frame.begin <= at <= frame.end and (step < DAY or day % (step // DAY) == 0):
                text = speech.short_day(at) if at == midnight else speech.clock(at)
                labels.append((frame.x(at), text))
            at += min(step, DAY)
        midnight, day = following, day + 1
    return labels


def _month_labels(frame: Frame, speech: Speech, every: int) -> list[tuple[float, str]]:
    """First days of months."""
    labels = []
    at = speech.midnight(frame.begin)
    while at <= frame.end:
        when = speech.local(at)
        if when.day == 1 and (when.month - 1) % every == 0 and at >= frame.begin:
            labels.append((frame.x(at), speech.month(at)))
        at = speech.midnight(at, 1)
    return labels
