"""The program's choice against all the choices there are."""

from dataclasses import replace
from itertools import product
from math import ceil, sqrt

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from advisor import optimum
from advisor.dose import task_for
from advisor.effects import Batch
from advisor.geometry import volume_at
from advisor.layout import CONFIDENT_SDS, Layout, lay_out
from advisor.optimum import BATCH, DIFFERENT, NEAR_TARGET, NEAR_VOLUME, ODD, best
from advisor.plan import Supply, Vessel
from advisor.pouring import ALWAYS, FOR_BAND, NEVER, Choice, Task, Way
from advisor.words import Estimate
from tests.plants import FLUID, a_sump

SAME = 1e-6

DRUM = Supply(id="drum", kind="drum", fluid="semi-a", volume=200.0)
TOTE = Supply(id="tote", kind="premix", fluid="semi-a", strength=0.15)
TAP = Supply(id="tap", kind="proportioner", fluid="semi-a", settings=(0.0, 0.02, 0.05, 0.08))


def every_choice(task: Task):
    """All that the hard limits leave, by trying everything."""
    drains = [0.0] if task.drain == NEVER else range(ceil(task.volume.value) + 1)
    for drain in drains:
        if drain < task.least_drain or drain > task.volume.value + SAME:
            continue
        for way in task.ways:
            portions = list(portions_of(way, task))
            for count, one in product(range(1, way.most + 1), portions):
                alike = Batch(count, *one)
                yield from safe(task, Choice(drain, (way,), (alike,)))
                if way.most > 1:
                    for other in portions:
                        both = (alike, Batch(1, *other))
                        yield from safe(task, Choice(drain, (way, way), both))
        yield from safe(task, Choice(drain, (), ()))


def portions_of(way: Way, task: Task):
    """Every batch that the vessel and the strengths leave. [L]"""
    first, second = way.marks
    for a, b in product(range(round(way.fill / first) + 1), range(round(way.fill / second) + 1)):
        water, pure = a * first, b * second
        total = water + pure
        if 0 < total <= way.fill + SAME and (
            task.weakest * total - SAME <= pure <= task.strongest * total + SAME
        ):
            yield water, pure


def safe(task: Task, choice: Choice):
    """The choice, if the sump holds it."""
    mix = choice.mix
    after = task.volume.value - choice.drain + mix.volume
    low_enough = after <= task.cap + SAME and mix.concentrate <= task.stock + SAME
    if low_enough and (choice.drain == 0 or after >= task.floor - SAME):
        yield choice


def misses(task: Task, choice: Choice) -> list[float]:
    """By how much each preference is missed, in their order."""
    mix, kept = choice.mix, task.volume.value - choice.drain
    volume = kept + mix.volume
    pure = kept * task.concentration.value + mix.concentrate
    low, high = task.band
    drained = choice.drain / task.volume.value
    below, above = low * volume - pure, pure - high * volume
    return [
        max(below, above, 0.0),
        float(choice.drain > 0) if task.drain != ALWAYS else 0.0,
        max(below + sds(task, low, drained), above + sds(task, high, drained), 0.0),
        max(abs(volume - task.wanted) - task.volume_tolerance, 0.0),
        max(abs(pure - task.target * volume) - task.target_tolerance * volume, 0.0),
        choice.drain,
    ]


def sds(task: Task, edge: float, drained: float) -> float:
    """Sds of the distance to an edge, between those of draining nothing and all. [L]"""
    slope = (task.concentration.value - edge) * task.volume.sd
    across = task.volume.value * task.concentration.sd
    kept = sqrt(slope**2 + across**2 + 2 * task.correlation * slope * across)
    return CONFIDENT_SDS * (kept * (1 - drained) + abs(slope) * drained)


def last_cost(task: Task, choice: Choice, reached: list[float]) -> float:
    """Batches, differences, odd marks and what is left to the target."""
    mix, kept = choice.mix, task.volume.value - choice.drain
    volume = kept + mix.volume
    pure = kept * task.concentration.value + mix.concentrate
    cost = BATCH * sum(batch.count for batch in choice.batches)
    if len(choice.batches) > 1:
        cost += DIFFERENT
    if choice.batches:
        alike = choice.batches[0]
        cost += ODD * sum(is_odd(x) for x in (alike.water, alike.concentrate))
    scales = (
        max(task.target_tolerance * task.cap + reached[4], SAME),
        max(task.volume_tolerance + reached[3], SAME),
    )
    cost += NEAR_TARGET * abs(pure - task.target * volume) / scales[0]
    return cost + NEAR_VOLUME * abs(volume - task.wanted) / scales[1]


def is_odd(volume: float) -> bool:
    """Whether a volume is no whole number of litres."""
    return abs(volume - round(volume)) > SAME


def better(one: list[float], other: list[float]) -> bool:
    """Whether one list of misses is less than another, preference by preference."""
    return next((a < b for a, b in zip(one, other, strict=True) if abs(a - b) > SAME), False)


def coarse(value: float) -> float:
    """A number that is no millionth away from another: nearer than that all are the same."""
    return round(value, 3)


