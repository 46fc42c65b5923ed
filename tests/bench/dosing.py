"""How long a dose takes: random states of a sump, over all that a mix can be made of.

Processor time is measured: a dose is computed in one thread, and a busy machine does not matter.
"""

import random
import time
from collections.abc import Iterator
from dataclasses import replace

from advisor.dose import plan_top_up
from advisor.plan import SumpPlan, Supply, Vessel
from advisor.units import FLUID_OUNCE, GALLON
from advisor.words import Estimate
from tests.plants import FLUID, a_sump

STATES = 300
"""Of each kind of sump. [1]"""

DRUM = Supply(id="drum", kind="drum", fluid="semi-a", volume=200.0)
TOTE = Supply(id="tote", kind="premix", fluid="semi-a", strength=0.15)
TAP = Supply(
    id="tap", kind="proportioner", fluid="semi-a", settings=(0.0, 0.02, 0.04, 0.06, 0.08, 0.3)
)
GALLONS = (
    Vessel(id="pail", volume=5 * GALLON, graduation=GALLON / 2),
    Vessel(id="jug", volume=32 * FLUID_OUNCE, graduation=FLUID_OUNCE, carry_fill=1.0),
)


def measure() -> Iterator[tuple[str, str]]:
    """Median, 99 % and slowest, in milliseconds, of each kind of sump and of all; the slowest."""
    plan_top_up(Estimate(300.0, 2.0), Estimate(0.08, 0.001), 0.0, a_sump())  # loads the solver
    every: list[tuple[float, str]] = []
    for name, sump, stock in _sumps():
        took = sorted(_milliseconds(sump, stock))
        every += [(spent, f"{name}, {state}") for spent, state in took]
        yield f"dose, {name}: median, 99 %, slowest [ms]", _figures(took)
    every.sort()
    yield f"dose, all {len(every)}: median, 99 %, slowest [ms]", _figures(every)
    for spent, what in reversed(every[-3:]):
        yield "slow dose [ms]", f"{spent:.0f}: {what}"


def _figures(took: list[tuple[float, str]]) -> str:
    """Median, 99 % and slowest of sorted times. [ms]"""
    places = (len(took) // 2, int(len(took) * 0.99), len(took) - 1)
    return ", ".join(f"{took[place][0]:.0f}" for place in places)


def _sumps() -> Iterator[tuple[str, SumpPlan, dict[str, float]]]:
    """Sumps that differ in what a mix is made of."""
    weak = replace(FLUID, weak_mix=0.01)
    short = {"drum": 1.0, "tote": 12.0}
    yield "any amount", a_sump(vessels=()), {}
    yield "bucket", a_sump(), {}
    yield "bucket, weak mix", a_sump(fluid=weak), {}
    yield "pail and jug", a_sump(vessels=GALLONS), {}
    yield "pail and jug, weak mix", a_sump(vessels=GALLONS, fluid=weak), {}
    yield "proportioner and tote", a_sump(supplies=(TAP, TOTE)), {}
    yield "drum and tote", a_sump(supplies=(DRUM, TOTE)), {}
    yield "drum and tote nearly empty", a_sump(supplies=(DRUM, TOTE)), short
    yield "the same with pail and jug", a_sump(supplies=(DRUM, TOTE), vessels=GALLONS), short


def _milliseconds(sump: SumpPlan, stock: dict[str, float]) -> Iterator[tuple[float, str]]:
    """How long each of the states took, and which state it was."""
    drawn = random.Random(1)
    for _ in range(STATES):
        volume = Estimate(drawn.uniform(180.0, 451.0), drawn.uniform(0.0, 6.0))
        strength = Estimate(drawn.uniform(0.02, 0.16), drawn.uniform(0.0, 0.005))
        correlation = drawn.uniform(-0.9, 0.9)
        begin = time.process_time()
        plan = plan_top_up(volume, strength, correlation, sump, stock=stock)
        spent = 1000.0 * (time.process_time() - begin)
        yield spent, f"{volume.value:.0f} L at {100.0 * strength.value:.1f} %: {plan.kind}"
