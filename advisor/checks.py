"""What a person measured or did, as evidence with the spread that people have."""

from dataclasses import replace

from advisor import observation
from advisor import states as s
from advisor.belief import EVEN, Belief, Core
from advisor.cusum import accumulate
from advisor.filter_step import forget
from advisor.plan import SumpPlan
from advisor.slots import begin_when_known, close
from advisor.words import Check, CheckKind, Instant, Service
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
        core = _compare(core, entry.at, work.take(row, entry.value))
    else:
        factor = plan.fluid.refractometer_factor
        row = observation.handheld_row(mean, factor, HANDHELD_SD)
        core = _compare(core, entry.at, work.take(row, entry.value))
    core = begin_when_known(work, core, entry.at)
    return work.belief(belief, core, entry.at)


def _compare(core: Core, at: Instant, told: tuple[float, float]) -> Core:
    """Note whether checks keep differing from what was expected of them, the same way."""
    surprise, variance = told
    if not core.concentration_known:
        return replace(core, concentration_known=True)
    sums = accumulate(core.checked, surprise / variance**0.5, ALLOWANCE)
    if max(sums) <= INTERVAL:
        return replace(core, checked=sums, checked_since=-1)
    return replace(
        core, checked=sums, checked_since=core.checked_since if core.checked_since >= 0 else at
    )


def take_service(belief: Belief, entry: Service, plan: SumpPlan) -> Belief:
    """Forget the film where the prism was cleaned: its offset is a new one, and small."""
    if entry.kind not in ("prism-cleaned", "sump-cleaned"):
        return belief
    core = close(belief, plan).core
    work = Working(core, plan)
    work.advance(max(entry.at, core.at))
    prior = work.prior
    forget(work.mean, work.cov, s.FILM, 0.0, prior.film_sd**2)
    core = replace(core, checked=EVEN, checked_since=-1)
    return work.belief(belief, core, entry.at)
