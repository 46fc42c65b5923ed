"""How long a dose takes: random states of a sump, over all that a mix can be made of."""

import random
import time
from collections.abc import Iterator
from dataclasses import replace

from advisor.dose import plan_top_up
from advisor.plan import SumpPlan, Supply, Vessel
from advisor.units import FLUID_OUNCE, GALLON
from advisor.words import Estimate
from tests.plants import FLUID, a_sump

STATES = 100
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
    """Median, 95 % and slowest, in milliseconds."""
    plan_top_up(Estimate(300.0, 2.0), Estimate(0.08, 0.001), 0.0, a_sump())  # loads the solver
    for name, sump, stock in _sumps():
        took = sorted(_milliseconds(sump, stock))
        figures = (took[len(took) // 2], took[int(len(took) * 0.95)], took[-1])
        yield f"dose, {name}: median, 95 %, slowest [ms]", ", ".join(f"{f:.0f}" for f in figures)


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


def _milliseconds(sump: SumpPlan, stock: dict[str, float]) -> Iterator[float]:
    """How long each of the states took."""
    drawn = random.Random(1)
    for _ in range(STATES):
        volume = Estimate(drawn.uniform(180.0, 451.0), drawn.uniform(0.0, 6.0))
        strength = Estimate(drawn.uniform(0.02, 0.16), drawn.uniform(0.0, 0.005))
        correlation = drawn.uniform(-0.9, 0.9)
        begin = time.perf_counter()
        plan_top_up(volume, strength, correlation, sump, stock=stock)
        yield 1000.0 * (time.perf_counter() - begin)
