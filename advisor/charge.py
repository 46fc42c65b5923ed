"""A charge: evidence off while the sump is emptied and filled, and a new beginning after it."""

from dataclasses import replace

import numpy as np

from advisor import events
from advisor import states as s
from advisor.belief import Belief, Core, EventNote
from advisor.events import Pour
from advisor.filter_step import Matrix, Vector, forget
from advisor.plan import SumpPlan
from advisor.priors import Priors
from advisor.slots import begin_accounts, close
from advisor.words import Charge, Estimate, Instant
from advisor.working import Working

RESIDUE = 0.01
"""Share of the brim volume that a drained sump keeps, and its sd; common practice. [1]"""
VOLUME_SD = 0.02
"""Relative sd of a charge's reported volume. [1]"""
STRENGTH_SD = 0.03
"""Relative sd of a charge's reported strength. [1]"""


def take_charge(belief: Belief, entry: Charge, plan: SumpPlan) -> Belief:
    """Take in one stage of a charge.

    From ``begun`` on the sensors hang in the air and are not listened to; with ``done`` the
    accounts begin anew from what was poured, or from the sensors where nobody said how much.
    """
    core = close(belief, plan).core
    work = Working(core, plan)
    work.advance(max(entry.at, core.at))
    if entry.water is not None or entry.concentrate is not None:
        core = replace(core, charged=(entry.water or 0.0, entry.concentrate or 0.0))
    if entry.stage == "begun":
        core = replace(core, charging=True, volume_known=False, concentration_known=False)
    elif entry.stage == "done":
        core = _begin_anew(work, core, entry.at, f"charge-{entry.id}")
    return work.belief(belief, core, entry.at)


def _begin_anew(work: Working, core: Core, at: Instant, name: str) -> Core:
    """Put the charge into the sump, and begin the accounts."""
    mean, cov, prior = work.mean, work.cov, work.prior
    settled = [events.settle(note, mean, cov) for note in core.notes]
    note = events.note_of("charge", "report", at, name, name)
    known = core.charged is not None
    if core.charged is None:
        blank_mix(mean, cov, prior)
    else:
        note = _fill(mean, cov, prior, core.charged, note)
    forget(mean, cov, s.OIL, prior.oil, prior.oil_sd**2)
    forget(mean, cov, s.SHIFT, 0.0, prior.zero_sd**2)
    forget(mean, cov, s.SHARED, prior.shared, prior.shared_sd**2)
    forget(mean, cov, s.SHARED_RATE, 0.0, prior.shared_rate_sd**2)
    core = begin_accounts(work, core, at)
    return replace(
        core,
        charging=False,
        charged=None,
        volume_known=known,
        concentration_known=known,
        notes=(*settled, note)[-events.KEPT :],
    )


def _fill(
    mean: Vector, cov: Matrix, prior: Priors, charged: tuple[float, float], note: EventNote
) -> EventNote:
    """Fluid and its spread after a charge of known amounts, and the charge's note. [L]"""
    pour = Pour(*charged, VOLUME_SD * sum(charged), 0.0)
    strength = charged[1] / pour.volume if pour.volume > 0.0 else 0.0
    strength_sd = STRENGTH_SD * strength
    residue = RESIDUE * prior.brim
    filled = pour.volume + residue
    _set_mix(
        mean,
        cov,
        filled,
        (pour.volume_sd**2 + residue**2) ** 0.5,
        strength,
        strength_sd,
    )
    _tie_to_area(mean, cov, filled, strength)
    told = replace(
        note.told,
        volume=Estimate(pour.volume, pour.volume_sd),
        strength=Estimate(strength, strength_sd),
    )
    return replace(note, told=told)


def _tie_to_area(mean: Vector, cov: Matrix, told: float, strength: float) -> None:
    """Let what was told in true litres hang on the tank's area and on the factor."""
    shape = np.zeros(s.SIZE)
    shape[[s.V, s.C]] = 1.0, strength
    mean[[s.V, s.C]] = 0.0
    events.pour_mix(mean, cov, shape, told, events.TRUE_LITRES)


def blank_mix(mean: Vector, cov: Matrix, prior: Priors) -> None:
    """Fluid of which nothing is known but the tank and the target."""
    _set_mix(mean, cov, prior.volume, prior.volume_sd, prior.concentration, prior.concentration_sd)


def _set_mix(
    mean: Vector, cov: Matrix, volume: float, sd: float, strength: float, strength_sd: float
) -> None:
    """Replace volume and concentrate by fresh ones. [L], [1]"""
    forget(mean, cov, s.V, volume, sd * sd)
    forget(mean, cov, s.C, volume * strength, (sd * strength) ** 2 + (volume * strength_sd) ** 2)
    cov[s.V, s.C] = cov[s.C, s.V] = sd * sd * strength
