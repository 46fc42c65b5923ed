"""The estimator: a pure fold over one sump's evidence, and what it tells of any moment.

`absorb` takes evidence in the order of its own time and gives a new belief; the old one stays
good, so that whoever keeps it can fold again when something late arrives. A report that a later
one replaces is left out by whoever folds.
"""

from collections.abc import Sequence
from typing import assert_never

from advisor.additions import take_addition, take_delivery, take_drain
from advisor.beginning import begin
from advisor.belief import SCHEMA, Belief
from advisor.charge import take_charge
from advisor.checks import take_check, take_service
from advisor.intake import take_reading
from advisor.plan import SumpPlan
from advisor.stretch import take_stretch
from advisor.telling import state_at
from advisor.words import Addition, Charge, Check, Delivery, Drain, Evidence, Reading, Service

__all__ = ["SCHEMA", "Belief", "absorb", "absorb_all", "begin", "state_at"]

FEW = 3
"""So few pieces of evidence are sooner taken in one by one. [1]"""


def absorb_all(belief: Belief, evidence: Sequence[Evidence], plan: SumpPlan) -> Belief:
    """Take in evidence piece by piece, in the order given; readings that fit in one pass."""
    place, count = 0, len(evidence)
    while place < count:
        if count - place >= FEW:
            belief, place = take_stretch(belief, evidence, place, plan)
        if place < count:
            belief = absorb(belief, evidence[place], plan)
            place += 1
    return belief


def absorb(belief: Belief, evidence: Evidence, plan: SumpPlan) -> Belief:
    """Take in one piece of evidence.

    Parameters
    ----------
    belief : Belief
        What is known so far; it stays as it is.
    evidence : Evidence
        Not older than the belief's newest, in internal units. [L], [mm], [°Brix], [°C], [1]
    plan : SumpPlan
        What is told about the sump.

    Returns
    -------
    Belief
        What is known with it.
    """
    match evidence:
        case Reading():
            after = take_reading(belief, evidence, plan)
        case Addition():
            after = take_addition(belief, evidence, plan)
        case Drain():
            after = take_drain(belief, evidence, plan)
        case Charge():
            after = take_charge(belief, evidence, plan)
        case Check():
            after = take_check(belief, evidence, plan)
        case Delivery():
            after = take_delivery(belief, evidence, plan)
        case Service():
            after = take_service(belief, evidence, plan)
        case _:
            assert_never(evidence)
    return after
