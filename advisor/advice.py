"""When a new advice is issued, and what it says.

A new advice, with a new id, only when the kind changes, the mix changes by more than one graduation
of the vessel, or the advice expires: somebody may stand there with the bucket. Where only the trust
in the evidence changed, the same advice is told again, with the same id and the new reasons.

The solver runs when the sump asks for something to be poured and has moved materially since it
last ran: by more than the tolerances of the dose or half an sd. Everything else is comparisons.

An advice is valid for a day at most; one that says that nothing is needed until the next top-up is
expected, and for an hour at least.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from advisor import costs
from advisor.cautions import CHECK
from advisor.dose import (
    EVERYTHING,
    DosePlan,
    plan_charge,
    plan_top_up,
    target_tolerance,
    volume_tolerance,
)
from advisor.effects import Advice, AdviceKind, After, Batch, Mix, NextTopUp
from advisor.grounds import for_pouring, for_situation, trust
from advisor.limits import limits_for
from advisor.lookahead import next_top_up
from advisor.plan import SumpPlan
from advisor.situation import CHECKS, Situation, situation_of
from advisor.vessels import marks
from advisor.words import DAY, HOUR, Estimate, Instant, Quality, Signal, SumpState

LONGEST, SHORTEST = DAY, HOUR
"""Validity. [ms]"""

MATERIAL_SDS, MATERIAL_SPREAD = 0.5, 1.5
"""Sds by which, and factor in sd by which, a state has moved materially. [1]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What the solver last worked from, and the change [L], [1] that leaves its answer good."""

    volume: Estimate
    concentration: Estimate
    give_volume: float
    give_concentration: float
    stock: tuple[tuple[str, float], ...] = ()
    """Of the supplies, as it was known. [L]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class AdviceMemory:
    """What has been advised so far."""

    current: Advice | None = None
    situation: Situation | None = None
    """For which `current` holds."""
    basis: Basis | None = None
    """`None` where no solver was asked."""
    qualities: tuple[Quality, Quality] = (Quality.ABSENT, Quality.ABSENT)
    """Of level and Brix, as told."""
    reasons: tuple[str, ...] = ()
    """Of `current`, without those of trust."""
    count: int = 0
    """Of advices issued; the next id is one more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Proposal:
    """What would be advised now. [L]"""

    kind: AdviceKind
    mix: Mix | None = None
    batches: tuple[Batch, ...] | None = None
    drain: float = 0.0
    after: After | None = None
    reasons: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    basis: Basis | None = None


def reconsider(
    memory: AdviceMemory,
    state: SumpState,
    plan: SumpPlan,
    at: Instant,
    *,
    stock: Mapping[str, float] = EVERYTHING,
) -> tuple[AdviceMemory, Advice | None]:
    """Look at a sump again, and issue an advice where one is due.

    Parameters
    ----------
    memory : AdviceMemory
        From the last look.
    state : SumpState
        Volume [L], concentration [1], losses [L/d], qualities (staleness included).
    plan : SumpPlan
        Rules of the sump.
    at : Instant
        Now, on the clock of the data. [ms]
    stock : mapping
        What is left of each supply, by its id; one that is not named has no end. [L]

    Returns
    -------
    memory, advice
        The advice to be published, `None` where the last one stands. Its id is that of the last
        one where only the reasons changed.
    """
    current = memory.current
    stock = {supply.id: stock[supply.id] for supply in plan.supplies if supply.id in stock}
    situation = situation_of(state, plan, memory.situation)
    if current is None or at >= current.valid_until:
        proposal = _propose(situation, state, plan, stock)
        return _issue(memory, proposal, situation, state, plan, at)
    same = situation is memory.situation
    if same and not _moved(memory.basis, state, stock):
        if memory.qualities == _qualities(state):
            return memory, None
        return _tell_again(memory, current, state, plan)
    proposal = _propose(situation, state, plan, stock)
    if _differs(proposal, current, plan):
        return _issue(memory, proposal, situation, state, plan, at)
    memory = replace(memory, situation=situation, basis=proposal.basis)
    if same:
        return memory, None
    current = replace(current, cautions=proposal.cautions)
    return _tell_again(replace(memory, reasons=proposal.reasons), current, state, plan)


def _moved(basis: Basis | None, state: SumpState, stock: Mapping[str, float]) -> bool:
    """Whether volume, concentration or stock changed so much that the dose may change. [L], [1]"""
    volume, strength = state.volume, state.concentration
    if basis is None or volume is None or strength is None:
        return False
    return (
        basis.stock != tuple(sorted(stock.items()))
        or abs(volume.value - basis.volume.value) > basis.give_volume
        or abs(strength.value - basis.concentration.value) > basis.give_concentration
        or volume.sd > MATERIAL_SPREAD * basis.volume.sd
        or strength.sd > MATERIAL_SPREAD * basis.concentration.sd
    )


def _qualities(state: SumpState) -> tuple[Quality, Quality]:
    """Qualities of the two signals that the dose stands on; of no unit. [1]"""
    get = state.qualities.get
    return get(Signal.LEVEL, Quality.ABSENT), get(Signal.BRIX, Quality.ABSENT)


def _propose(
    situation: Situation, state: SumpState, plan: SumpPlan, stock: Mapping[str, float]
) -> _Proposal:
    """Work out what to advise. Volumes in [L]."""
    volume, strength = state.volume, state.concentration
    if situation in CHECKS:
        return _Proposal(
            kind="check", reasons=for_situation(situation, state, plan), cautions=CHECK
        )
    if situation is Situation.EMPTY:
        return _from_dose(plan_charge(plan, stock=stock), None, state, plan, situation)
    if situation is Situation.POUR and volume is not None and strength is not None:
        dose = plan_top_up(volume, strength, state.correlation, plan, stock=stock)
        basis = Basis(
            volume=volume,
            concentration=strength,
            give_volume=max(volume_tolerance(plan), MATERIAL_SDS * volume.sd),
            give_concentration=max(target_tolerance(plan), MATERIAL_SDS * strength.sd),
            stock=tuple(sorted(stock.items())),
        )
        return _from_dose(dose, basis, state, plan, situation)
    return _Proposal(kind="none", reasons=for_situation(situation, state, plan))


def _from_dose(
    dose: DosePlan, basis: Basis | None, state: SumpState, plan: SumpPlan, situation: Situation
) -> _Proposal:
    """Propose what a dose says, after what decided that there has to be one, and its cost. [L]"""
    why = for_pouring(situation, state, plan) + dose.why + _costs(dose, state, plan)
    if dose.kind == "none":
        return _Proposal(kind="none", reasons=why, basis=basis)
    return _Proposal(
        kind=dose.kind,
        mix=dose.mix,
        batches=dose.batches,
        drain=dose.drain,
        after=dose.after,
        reasons=why,
        cautions=dose.cautions,
        basis=basis,
    )


def _costs(dose: DosePlan, state: SumpState, plan: SumpPlan) -> tuple[str, ...]:
    """Say what a dose costs, and an exchange beside waiting. Volumes in [L]."""
    said = costs.for_dose(dose.mix, dose.drain, plan.fluid)
    volume, strength = state.volume, state.concentration
    if dose.kind == "exchange" and dose.mix is not None and volume is not None:
        if strength is None:
            return said
        wait = costs.waiting(volume, strength, state.losses, plan.fluid)
        return said + costs.for_exchange(dose.mix, dose.drain, wait, plan.fluid)
    if dose.exchange is None:
        return said
    drain, mix = dose.exchange
    after = dose.after
    wait = costs.waiting(after.volume, after.concentration, state.losses, plan.fluid)
    return said + costs.for_exchange(mix, drain, wait, plan.fluid)


def _differs(proposal: _Proposal, current: Advice, plan: SumpPlan) -> bool:
    """Whether kind, mix or drain changed by more than one graduation [L]."""
    if proposal.kind != current.kind:
        return True
    if proposal.mix is None or current.mix is None:
        return proposal.mix is not current.mix
    coarse, fine = marks(plan)
    return (
        abs(proposal.mix.water - current.mix.water) > coarse + 1e-9
        or abs(proposal.mix.concentrate - current.mix.concentrate) > fine + 1e-9
        or abs(proposal.drain - current.drain) > max(coarse, 1.0) + 1e-9
    )


def _issue(
    memory: AdviceMemory,
    proposal: _Proposal,
    situation: Situation,
    state: SumpState,
    plan: SumpPlan,
    at: Instant,
) -> tuple[AdviceMemory, Advice]:
    """Make an advice of a proposal, with a new id. Volumes in [L]."""
    due = _next(proposal, state, plan, at)
    advice = Advice(
        id=f"a-{memory.count + 1:06d}",
        sump=plan.id,
        issued_at=at,
        valid_until=_valid_until(proposal.kind, due, at),
        kind=proposal.kind,
        mix=proposal.mix,
        batches=proposal.batches,
        drain=proposal.drain,
        after=proposal.after,
        limits=limits_for(plan, state),
        next=due,
        why=proposal.reasons + trust(state, plan),
        cautions=proposal.cautions,
    )
    memory = AdviceMemory(
        current=advice,
        situation=situation,
        basis=proposal.basis,
        qualities=_qualities(state),
        reasons=proposal.reasons,
        count=memory.count + 1,
    )
    return memory, advice


def _tell_again(
    memory: AdviceMemory, current: Advice, state: SumpState, plan: SumpPlan
) -> tuple[AdviceMemory, Advice]:
    """Tell the same advice with new reasons; its volumes [L] stand."""
    advice = replace(current, why=memory.reasons + trust(state, plan))
    return replace(memory, current=advice, qualities=_qualities(state)), advice


def _next(proposal: _Proposal, state: SumpState, plan: SumpPlan, at: Instant) -> NextTopUp | None:
    """Foresee the next top-up, from after this one or from now. Volumes in [L]."""
    after = proposal.after
    if after is None and state.volume is not None and state.concentration is not None:
        after = After(volume=state.volume, concentration=state.concentration)
    if after is None or proposal.kind == "check":
        return None
    return next_top_up(after, state.losses, plan, at, correlation=state.correlation)


def _valid_until(kind: AdviceKind, due: NextTopUp | None, at: Instant) -> Instant:
    """Moment at which the advice expires. [ms]"""
    if kind != "none" or due is None:
        return at + LONGEST
    return min(max(due.at, at + SHORTEST), at + LONGEST)
