"""Readings taken in at one pass, against the same readings taken in one by one."""

from dataclasses import replace
from random import Random

import pytest

from advisor.estimate import absorb, absorb_all, begin
from advisor.plan import SignalPlan, SumpPlan
from advisor.stretch import take_stretch
from advisor.words import Addition, Evidence, Reading, Signal
from tests.advisor.truth import BEGIN, plan

STEPS = 720
KINDS = ("depth", "air-gap", "volume", "percent", "pressure")


def _told(kind: str) -> SumpPlan:
    """A sump whose level sensor is of a kind."""
    mount = {"air-gap": 600.0, "pressure": 20.0}.get(kind)
    level = SignalPlan(signal=Signal.LEVEL, kind=kind, mount=mount)
    usual = plan()
    return replace(usual, signals={**usual.signals, Signal.LEVEL: level})


def _evidence(seed: int, kind: str, pace: int) -> list[Evidence]:
    """A stretch of everything: noise, repeats, spikes, bubbles, pump starts, a bucket, a fault."""
    dice = Random(seed)
    items: list[Evidence] = []
    read = {
        "depth": lambda depth: depth,
        "air-gap": lambda depth: 600.0 - depth,
        "volume": lambda depth: 1.05 * depth,
        "percent": lambda depth: depth / 430.0,
        "pressure": lambda depth: (depth - 20.0) * 9.79,
    }[kind]
    running, depth, stuck = 1.0, 340.0, None
    for at in range(BEGIN, BEGIN + STEPS * pace, pace):
        if dice.random() < 0.01:
            running = 1.0 - running
            depth += 15.0 if running == 0.0 else -15.0
            items.append(Reading(at, Signal.RUNNING, running))
        if dice.random() < 0.004:
            depth += 12.0
        if dice.random() < 0.002:
            items.append(Addition(at=at, id=f"a{at}", water=9.0, concentrate=1.0))
            depth += 10.0
        if dice.random() < 0.004:
            stuck = None if stuck is not None else depth
        seen = depth + dice.gauss(0.0, 1.0) if stuck is None else stuck
        if dice.random() < 0.02:
            seen += dice.choice((40.0, -60.0, 300.0))
        items.append(Reading(at + dice.randrange(3), Signal.LEVEL, read(seen)))
        brix = round(6.4 + dice.gauss(0.0, 0.04), 1) - (3.0 if dice.random() < 0.03 else 0.0)
        items.append(Reading(at + 5 + dice.randrange(3), Signal.BRIX, brix))
        if dice.random() < 0.05:
            items.append(Reading(at + 9, Signal.TEMPERATURE, 24.0 + dice.random()))
    return items


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("pace", [2_000, 10_000, 60_000])
def test_one_pass_gives_what_one_by_one_gives_to_the_last_bit(kind, pace):
    """Whatever comes between them, readings summed up together leave the same belief."""
    told = _told(kind)
    items = _evidence(KINDS.index(kind), kind, pace)
    singly = together = begin(told)
    for item in items:
        singly = absorb(singly, item, told)
    dice, place = Random(pace), 0
    while place < len(items):
        count = dice.randrange(1, 40)
        together = absorb_all(together, items[place : place + count], told)
        place += count
    assert together == singly


def test_most_readings_of_a_calm_sump_go_in_one_pass():
    """A stretch ends with the slot and not with the noise."""
    told = plan()
    dice = Random(3)
    items = [
        Reading(BEGIN + 10_000 * step + place, signal, usual + dice.gauss(0.0, sd))
        for step in range(360)
        for place, (signal, usual, sd) in enumerate(
            [(Signal.LEVEL, 340.0, 0.5), (Signal.BRIX, 6.4, 0.03)]
        )
    ]
    belief, place, alone = begin(told), 0, 0
    while place < len(items):
        belief, place = take_stretch(belief, items, place, told)
        if place < len(items):
            belief = absorb(belief, items[place], told)
            place, alone = place + 1, alone + 1
    assert alone < 0.1 * len(items)
