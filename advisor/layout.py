"""The program of a pour: its columns and rows, as `advisor.optimum` says in words."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import inf, sqrt

from advisor.pouring import NEVER, Task, Way, strengths_of
from advisor.program import Program

CONFIDENT_SDS = 1.645
"""Sds to either end of the band for 95 % on that side (normal distribution)."""


@dataclass(frozen=True, slots=True)
class Group:
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
class Layout:
    """The program of a task, with the columns that its goals are about."""

    task: Task
    program: Program = field(default_factory=Program)
    groups: list[Group] = field(default_factory=list)

    band: int = 0
    drains: int = 0
    confidence: int = 0
    volume: int = 0
    target: int = 0
    drain: int = 0
    near: tuple[int, int] = (0, 0)
    batches: int = 0
    """Row that counts all batches."""
    count: int = 0
    """Column that counts them, of a program of totals."""
    odd: list[int] = field(default_factory=list)


def lay_out(task: Task) -> Layout:
    """Write the task as columns and rows, batch by batch."""
    layout = _begun(task)
    program = layout.program
    for way in task.ways:
        _add_way(layout, way)
    for part in sorted({way.part for way in task.ways}):
        alike = [g for g in layout.groups if g.way.part == part and not g.different]
        program.row({group.used: 1.0 for group in alike}, upper=1.0)
    layout.batches = program.row({group.used: float(group.count) for group in layout.groups})
    _add_safety(layout)
    _add_wishes(layout)
    return layout


def lay_out_totals(task: Task) -> Layout:
    """Write what the task asks of all batches of a way together.

    Every plan of the task is one of this smaller program too, so that nothing is better than what
    this one reaches; not every answer of it can be divided into batches.
    """
    layout = _begun(task)
    program = layout.program
    counts = [_add_totals(layout, way) for way in task.ways]
    for part in sorted({way.part for way in task.ways}):
        used = {group.used: 1.0 for group in layout.groups if group.way.part == part}
        program.row(used, upper=1.0)
    layout.batches = program.row(dict.fromkeys(counts, 1.0))
    layout.count = program.column()
    program.row({**dict.fromkeys(counts, 1.0), layout.count: -1.0}, 0.0, 0.0)
    _add_safety(layout)
    _add_wishes(layout)
    return layout


def _begun(task: Task) -> Layout:
    """Begin with the columns that goals are about."""
    layout = Layout(task)
    program = layout.program
    layout.band, layout.confidence = program.column(), program.column()
    layout.volume, layout.target = program.column(), program.column()
    layout.near = (program.column(), program.column())
    layout.drains = program.column(upper=0.0 if task.drain == NEVER else 1.0, integer=True)
    layout.drain = program.column(integer=task.drain_step > 0)
    return layout


def _add_way(layout: Layout, way: Way) -> None:
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


def _add_totals(layout: Layout, way: Way) -> int:
    """Add all batches of a way as one group; the column that counts them."""
    program = layout.program
    exact = 0.0 in way.marks
    group = _group(program, way, 1, exact=exact)
    layout.groups.append(group)
    count = program.column(lower=1.0 if exact else 0.0, upper=way.most + 1.0, integer=True)
    program.row({count: 1.0, group.used: -(way.most + 1.0)}, upper=0.0)
    fill = min(way.fill, layout.task.cap)
    _add_limits(layout.task, program, group, {count: -fill})
    weakest, strongest = strengths_of(layout.task, way)
    first, second = way.strengths
    # Where one of the two alone may not be poured, a mark of the other is in every batch.
    if way.marks[1] and group.second is not None and not weakest <= first <= strongest:
        program.row({group.second: 1.0, count: -1.0}, lower=0.0)
    if way.marks[0] and second is not None and not weakest <= second <= strongest:
        program.row({group.first: 1.0, count: -1.0}, lower=0.0)
    return count


def _group(
    program: Program, way: Way, count: int, *, different: bool = False, exact: bool = False
) -> Group:
    """Add the columns of one group; an exact one is always in use, if only with nothing."""
    first = program.column(integer=way.marks[0] > 0)
    second = None if way.strengths[1] is None else program.column(integer=way.marks[1] > 0)
    used = program.column(lower=1.0 if exact else 0.0, upper=1.0, integer=True)
    return Group(way, count, used, first, second, different)


def _add_batch_limits(task: Task, program: Program, group: Group) -> None:
    """Hold one batch to its vessel, and its strength between the weakest and the strongest."""
    _add_limits(task, program, group, {group.used: -min(group.way.fill, task.cap)})


def _add_limits(task: Task, program: Program, group: Group, room: Mapping[int, float]) -> None:
    """Hold a group to the room that its vessels have, and to the strengths that may be made."""
    amounts = {
        column: (water / group.count, concentrate / group.count)
        for column, water, concentrate in group.terms()
    }
    program.row({**room, **{c: w + k for c, (w, k) in amounts.items()}}, upper=0.0)
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


def _after(layout: Layout, volume: float, concentrate: float) -> tuple[dict[int, float], float]:
    """Terms and constant of `volume` times V' plus `concentrate` times C'."""
    task = layout.task
    litre = volume + concentrate * task.concentration.value
    terms = {layout.drain: -litre * (task.drain_step or 1.0)}
    for group in layout.groups:
        for column, water, pure in group.terms():
            terms[column] = volume * (water + pure) + concentrate * pure
    return terms, litre * task.volume.value


def _hold(
    layout: Layout,
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


def _add_safety(layout: Layout) -> None:
    """Add the hard limits on the sump: the cap, the stock, and what can be drained."""
    task, program = layout.task, layout.program
    step = task.drain_step or 1.0
    _hold(layout, 1.0, 0.0, task.cap)
    _add_stock(layout)
    program.row({layout.drain: step, layout.drains: -task.volume.value}, upper=0.0)
    program.row({layout.drain: step}, lower=task.least_drain)
    terms, constant = _after(layout, 1.0, 0.0)
    program.row({**terms, layout.drains: -task.floor}, lower=-constant)


def _add_stock(layout: Layout) -> None:
    """Hold concentrate to what the drums hold [L], and each premix to what is left of it."""
    drawn: dict[int, float] = {}
    premix: dict[str, tuple[float, dict[int, float]]] = {}
    for group in layout.groups:
        way = group.way
        if not way.takes_premix:
            drawn.update({column: k for column, _, k in group.terms()})
        elif group.second is not None and way.left < inf:
            _, terms = premix.setdefault(way.supply, (way.left, {}))
            terms[group.second] = group.count * (way.marks[1] or 1.0)
    if layout.task.stock < inf:
        layout.program.row(drawn, upper=layout.task.stock)
    for left, terms in premix.values():
        layout.program.row(terms, upper=left)


def _add_wishes(layout: Layout) -> None:
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
