"""Automatic dosing by what the station says: its answers and its reports, in whatever order.

Whatever comes late, twice or never moves the desk by one of the functions here, and never opens a
setpoint.
"""

from dataclasses import replace
from typing import TypeAlias

from advisor.effects import Effect, Mix, PublishLease
from advisor.plan import SumpPlan
from advisor.station_desk import (
    CLOCK_OFF,
    SILENT,
    Dose,
    Outcome,
    Past,
    StationDesk,
    Step,
    accepted,
    behind,
    clock_trouble,
    closed,
    end_of,
    ending,
    is_old,
    longest,
    past_of,
    paused,
)
from advisor.sump_findings import DELIVERY_LEAST, DELIVERY_SHARE, delivery_differs
from advisor.words import Delivery, Instant, StationAnswer

Heard: TypeAlias = tuple[StationDesk, tuple[Effect, ...], str | None]


def hear(desk: StationDesk, said: StationAnswer | Delivery, plan: SumpPlan, now: Instant) -> Heard:
    """Take in what a station says.

    Parameters
    ----------
    desk : StationDesk
        What is remembered of the station.
    said : StationAnswer or Delivery
        Its answer to a setpoint, or its report: totals for one setpoint so far. [L]
    plan : SumpPlan
        The sump.
    now : Instant
        The clock. [ms]

    Returns
    -------
    desk, effects, refusal
        `refusal` says why it is of no use, where it is of none.
    """
    if isinstance(said, StationAnswer):
        return _hear_answer(desk, said, now)
    return (*_hear_delivery(desk, said, plan, now), None)


def _hear_answer(desk: StationDesk, answer: StationAnswer, now: Instant) -> Heard:
    """Take in a station's answer."""
    dose = desk.open
    if dose is not None and dose.setpoint.id == answer.setpoint:
        return (*_answered(desk, dose, answer, now), None)
    past = past_of(desk, answer.setpoint)
    if past is None:
        if is_old(desk, answer.setpoint):
            return desk, (), None
        return desk, (), f"setpoint {answer.setpoint!r} was never issued"
    if answer.accepted and past.outcome != "finished":
        detail = f"the station accepts setpoint {past.id}, which was closed ({past.outcome})."
        ended = PublishLease(past.id, now - behind(answer.at, now))
        return paused(desk, detail, now), (ended,), None
    return desk, (), None


def _answered(desk: StationDesk, dose: Dose, answer: StationAnswer, now: Instant) -> Step:
    """Take in an answer to the open setpoint."""
    ident, before = dose.setpoint.id, dose.stage
    dose = replace(dose, behind=behind(answer.at, now))
    if not answer.accepted:
        if before == "accepted":
            detail = f"the station refuses setpoint {ident}, which it had accepted: {answer.why}."
            return ending(paused(desk, detail, now), dose, now)
        poured = dose.water + dose.concentrate > 0.0
        after = closed(desk, dose, now, "lost" if poured else "refused")
        if before == "ending":
            return after, ()
        return paused(after, f"the station refuses setpoint {ident}: {answer.why}.", now), ()
    wrong = clock_trouble(dose.setpoint, answer.at, now, begins=True)
    if wrong and before != "ending":
        return ending(paused(desk, wrong, now), dose, now)
    if before == "ending":
        return replace(desk, open=dose), (end_of(dose, now),)
    return replace(desk, open=accepted(dose, now)), ()


def _hear_delivery(desk: StationDesk, delivery: Delivery, plan: SumpPlan, now: Instant) -> Step:
    """Take in a station's report: totals for one setpoint so far."""
    dose = desk.open
    if dose is not None and dose.setpoint.id == delivery.setpoint:
        return _delivered(desk, dose, delivery, plan, now)
    past = past_of(desk, delivery.setpoint)
    if past is not None:
        return _delivered_later(desk, past, delivery, now), ()
    by_hand = plan.station is None or not plan.station.automatic
    if by_hand or is_old(desk, delivery.setpoint):
        return desk, ()
    detail = f"the station reports setpoint {delivery.setpoint}, which was never issued."
    return paused(desk, detail, now), ()


def _delivered(
    desk: StationDesk, dose: Dose, delivery: Delivery, plan: SumpPlan, now: Instant
) -> Step:
    """Take in a report on the open setpoint. [L]"""
    before = dose.stage
    if before == "issued":
        dose = accepted(dose, now)
    dose = replace(
        dose,
        water=max(dose.water, delivery.water),
        concentrate=max(dose.concentrate, delivery.concentrate),
        behind=behind(delivery.at, now),
        deadline=dose.deadline if before == "ending" else now + SILENT,
        late_at=dose.late_at or now + SILENT + longest(dose.setpoint.mix, plan),
    )
    lapsed = delivery.finished and delivery.at >= dose.lease_until - CLOCK_OFF
    if before == "ending" or lapsed:
        detail = _too_much(dose)  # less than asked is what the end of a lease leads to
    else:
        clock = clock_trouble(dose.setpoint, delivery.at, now, begins=False)
        detail = _differs(dose, delivery) or clock
    if detail:
        desk = paused(desk, detail, now)
    if delivery.finished:
        return closed(desk, dose, now, "finished"), ()
    if detail and before != "ending":
        return ending(desk, dose, now)
    return replace(desk, open=dose), ()


def _differs(dose: Dose, delivery: Delivery) -> str:
    """Say how a delivery differs from what was asked; empty where it does not."""
    totals = replace(delivery, water=dose.water, concentrate=dose.concentrate)
    finding = delivery_differs(totals, dose.setpoint.mix)
    if finding is not None:
        return f"setpoint {dose.setpoint.id}: {finding.detail}"
    return _too_much(dose)


def _too_much(dose: Dose) -> str:
    """Say that more, or stronger, was poured than asked; empty where it was not. [L]"""
    totals = Delivery(
        at=0,
        setpoint=dose.setpoint.id,
        water=dose.water,
        concentrate=dose.concentrate,
        finished=False,
    )
    finding = delivery_differs(totals, dose.setpoint.mix)
    if finding is not None:
        return f"setpoint {dose.setpoint.id}: {finding.detail}"
    poured = Mix(dose.water, dose.concentrate)
    if poured.volume > 1.0 and poured.strength > dose.setpoint.max_strength:
        most = 100.0 * dose.setpoint.max_strength
        found = 100.0 * poured.strength
        return f"setpoint {dose.setpoint.id}: poured at {found:.1f} %, at most {most:.1f} % asked."
    return ""


def _delivered_later(
    desk: StationDesk, past: Past, delivery: Delivery, now: Instant
) -> StationDesk:
    """Take in a report on a setpoint that is closed; what is new in it counts from now. [L]"""
    water = max(past.water, delivery.water)
    concentrate = max(past.concentrate, delivery.concentrate)
    more = water + concentrate - past.water - past.concentrate
    if more <= 0.0 and not (past.outcome == "lost" and delivery.finished):
        return desk
    outcome: Outcome = "finished" if delivery.finished else past.outcome
    told = replace(past, water=water, concentrate=concentrate, outcome=outcome, at=now)
    rest = tuple(kept for kept in desk.past if kept.id != past.id)
    desk = replace(desk, past=(*rest, told))
    known = past.asked.volume if past.outcome == "lost" else past.water + past.concentrate
    if water + concentrate > known + max(DELIVERY_SHARE * known, DELIVERY_LEAST):
        detail = f"setpoint {past.id} was closed, and {more:.1f} L more have been poured for it."
        return paused(desk, detail, now)
    return desk