tasks = st.builds(
    lambda volume, sd, strength, strength_sd, correlation, room, over, target, width, drain: Task(
        volume=Estimate(volume, sd),
        concentration=Estimate(strength, strength_sd),
        correlation=correlation,
        wanted=volume + room,
        cap=volume + room + over,
        target=target,
        band=(target - width, target + width),
        weakest=0.01 if room > 3 else 0.0,
        strongest=0.5,
        ways=(Way(name="can", fill=2.5, marks=(0.5, 0.5), most=2),),
        volume_tolerance=0.5,
        target_tolerance=0.002,
        drain=drain,
        drain_step=1.0,
        floor=2.0,
    ),
    st.floats(3.0, 8.0).map(coarse),
    st.sampled_from([0.0, 0.1]),
    st.floats(0.02, 0.2),
    st.sampled_from([0.0, 0.003]),
    st.floats(-0.9, 0.9),
    st.floats(0.0, 5.0).map(coarse),
    st.floats(0.0, 1.0).map(coarse),
    st.floats(0.06, 0.12),
    st.sampled_from([0.01, 0.03]),
    st.sampled_from([NEVER, FOR_BAND, ALWAYS]),
)


@settings(max_examples=60, deadline=None)
@given(tasks)
def test_no_other_choice_is_better(task):
    """Whatever the sump, no drain and no batches of marks do better, preference by preference."""
    choice = best(task)

    reached = misses(task, choice)
    others = [(misses(task, other), other) for other in every_choice(task)]
    assert not any(better(other, reached) for other, _ in others)
    as_good = [other for other_misses, other in others if not better(reached, other_misses)]
    cheapest = min(last_cost(task, other, reached) for other in as_good)
    assert last_cost(task, choice, reached) <= cheapest + 1e-3


@settings(max_examples=60, deadline=None)
@given(tasks)
def test_every_choice_is_one_that_can_be_carried_out(task):
    """Vessels are filled to their marks and no farther, strengths are those allowed."""
    choice = best(task)

    assert list(safe(task, choice)) == [choice]
    for way, batch in zip(choice.ways, choice.batches, strict=True):
        portion = (batch.water, batch.concentrate)
        assert any(portion == pytest.approx(allowed) for allowed in portions_of(way, task))


def test_any_amount_is_exact_where_it_can_be_measured():
    """Without marks the target is met to a millionth, by hand: 20 L at 1.98 %."""
    task = Task(
        volume=Estimate(280.0, 0.0),
        concentration=Estimate(0.0843, 0.0),
        correlation=0.0,
        wanted=300.0,
        cap=300.0,
        target=0.08,
        ways=(Way(name="any", fill=float("inf"), marks=(0.0, 0.0)),),
    )

    mix = best(task).mix
    assert (mix.water, mix.concentrate) == pytest.approx((19.604, 0.396), abs=1e-6)


def test_a_short_stock_is_not_overdrawn():
    """With 2 L of concentrate at hand no more than 2 L are poured."""
    task = Task(
        volume=Estimate(300.0, 1.0),
        concentration=Estimate(0.07, 0.001),
        correlation=0.0,
        wanted=350.0,
        cap=360.0,
        target=0.08,
        band=(0.06, 0.10),
        strongest=0.2,
        stock=2.0,
        ways=(Way(name="bucket", fill=16.0, marks=(0.5, 0.5), most=4),),
        volume_tolerance=3.5,
        target_tolerance=0.001,
    )

    choice = best(task)
    assert choice.mix.concentrate == pytest.approx(2.0)
    assert choice.mix.volume == pytest.approx(50.0, abs=3.5)


large_tasks = st.builds(
    lambda share, sd, strength, correlation, weak, supplies, stock, drained: (
        share,
        sd,
        strength,
        correlation,
        a_sump(
            fluid=replace(FLUID, weak_mix=weak),
            supplies=supplies,
            vessels=(Vessel(id="bucket", volume=20.0, graduation=0.5, carry_fill=0.8),),
        ),
        stock,
        drained,
    ),
    st.floats(0.4, 1.0),
    st.floats(0.0, 6.0),
    st.floats(0.02, 0.16),
    st.floats(-0.9, 0.9),
    st.sampled_from([0.0, 0.01]),
    st.sampled_from([(), (DRUM,), (DRUM, TOTE), (TOTE,), (TAP, TOTE)]),
    st.sampled_from([{}, {"drum": 2.0, "tote": 11.0}]),
    st.booleans(),
)


@settings(max_examples=40, deadline=None)
@given(large_tasks)
def test_goals_held_where_totals_reach_them_are_those_of_batch_by_batch(case):
    """The short way by the totals of all batches and the long way reach every goal alike."""
    share, sd, strength, correlation, sump, stock, drained = case
    volume = Estimate(share * volume_at(sump.tank, sump.levels.brim), sd)
    task = task_for(volume, Estimate(strength, 0.001), correlation, sump, stock=stock)
    if drained:
        task = replace(task, drain=FOR_BAND)
    layout, other = lay_out(task), lay_out(task)
    short = optimum._by_totals(layout)
    assume(short is not None)
    long = optimum._solve(other)

    columns = [layout.band, layout.drains, layout.confidence, layout.volume, layout.target]
    for column in [*columns, layout.drain]:
        assert short[column] == pytest.approx(long[column], abs=2e-5)
    assert count_of(layout, short) == count_of(other, long)


def count_of(layout: Layout, values: list[float]) -> float:
    """Batches of a solution. [1]"""
    return sum(group.count * values[group.used] for group in layout.groups)
