r"""The best pour: one small mixed-integer program for top-up, charge, strengthen, dilute, exchange.

Unknowns: litres to drain :math:`d`; for each way of making a mix and each count of batches whether
it is used, and its water and concentrate in whole marks; one more batch that may differ. With
:math:`V, C = c V` before, :math:`W, K` poured,

.. math:: V' = V - d + W + K, \qquad C' = c (V - d) + K

and everything asked of the sump afterwards is linear in the unknowns, as
:math:`c' \le h \iff C' - h V' \le 0`.

Hard limits (*safe*):

- :math:`V'` at most `cap`: the brim less headroom less a margin of so many sds, holdup included;
- where anything is drained, :math:`V'` at least `floor`, what the pumps need;
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

from bisect import bisect_left
from math import ceil, inf

from advisor.effects import Batch
from advisor.layout import Layout, lay_out, lay_out_totals
from advisor.pouring import ALWAYS, Choice, Task, out_of_drums, out_of_premix, strengths_of
from advisor.program import SLACK, Program, SolverError

BATCH, DIFFERENT, ODD = 7.0, 3.0, 1.0
NEAR_TARGET, NEAR_VOLUME = 0.6, 0.3
"""Weights of the last preference: each outweighs all that follow it together."""

_FINE = 1e-6
"""Less than this is nothing. [L]"""


def best(task: Task) -> Choice:
    """Choose what to drain and to pour.

    Raises
    ------
    SolverError
        If the solver fails, or answers with something that breaks a hard limit.
    """
    layout = lay_out(task)
    values = _by_totals(layout)
    return _read(layout, _solve(layout) if values is None else values)


def may_reach_band(task: Task) -> bool:
    """Whether a plan that is safe may lead into the band; where not, none does. [1]

    True also for some tasks whose totals alone could: see :func:`ends_in_band`.
    """
    low, high = task.band
    if low <= task.concentration.value <= high and task.least_drain <= 0.0:
        return True
    layout = lay_out_totals(task)
    return not _fails(layout.program, [layout.band], list(layout.program.upper))


def ends_in_band(task: Task, choice: Choice) -> bool:
    """Whether a choice leads into the band; concentrations in [1]."""
    mix, kept = choice.mix, task.volume.value - choice.drain
    after, pure = kept + mix.volume, kept * task.concentration.value + mix.concentrate
    low, high = task.band
    return low * after - _FINE <= pure <= high * after + _FINE


def _by_totals(layout: Layout) -> list[float] | None:
    """Hold the goals where the totals reach them, and divide those into batches.

    `None` where that cannot be divided; where it can, nothing better can be.
    """
    task = layout.task
    if all(way.most == 1 for way in task.ways):
        return None  # hardly larger than its totals
    goals = _goals(layout)
    reached = _least_totals(lay_out_totals(task))
    if reached is None:
        return None
    program, free = layout.program, list(layout.program.upper)
    *held, count = reached
    for goal, value in zip([*goals, layout.drain], held, strict=True):
        program.upper[goal] = value if program.integer[goal] else _held(value)
    program.bound(layout.batches, count, count)
    values = program.minimise(_last_wish(layout))
    program.bound(layout.batches, 0.0, inf)
    if values is None:
        values = _with_fewest_batches(layout)
    program.upper = free
    return values


def _least_totals(totals: Layout) -> list[float] | None:
    """Least that each goal, the litres drained and the count of batches can be, one after another.

    `None` only where the solver fails.
    """
    program = totals.program
    goals = _goals(totals)
    wishes = [*goals, totals.drain, totals.count]
    free = list(program.upper)
    _hold_at_nothing(program, goals)
    values = program.minimise({totals.drain: 1e3, totals.count: 1.0})
    if values is not None:
        return [values[wish] for wish in wishes]
    program.upper = free
    for wish in wishes:
        values = program.minimise({wish: 1.0})
        if values is None:
            return None
        reached = values[wish]
        program.upper[wish] = reached if program.integer[wish] else _held(reached)
    return None if values is None else [values[wish] for wish in wishes]


def _goals(layout: Layout) -> list[int]:
    """Columns of the first preferences, in their order."""
    goals = [layout.band, layout.drains, layout.confidence, layout.volume, layout.target]
    if layout.task.drain == ALWAYS:
        goals.remove(layout.drains)
    return goals


def _solve(layout: Layout) -> list[float]:
    """Decide all preferences, in their order."""
    goals = _goals(layout)
    free = list(layout.program.upper)
    for layout.program.presolve in (True, False):
        layout.program.upper = list(free)
        values = _decide(layout, goals)
        if values is not None:
            return values
    raise SolverError("HiGHS found no plan, not even the empty one")


def _decide(layout: Layout, goals: list[int]) -> list[float] | None:
    """Meet all goals in full if that can be, else as many of the first as can, and go on.

    `None` only where the solver fails: pouring nothing is always a plan.
    """
    program = layout.program
    free = list(program.upper)
    _hold_at_nothing(program, goals)
    values = _finish(layout)
    if values is not None or not goals:
        return values
    program.upper = list(free)
    met = bisect_left(range(1, len(goals)), 1, key=lambda n: _fails(program, goals[:n], free))
    _hold_at_nothing(program, goals[:met])
    values = program.minimise({goals[met]: 1.0})
    if values is None:
        return None
    reached = values[goals[met]]
    program.upper[goals[met]] = reached if program.integer[goals[met]] else _held(reached)
    return _decide(layout, goals[met + 1 :])


def _hold_at_nothing(program: Program, goals: list[int]) -> None:
    """Ask for all of these goals in full."""
    for goal in goals:
        program.upper[goal] = 0.0


def _fails(program: Program, goals: list[int], free: list[float]) -> bool:
    """Whether these goals cannot all be met in full; the bounds are `free` afterwards."""
    _hold_at_nothing(program, goals)
    values = program.minimise({})
    program.upper = list(free)
    return values is None


def _finish(layout: Layout) -> list[float] | None:
    """Decide the last preferences: least litres drained, then batches; `None`: no plan."""
    program = layout.program
    if program.upper[layout.drains] > 0.0:
        values = program.minimise({layout.drain: 1.0})
        if values is None:
            return None
        drained = values[layout.drain]
        program.upper[layout.drain] = drained if layout.task.drain_step else _held(drained)
    return _with_fewest_batches(layout)


def _held(value: float) -> float:
    """Bound that holds a goal where it was reached; nothing stays exactly nothing. [L]"""
    return value + SLACK if value > SLACK else 0.0


def _with_fewest_batches(layout: Layout) -> list[float] | None:
    """Decide how many batches, then which: two small programs are answered sooner than a large one.

    As many as the volume alone asks for are nearly always enough, and tried first.
    """
    program, cost = layout.program, _last_wish(layout)
    if any(0.0 in way.marks for way in layout.task.ways):
        return program.minimise(cost)
    least = _fewest_batches(layout)
    program.bound(layout.batches, least, least)
    values = program.minimise(cost)
    program.bound(layout.batches, 0.0, inf)
    if values is not None:
        return values
    counts = program.minimise({group.used: float(group.count) for group in layout.groups})
    if counts is None:
        return None
    least = round(sum(group.count * counts[group.used] for group in layout.groups))
    program.bound(layout.batches, least, least)
    values = program.minimise(cost)
    program.bound(layout.batches, 0.0, inf)
    return values


def _fewest_batches(layout: Layout) -> int:
    """Fewest batches that can hold what the volume asks for [L]."""
    task, upper = layout.task, layout.program.upper
    asked = task.wanted - task.volume_tolerance - upper[layout.volume] - task.volume.value
    return max(ceil(asked / max(way.fill for way in task.ways) - _FINE), 0)


def _last_wish(layout: Layout) -> dict[int, float]:
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


def _read(layout: Layout, values: list[float]) -> Choice:
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
    drain = min(drain, task.volume.value)
    choice = Choice(drain, tuple(ways), tuple(batches))
    _require_safe(task, choice)
    return choice


def _require_safe(task: Task, choice: Choice) -> None:
    """Refuse a plan that breaks a hard limit by more than rounding."""
    after = task.volume.value - choice.drain + choice.mix.volume
    left = {way.supply: way.left for way in choice.ways}
    broken = after > task.cap + _FINE or out_of_drums(choice) > task.stock + _FINE
    broken = broken or any(v > left[s] + _FINE for s, v in out_of_premix(choice).items())
    broken = broken or (choice.drain > 0.0 and after < task.floor - _FINE)
    for way, batch in zip(choice.ways, choice.batches, strict=True):
        total = batch.water + batch.concentrate
        weakest, strongest = strengths_of(task, way)
        low, high = weakest * total - _FINE, strongest * total + _FINE
        broken = broken or total > way.fill + _FINE or not low <= batch.concentrate <= high
    if broken:
        raise SolverError(f"HiGHS broke a hard limit of {task} with {choice}")
