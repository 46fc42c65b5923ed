"""What a person measured or did, as evidence with the spread that people have."""

from dataclasses import replace

from advisor import observation
from advisor import states as s
from advisor.belief import Belief
from advisor.filter_step import forget
from advisor.plan import SumpPlan
from advisor.pumps import share_up
from advisor.slots import begin_when_known, close
from advisor.words import Check, CheckKind, Service
from advisor.working import Working

HANDHELD_SD = 0.2
"""Handheld refractometer on clean fluid, by memory of data sheets. [°Brix]"""
TITRATION_SD = 0.002
"""Titration repeats to 0.1 to 0.3 % of the mix, by memory of data sheets. [1]"""
DIPSTICK_SD = 4.0
"""A person reads a wetted stick; common practice. [mm]"""
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
        share, share_sd = share_up(work.pumps, entry.at)
        row = observation.dipstick_row(mean, share, share_sd, area, DIPSTICK_SD)
        work.take(
            row,
            observation.level_volume(plan, entry.value, belief.temperature),
        )
        core = replace(core, volume_known=True)
    elif entry.kind is CheckKind.TITRATION:
        work.take(observation.titration_row(mean, TITRATION_SD), entry.value)
        core = replace(core, concentration_known=True)
    else:
        factor = plan.fluid.refractometer_factor
        work.take(observation.handheld_row(mean, factor, HANDHELD_SD), entry.value)
        core = replace(core, concentration_known=True)
    core = begin_when_known(work, core, entry.at)
    return work.belief(belief, core, entry.at)


def take_service(belief: Belief, entry: Service, plan: SumpPlan) -> Belief:
    """Forget the film where the prism was cleaned: its offset is a new one, and small."""
    if entry.kind not in ("prism-cleaned", "sump-cleaned"):
        return belief
    core = close(belief, plan).core
    work = Working(core, plan)
    work.advance(max(entry.at, core.at))
    prior = work.prior
    forget(work.mean, work.cov, s.FILM, 0.0, prior.film_sd**2)
    return work.belief(belief, core, entry.at)
