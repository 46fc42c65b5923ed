r"""The best pour: one small mixed-integer program for top-up, charge, strengthen, dilute, exchange.

Unknowns: litres to drain :math:`d`; for each way of making a mix and each count of batches whether
it is used, and its water and concentrate in whole marks; one more batch that may differ. With
:math:`V, C = c V` before, :math:`W, K` poured,

.. math:: V' = V - d + W + K, \qquad C' = c (V - d) + K

and everything asked of the sump afterwards is linear in the unknowns, as
:math:`c' \le h \iff C' - h V' \le 0`.

Hard limits (*safe*):

- :math:`V'` at most `cap`: the brim less headroom less a margin of so many sds, holdup included;
- every batch between the weakest and the strongest mix that the fluid takes, in a vessel filled so
  far as one carries, to its marks; no more concentrate than there is.

Preferences, each decided before the next is looked at:

1. in band: least distance from the band;
2. no draining, unless the band asks for it;
3. in band with confidence: least distance from the band narrowed by so many sds;
4. the volume wanted, to within a tolerance;
5. the target, to within what a refractometer can tell;
6. least waste: fewest litres drained;
7. fewest batches, then batches alike, then whole units instead of marks between them, then
   closest to target and volume.

1 to 5 count distances in litres of concentrate and of fluid. Where all five can be nothing, as
nearly always, one solve finds the answer.

The sds after draining are bounded by the chord between draining nothing and draining all, which is
never less than the sd itself (a norm is convex), so that the program stays linear and safe.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import inf, sqrt

from advisor.effects import Batch, Mix
from advisor.program import SLACK, Program, SolverError
from advisor.words import Estimate

CONFIDENT_SDS = 1.645
"""Sds to either end of the band for 95 % on that side (normal distribution)."""

BATCH, DIFFERENT, ODD = 7.0, 3.0, 1.0
NEAR_TARGET, NEAR_VOLUME = 0.6, 0.3
"""Weights of the last preference: each outweighs all that follow it together."""

NEVER, FOR_BAND, ALWAYS = "never", "for the band", "always"
"""When draining is allowed."""

_FINE = 1e-6
"""Less than this is nothing. [L]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How one batch of a mix can be made: so much of a first fluid, then of a second one into it.

    The first is water, or what a proportioner gives; the second concentrate, a premix, or none.
    """

    name: str
    fill: float
    """Most that one batch holds. [L]"""
    marks: tuple[float, float]
    """Smallest step of the first and of the second; 0 where any amount can be measured. [L]"""
    strengths: tuple[float, float | None] = (0.0, 1.0)
    """Of the first and of the second. [1]"""
    unit: float = 1.0
    """People count in wholes of this. [L]"""
    most: int = 1
    """Batches at most."""
    limits: tuple[float, float] | None = None
    """Weakest and strongest batch, where not those of the task. [1]"""
    part: int = 0
    """Ways of one part exclude each other: a strong mix, and what fills up the rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is known and what is wanted. Litres and fractions."""

    volume: Estimate
    concentration: Estimate
    correlation: float
    wanted: float
    """Volume wanted. [L]"""
    cap: float
    """Most volume afterwards. [L]"""
    target: float
    band: tuple[float, float] = (0.0, 1.0)
    weakest: float = 0.0
    """Of every batch. [1]"""
    strongest: float = 1.0
    """Of every batch. [1]"""
    stock: float = inf
    """Concentrate at hand. [L]"""
    ways: tuple[Way, ...]
    volume_tolerance: float = 0.0
    """[L]"""
    target_tolerance: float = 0.0
    """[1]"""
    drain: str = NEVER
    drain_step: float = 0.0
    """[L]"""
    least_drain: float = 0.0
    """Has to go whatever the band says. [L]"""


@dataclass(frozen=True, slots=True)
class Choice:
    """What is drained and poured. [L]"""

    drain: float
    ways: tuple[Way, ...]
    """Of each batch."""
    batches: tuple[Batch, ...]

    @property
    def mix(self) -> Mix:
        """All batches together. [L]"""
        return Mix(
            sum(batch.count * batch.water for batch in self.batches),
            sum(batch.count * batch.concentrate for batch in self.batches),
        )


@dataclass(frozen=True, slots=True)
class _Group:
    """Columns of `count` like batches made in one way; `different`: the odd one out."""

    way: Way
    count: int
    used: int
    first: int
    second: int | None
    different: bool = False

    def terms(self) -> Iterator[tuple[int, float, float]]:
        """Column, water and concentrate [L] of all its batches by one step of that column."""
        columns = (self.first, self.second)
        for column, mark, strength in zip(columns, self.way.marks, self.way.strengths, strict=True):
            if column is not None and strength is not None:
                litres = self.count * (mark or 1.0)
                yield column, litres * (1.0 - strength), litres * strength


@dataclass(slots=True)
class _Layout:
    """The program of a task, with the columns that its goals are about."""

    task: Task
    program: Program = field(default_factory=Program)
    groups: list[_Group] = field(default_factory=list)

    band: int = 0
    drains: int = 0
    confidence: int = 0
    volume: int = 0
    target: int = 0
    drain: int = 0
    near: tuple[int, int] = (0, 0)
    odd: list[int] = field(default_factory=list)


def strengths_of(task: Task, way: Way) -> tuple[float, float]:
    """Weakest and strongest batch that may be made this way. [1]"""
    return way.limits or (task.weakest, task.strongest)


def best(task: Task) -> Choice:
    """Choose what to drain and to pour.

    Raises
    ------
    SolverError
        If the solver fails, or answers with something that breaks a hard limit.
    """
    layout = _lay_out(task)
    values = _solve(layout)
    return _read(layout, values)


def _lay_out(task: Task) -> _Layout:
    """Write the task as columns and rows."""
    layout = _Layout(task)
    program = layout.program
    layout.band, layout.confidence = program.column(), program.column()
    layout.volume, layout.target = program.column(), program.column()
    layout.near = (program.column(), program.column())
    layout.drains = program.column(upper=0.0 if task.drain == NEVER else 1.0, integer=True)
    layout.drain = program.column(integer=task.drain_step > 0)
    for way in task.ways:
        _add_way(layout, way)
    for part in sorted({way.part for way in task.ways}):
        alike = [g for g in layout.groups if g.way.part == part and not g.different]
        program.row({group.used: 1.0 for group in alike}, upper=1.0)
    _add_safety(layout)
    _add_wishes(layout)
    return layout


def _add_way(layout: _Layout, way: Way) -> None:
    """Add the groups of batches that one way allows: any count alike, and one different."""
    program = layout.program
    exact = 0.0 in way.marks
    groups = [_group(program, way, count, exact=exact) for count in range(1, way.most + 1)]
    alike = list(groups)
    if way.most > 1:
        groups.append(_group(program, way, 1, different=True))
        terms = {group.used: -1.0 for group in alike}
        program.row({groups[-1].used: 1.0, **terms}, upper=0.0)
    for group in groups:
        _add_batch_limits(layout.task, program, group)
    layout.groups += groups
    firsts = [group.first for group in alike]
    seconds = [group.second for group in alike if group.second is not None]
    for columns, mark in ((firsts, way.marks[0]), (seconds, way.marks[1])):
        per_unit = round(way.unit / mark) if mark else 1
        if per_unit > 1 and columns:
            layout.odd.append(_add_odd(program, columns, per_unit))


def _group(
    program: Program, way: Way, count: int, *, different: bool = False, exact: bool = False
) -> _Group:
    """Add the columns of one group; an exact one is always in use, if only with nothing."""
    first = program.column(integer=way.marks[0] > 0)
    second = None if way.strengths[1] is None else program.column(integer=way.marks[1] > 0)
    used = program.column(lower=1.0 if exact else 0.0, upper=1.0, integer=True)
    return _Group(way, count, used, first, second, different)


def _add_batch_limits(task: Task, program: Program, group: _Group) -> None:
    """Hold one batch to its vessel, and its strength between the weakest and the strongest."""
    amounts = {
        column: (water / group.count, concentrate / group.count)
        for column, water, concentrate in group.terms()
    }
    fill = min(group.way.fill, task.cap)
    program.row({group.used: -fill, **{c: w + k for c, (w, k) in amounts.items()}}, upper=0.0)
    weakest, strongest = strengths_of(task, group.way)
    program.row({c: k - strongest * (w + k) for c, (w, k) in amounts.items()}, upper=0.0)
    program.row({c: k - weakest * (w + k) for c, (w, k) in amounts.items()}, lower=0.0)


def _add_odd(program: Program, columns: list[int], per_unit: int) -> int:
    """Add a column that is 1 where the marks counted by `columns` make no whole units."""
    whole, rest = program.column(integer=True), program.column(upper=per_unit - 1.0)
    odd = program.column(upper=1.0, integer=True)
    program.row({**dict.fromkeys(columns, 1.0), whole: -per_unit, rest: -1.0}, 0.0, 0.0)
    program.row({rest: 1.0, odd: -(per_unit - 1.0)}, upper=0.0)
    return odd


def _after(layout: _Layout, volume: float, concentrate: float) -> tuple[dict[int, float], float]:
    """Terms and constant of `volume` times V' plus `concentrate` times C'."""
    task = layout.task
    litre = volume + concentrate * task.concentration.value
    terms = {layout.drain: -litre * (task.drain_step or 1.0)}
    for group in layout.groups:
        for column, water, pure in group.terms():
            terms[column] = volume * (water + pure) + concentrate * pure
    return terms, litre * task.volume.value


def _hold(
    layout: _Layout,
    volume: float,
    concentrate: float,
    limit: float,
    miss: int | None = None,
    extra: Mapping[int, float] | None = None,
) -> None:
    """Hold `volume` V' + `concentrate` C' at or under `limit`, missed by the column `miss`."""
    terms, constant = _after(layout, volume, concentrate)
    for column, value in (extra or {}).items():
        terms[column] = terms.get(column, 0.0) + value
    if miss is not None:
        terms[miss] = -1.0
    layout.program.row(terms, upper=limit - constant)


def _add_safety(layout: _Layout) -> None:
    """Add the hard limits on the sump: the cap, the stock, and what can be drained."""
    task, program = layout.task, layout.program
    step = task.drain_step or 1.0
    _hold(layout, 1.0, 0.0, task.cap)
    program.row({c: k for group in layout.groups for c, _, k in group.terms()}, upper=task.stock)
    program.row({layout.drain: step, layout.drains: -task.volume.value}, upper=0.0)
    program.row({layout.drain: step}, lower=task.least_drain)


def _add_wishes(layout: _Layout) -> None:
    """Add the rows that say by how much each preference is missed."""
    task = layout.task
    low, high = task.band
    for sign, edge in ((-1.0, low), (1.0, high)):
        _hold(layout, -sign * edge, sign, 0.0, layout.band)
        least, most = _sds_to(task, edge)
        step = (most - least) * (task.drain_step or 1.0) / max(task.volume.value, 1e-9)
        extra = {layout.drain: CONFIDENT_SDS * step}
        _hold(layout, -sign * edge, sign, -CONFIDENT_SDS * least, layout.confidence, extra)
    tolerance = task.target_tolerance
    for sign in (-1.0, 1.0):
        _hold(layout, sign, 0.0, sign * task.wanted + task.volume_tolerance, layout.volume)
        _hold(layout, -sign * task.target - tolerance, sign, 0.0, layout.target)
        _hold(layout, -sign * task.target, sign, 0.0, layout.near[0])
        _hold(layout, sign, 0.0, sign * task.wanted, layout.near[1])


def _sds_to(task: Task, edge: float) -> tuple[float, float]:
    """Sd of the distance C' - edge V' where nothing is drained, and where all is. [L]"""
    slope = (task.concentration.value - edge) * task.volume.sd
    across = task.volume.value * task.concentration.sd
    variance = slope**2 + across**2 + 2.0 * task.correlation * slope * across
    return sqrt(max(variance, 0.0)), abs(slope)


def _solve(layout: _Layout) -> list[float]:
    """Decide one preference after another; first try whether all can be had at once."""
    program, task = layout.program, layout.task
    goals = [layout.band, layout.drains, layout.confidence, layout.volume, layout.target]
    if task.drain == ALWAYS:
        goals.remove(layout.drains)
    uppers = list(program.upper)
    for goal in goals:
        program.upper[goal] = 0.0
    if task.drain != ALWAYS:
        values = program.minimise(_last_wish(layout))
        if values is not None:
            return values
    program.upper = uppers
    for goal in [*goals, layout.drain]:
        program.upper[goal] = _answered(program, {goal: 1.0})[goal]
        if not program.integer[goal]:
            program.upper[goal] += SLACK
    return _answered(program, _last_wish(layout))


def _answered(program: Program, cost: Mapping[int, float]) -> list[float]:
    """Values at the least cost of a program that can always be met, by pouring nothing."""
    values = program.minimise(cost)
    if values is None:
        raise SolverError("HiGHS found no plan, not even the empty one")
    return values


def _last_wish(layout: _Layout) -> dict[int, float]:
    """Cost of batches, of differences between them, of odd marks, of what is left to target."""
    task, upper = layout.task, layout.program.upper
    cost = dict.fromkeys(layout.odd, ODD)
    for group in layout.groups:
        cost[group.used] = BATCH * group.count + DIFFERENT * group.different
    scales = (
        task.target_tolerance * task.cap + upper[layout.target],
        task.volume_tolerance + upper[layout.volume],
    )
    for column, weight, scale in zip(layout.near, (NEAR_TARGET, NEAR_VOLUME), scales, strict=True):
        cost[column] = weight / max(scale, _FINE)
    return cost


def _read(layout: _Layout, values: list[float]) -> Choice:
    """Read the plan off the columns, and check it against every hard limit once more."""
    task = layout.task
    batches, ways = [], []
    for group in layout.groups:
        terms = list(group.terms())
        water = sum(values[column] * w for column, w, _ in terms) / group.count
        concentrate = sum(values[column] * k for column, _, k in terms) / group.count
        if water + concentrate > _FINE:
            ways.append(group.way)
            batches.append(Batch(group.count, round(water, 9), round(concentrate, 9)))
    drain = round(values[layout.drain] * (task.drain_step or 1.0), 9)
    choice = Choice(drain, tuple(ways), tuple(batches))
    _require_safe(task, choice)
    return choice


def _require_safe(task: Task, choice: Choice) -> None:
    """Refuse a plan that breaks a hard limit by more than rounding."""
    mix = choice.mix
    after = task.volume.value - choice.drain + mix.volume
    broken = after > task.cap + _FINE or mix.concentrate > task.stock + _FINE
    for way, batch in zip(choice.ways, choice.batches, strict=True):
        total = batch.water + batch.concentrate
        weakest, strongest = strengths_of(task, way)
        low, high = weakest * total - _FINE, strongest * total + _FINE
        broken = broken or total > way.fill + _FINE or not low <= batch.concentrate <= high
    if broken:
        raise SolverError(f"HiGHS broke a hard limit of {task} with {choice}")
