"""What a person measured or did, as evidence with the spread that people have."""

from dataclasses import replace

import numpy as np

from advisor import observation
from advisor import states as s
from advisor.belief import EVEN, Belief, Core
from advisor.cusum import accumulate
from advisor.filter_step import Vector, forget, project, shock
from advisor.plan import SumpPlan
from advisor.pumps import days
from advisor.slots import begin_when_known, close
from advisor.words import DAY, MINUTE, Check, CheckKind, Instant, Service
from advisor.working import Working

HANDHELD_SD = 0.2
"""Handheld refractometer on clean fluid, by memory of data sheets. [°Brix]"""
TITRATION_SD = 0.002
"""Titration repeats to 0.1 to 0.3 % of the mix, by memory of data sheets. [1]"""
DIPSTICK_SD = 4.0
"""A person reads a wetted stick; common practice. [mm]"""
UNDRAINED = 0.05
"""Share of the holdup that may not be back when a dipstick is read with the pumps stopped. [1]"""
ALLOWANCE, INTERVAL = 0.5, 4.0
"""Of the CUSUM over checks: a shift of one sd is found within 8 checks. [1]"""
SKIMMED_BRIX_SD = 0.3
"""How far the readings of all refractometers may fall with the oil; common practice. [°Brix]"""
SKIMMING: Instant = 30 * MINUTE
"""How long skimming takes; common practice. [ms]"""
SURPRISED = 2.0
"""Sds from which on a check says that the instruments drift faster than is usual. [1]"""
LEAST_DAYS, MOST_DAYS = 0.5, 7.0
"""Bounds of the time over which they may have. [d]"""
USED = (CheckKind.REFRACTOMETER, CheckKind.TITRATION, CheckKind.DIPSTICK)


def take_check(belief: Belief, entry: Check, plan: SumpPlan) -> Belief:
    """Correct the state by a check, as far as its spread and the shared bias allow."""
    if entry.kind not in USED or belief.core.charging:
        return belief
    core = close(belief, plan).core
    work = Working(core, plan)
    work.advance(max(entry.at, core.at))
    mean = work.mean
    if entry.kind is CheckKind.DIPSTICK:
        area = observation.surface(plan, entry.value)
        row = observation.dipstick_row(mean, 0.0, UNDRAINED, area, DIPSTICK_SD)
        work.take(
            row,
            observation.level_volume(plan, entry.value, belief.temperature),
        )
        core = replace(core, volume_known=True)
    elif entry.kind is CheckKind.TITRATION:
        row = observation.titration_row(mean, TITRATION_SD)
        expected = _allow(work, core, row, entry)
        core = _compare(core, entry.at, work.take(row, entry.value)[0], expected)
    else:
        row = observation.handheld_row(mean, plan.fluid.refractometer_factor, HANDHELD_SD)
        expected = _allow(work, core, row, entry)
        core = _compare(core, entry.at, work.take(row, entry.value)[0], expected)
    core = begin_when_known(work, core, entry.at)
    return work.belief(belief, core, entry.at)


def _allow(work: Working, core: Core, row: observation.Row, entry: Check) -> float:
    """Widen what was believed of the instruments' drift where a check is far off.

    Gives the variance with which the check was expected before.

    Tramp oil may come in ten times as fast as is usual, and film may grow so: what the check
    differs by, beyond its spread, the offsets and their rates of growth since the last check may
    have been off by: film where a handheld instrument says it, water and oil where titration does.
    """
    _, variance = project(work.cov, row.places, row.weights)
    off = (entry.value - row.expected) ** 2
    expected = variance + row.variance
    if not core.concentration_known or off < SURPRISED**2 * expected:
        return expected
    per_brix = 0.01 * work.plan.fluid.refractometer_factor
    titrated = entry.kind is CheckKind.TITRATION
    offset, rate = (s.SHARED, s.SHARED_RATE) if titrated else (s.FILM, s.FILM_RATE)
    more = (off - expected) / (per_brix**2 if titrated else 1.0)
    since = max(core.compared, core.since)
    passed = min(max(days(entry.at - since), LEAST_DAYS), MOST_DAYS)
    solute = per_brix * max(float(work.mean[s.V]), 0.0)
    shape = _drifted(core, entry.at - round(passed * DAY), entry.at, solute)
    shape[offset], shape[rate] = 1.0, 1.0 / passed
    shock(work.mean, work.cov, shape, 0.0, more)
    return expected


def _drifted(core: Core, begin: Instant, end: Instant, solute: float) -> Vector:
    """Give what concentrate truly did where an inline reading drifted upwards between two moments.

    The reading stands, so that there is less concentrate by `solute`, and more was lost. [L/°Brix]
    """
    shape = np.zeros(s.SIZE)
    shape[s.C], shape[s.LOST_CONCENTRATE] = -solute, solute
    for at, place in core.clones:
        share = min(max((at - begin) / (end - begin), 0.0), 1.0)
        shape[s.clone_pair(place) + 1] = solute * share
    return shape


def _compare(core: Core, at: Instant, surprise: float, variance: float) -> Core:
    """Note whether checks keep differing from what was expected of them, the same way."""
    core = replace(core, compared=at)
    if not core.concentration_known:
        return replace(core, concentration_known=True)
    sums = accumulate(core.checked, surprise / variance**0.5, ALLOWANCE)
    if max(sums) <= INTERVAL:
        return replace(core, checked=sums, checked_since=-1)
    return replace(
        core, checked=sums, checked_since=core.checked_since if core.checked_since >= 0 else at
    )


def take_service(belief: Belief, entry: Service, plan: SumpPlan) -> Belief:
    """Forget what a service took away: a cleaned prism's film, a skimmed sump's oil."""
    cleaned = entry.kind in ("prism-cleaned", "sump-cleaned")
    skimmed = entry.kind in ("skimmed", "sump-cleaned")
    if not cleaned and not skimmed:
        return belief
    core = close(belief, plan).core
    work = Working(core, plan)
    work.advance(max(entry.at, core.at))
    prior = work.prior
    if cleaned:
        forget(work.mean, work.cov, s.FILM, 0.0, prior.film_sd**2)
        core = replace(core, checked=EVEN, checked_since=-1)
    if skimmed:
        forget(work.mean, work.cov, s.OIL, prior.oil, prior.oil_sd**2)
        work.cov[s.SHARED, s.SHARED] += SKIMMED_BRIX_SD**2
        core = replace(core, mixing_until=entry.at + SKIMMING, pouring_until=entry.at + SKIMMING)
    return work.belief(belief, core, entry.at)
