"""What is taken for granted before a sump has shown itself: spreads and time constants.

All are physical sizes with a reason beside them; those without a source are common practice.
"""

from typing import NamedTuple

from advisor.geometry import volume_at
from advisor.plan import SumpPlan
from advisor.words import Signal

HOLDUP_SHARE_MAX = 0.15
"""Most of the brim volume that is up while pumps run, where no holdup is given. [1]"""
HOLDUP_SD = 0.25
"""Relative sd of a holdup that the plant file gives. [1]"""


class Priors(NamedTuple):
    """Expectations and spreads for one sump. Names follow `states`."""

    brim: float
    """Volume at the brim. [L]"""
    volume: float
    volume_sd: float
    """[L]"""
    concentration: float
    concentration_sd: float
    """[1]"""
    water: float
    """Typical loss of water. [L/d]"""
    concentrate: float
    """Typical loss of concentrate. [L/d]"""
    holdup: float
    holdup_sd: float
    """[L]"""
    level_sd: float
    """White noise of one level reading. [mm]"""
    brix_sd: float
    """White noise of one inline reading. [°Brix]"""
    waves_sd: float = 1.0
    """Foam and swell. [mm]"""
    waves_days: float = 30.0 / 1440.0
    sway_sd: float = 0.6
    """[mm]"""
    sway_days: float = 0.6
    zero_sd: float = 2.0
    """Of the level sensor: how well it was mounted. [mm]"""
    wander_sd: float = 0.06
    """[°Brix]"""
    wander_days: float = 0.6
    water_rest_walk: float = 0.25
    water_run_walk: float = 0.35
    concentrate_rest_walk: float = 0.1
    concentrate_cut_walk: float = 0.5
    """How far each rate wanders in a day, per typical loss. [1]"""
    lump_sd: float = 1.0
    """Mix carried off in lumps, over a day. [L]"""
    report_sd: float = 0.03
    """How people fill their buckets, all alike; common practice. [1]"""
    area_sd: float = 0.02
    """Sludge, baffles, drawing. [1]"""
    factor_sd: float = 0.03
    """Data sheet against this mix. [1]"""
    shared: float = 0.0
    shared_sd: float = 0.2
    """Water's own Brix, oil; with nothing told, concentration is the reading times the factor.
    [°Brix]"""
    shared_rate_sd: float = 0.015
    """Tramp oil, per day of running. [°Brix/d]"""
    water_brix: float = 0.0
    water_brix_sd: float = 0.2
    """Of make-up water: 0 to 0.5; a refractometer set to zero on it reads none. [°Brix]"""
    warmth_sd: float = 0.004
    """What compensation leaves; data sheets, by memory. [°Brix/K]"""
    oil: float = 0.5
    oil_sd: float = 0.5
    """Tramp oil that a sump begins with, and that a skimmer leaves. [L]"""
    oil_rate: float = 0.5
    oil_rate_sd: float = 0.4
    """Over a day of running; common practice. [L/d]"""
    film_sd: float = 0.1
    """[°Brix]"""
    film_rate_sd: float = 0.015
    """[°Brix/d]"""


def priors(plan: SumpPlan) -> Priors:
    """Give expectations and spreads for one sump, before any evidence. [its own unit]"""
    brim = volume_at(plan.tank, plan.levels.brim)
    middle = volume_at(plan.tank, (plan.levels.low + plan.levels.brim) / 2.0)
    given = plan.holdup
    half = HOLDUP_SHARE_MAX / 2.0
    level, brix = plan.signals.get(Signal.LEVEL), plan.signals.get(Signal.BRIX)
    return Priors(
        brim=brim,
        volume=middle,
        volume_sd=brim / 4.0,
        concentration=plan.fluid.target,
        concentration_sd=plan.fluid.target / 2.0,
        water=0.04 * brim,
        concentrate=0.01 * brim * plan.fluid.target,
        holdup=brim * half if given is None else given,
        holdup_sd=brim * half / 3**0.5 if given is None else HOLDUP_SD * given,
        level_sd=2.0 if level is None or level.sd is None else level.sd,
        brix_sd=0.1 if brix is None or brix.sd is None else brix.sd,
    )
