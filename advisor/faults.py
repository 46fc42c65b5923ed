"""Sensor health: what a sensor says that no sump does, told from real change.

Flat is not stuck: a reading that repeats is odd only where the noise, as learned, makes repeats
unlikely. Wild is what no pouring or draining could do between two readings.
"""

import math
from typing import NamedTuple

from advisor.words import MINUTE, Instant

REPEATS_ODDS = 25.0
"""Log odds against so many repeats from which on a sensor is stuck. [1]"""
REPEATS = 12
"""Fewer repeats than these never look stuck. [1]"""
LIKELIEST, LEAST_LIKELY = 0.97, 0.5
"""Bounds on how likely a repeat is taken to be: neither never nor always. [1]"""
WILD_FOR: Instant = 10 * MINUTE
"""Wild readings for so long are a fault and no spike. [ms]"""
BELIEVED_AFTER: Instant = 45 * MINUTE
"""A steady wild reading for so long may be the truth: somebody emptied the sump. [ms]"""
BACK_AFTER = 3
"""So many sound readings in a row earn the trust back. [1]"""
FACTORS = (10.0, 100.0, 1000.0, 25.4, 2.54, 3.785411784, 0.3048)
"""Ratios of units that are mistaken for one another. [1]"""
FACTOR_MATCH = 0.04
"""Relative closeness at which a ratio is one of these. [1]"""


class Watch(NamedTuple):
    """What is kept in mind of one signal."""

    last: float = -1e300
    """Newest reading; this before the first. [its own unit]"""
    repeats: int = 0
    """How often it came again."""
    grain: float = 0.0
    """Smallest step between two readings so far; 0 before any. [its own unit]"""
    since: Instant = -1
    """When the newest value came first. [ms]"""
    wild: int = 0
    """Newest readings in a row that no sump explains."""
    wild_since: Instant = -1
    """Time of the first of them. [ms]"""
    fault: str = ""
    """What is wrong at present, for people; empty: nothing."""
    fault_since: Instant = -1
    """[ms]"""
    sound: int = 0
    """Sound readings in a row since the fault."""


UNSEEN = Watch()


def look(watch: Watch, at: Instant, value: float, sd: float, wild: str) -> Watch:
    """Take in one reading.

    Parameters
    ----------
    watch : Watch
        So far.
    at : Instant
        Time of the reading. [ms]
    value : float
        The reading. [its own unit]
    sd : float
        Scatter of one reading as learned. [its own unit]
    wild : str
        Why no sump explains the reading; empty where one does.

    Returns
    -------
    Watch
        Readings are to be left out while its `fault` is not empty, or while it is `wild`.
    """
    repeats, since, grain = watch.repeats, watch.since, watch.grain
    if value == watch.last:
        repeats += 1
    else:
        repeats, since, grain = 0, at, finer(grain, watch.last, value)
    if wild:
        return _go_wild(watch, at, Watch(value, repeats, grain, since), wild)
    stuck = is_stuck(repeats, grain, sd)
    if stuck and not watch.fault:
        detail = f"stands at {value:g} for {repeats} readings though it used to scatter by {sd:.2g}"
        return Watch(value, repeats, grain, since, 0, -1, detail, at, 0)
    if not watch.fault:
        return Watch(value, repeats, grain, since)
    sound = 0 if stuck or repeats else watch.sound + 1
    if sound >= BACK_AFTER:
        return Watch(value, repeats, grain, since)
    return Watch(value, repeats, grain, since, 0, -1, watch.fault, watch.fault_since, sound)


def _go_wild(watch: Watch, at: Instant, seen: Watch, why: str) -> Watch:
    """Take in a reading that no sump explains."""
    wild_since = watch.wild_since if watch.wild else at
    lasting = at - wild_since >= WILD_FOR
    return seen._replace(
        wild=watch.wild + 1,
        wild_since=wild_since,
        fault=watch.fault or (why if lasting else ""),
        fault_since=watch.fault_since if watch.fault else (wild_since if lasting else -1),
    )


def finer(grain: float, last: float, value: float) -> float:
    """Smallest step between two readings so far, with one more that differs. [its own unit]"""
    step = abs(value - last)
    if last > -1e299 and step > 1e-9 and (grain == 0.0 or step < grain):
        return step
    return grain


def is_stuck(repeats: int, grain: float, sd: float) -> bool:
    """Whether so many repeats are odd for a sensor of this scatter and resolution."""
    if repeats < REPEATS or grain <= 0.0 or sd <= 0.0:
        return False
    likely = min(max(grain / sd, LEAST_LIKELY), LIKELIEST)
    return -repeats * math.log(likely) > REPEATS_ODDS


def is_other_unit(value: float, expected: float) -> bool:
    """Whether a reading is the expected one in a unit that is mistaken for the right one."""
    if value <= 0.0 or expected <= 0.0:
        return False
    ratio = max(value / expected, expected / value)
    return any(abs(ratio / factor - 1.0) < FACTOR_MATCH for factor in FACTORS)
