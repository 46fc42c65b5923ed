"""Pumps and cutting: how much of the holdup is up in the machine, and for how long what ran."""

import math
from typing import NamedTuple

from advisor.words import DAY, MINUTE, Instant

FILL_MS = 20_000.0
"""Time constant of filling: up in under a minute, common practice. [ms]"""
DRAIN_MS = 3.0 * MINUTE
"""Time constant of draining back from pipes and jets, common practice. [ms]"""
SEEP_MS = 12.0 * MINUTE
"""And from ways and chips: all is back in 5 to 30 minutes. [ms]"""
SEEP_SHARE = 0.3
"""Share of the holdup that seeps. [1]"""
SHAPE_SD = 0.5
"""Sd of the logarithm of the time constants. [1]"""
UNHEARD_SD = 0.2
"""Of the share that is up when the pumps' state is told for the first time. [1]"""


class Pumps(NamedTuple):
    """What is known of pumps and cutting, and what ran since the filter's own time."""

    running: int = -1
    """1 on, 0 off, -1 not known."""
    since: Instant = -1
    """Last switch; -1 before the first. [ms]"""
    share: float = 0.0
    """Share of the holdup that was up at the switch. [1]"""
    cutting: int = -1
    counted: Instant = -1
    """Up to here the two sums below are made up. [ms]"""
    ran: float = 0.0
    """Time with the pumps on. [ms]"""
    cut: float = 0.0
    """Time in which the machine cut. [ms]"""
    parts: float = -1.0
    """Last reading of a part counter. [1]"""
    heard: Instant = -1
    """When it was first told whether they run: how long they had, nobody said. [ms]"""


def share_up(pumps: Pumps, at: Instant) -> tuple[float, float]:
    """Share of the holdup that is up in the machine, and its sd. [1]

    Where the pumps' state is not known, anything from nothing to all of it.
    """
    if pumps.running < 0:
        return 0.5, 0.5
    goal = float(pumps.running)
    if pumps.since < 0:
        return goal, UNHEARD_SD * _not_yet(pumps.running, at - pumps.heard)
    passed = at - pumps.since
    gap = pumps.share - goal
    if pumps.running:
        age = passed / FILL_MS
        rest = math.exp(-age)
        return goal + gap * rest, abs(gap) * rest * age * SHAPE_SD
    quick, slow = passed / DRAIN_MS, passed / SEEP_MS
    fast = (1.0 - SEEP_SHARE) * math.exp(-quick)
    seeping = SEEP_SHARE * math.exp(-slow)
    spread = fast * quick + seeping * slow
    return goal + gap * (fast + seeping), abs(gap) * spread * SHAPE_SD


def _not_yet(running: int, passed: Instant) -> float:
    """Share of a change that is still to come so long after a switch. [1]"""
    if running:
        return math.exp(-passed / FILL_MS)
    fast = (1.0 - SEEP_SHARE) * math.exp(-passed / DRAIN_MS)
    return fast + SEEP_SHARE * math.exp(-passed / SEEP_MS)


def changed(pumps: Pumps) -> Instant:
    """When the pumps last may have switched; -1 where nobody ever told. [ms]"""
    return max(pumps.since, pumps.heard)


def count(pumps: Pumps, at: Instant) -> Pumps:
    """Make up the running and cutting time to `at`.

    Where nothing says whether the machine cuts, it cuts while the pumps run; where nothing says
    that either, it does both all the time.
    """
    if pumps.counted < 0:
        return pumps._replace(counted=at)
    passed = float(at - pumps.counted)
    runs = 1.0 if pumps.running != 0 else 0.0
    cuts = runs if pumps.cutting < 0 else float(pumps.cutting)
    return pumps._replace(counted=at, ran=pumps.ran + passed * runs, cut=pumps.cut + passed * cuts)


def switch(pumps: Pumps, at: Instant, running: int) -> Pumps:
    """Take in that the pumps run or stand from `at` on; the same again changes nothing."""
    if running == pumps.running:
        return pumps
    counted = count(pumps, at)
    if pumps.running < 0:
        return counted._replace(running=running, heard=at)
    share, _ = share_up(pumps, at)
    return counted._replace(running=running, since=at, share=share)


def days(milliseconds: float) -> float:
    """Give a time in days. [d]"""
    return milliseconds / DAY
