"""The alarms of one sump: what stands, what each judgement changes, and what people order.

`assess` looks at all conditions and says what must be published; `command` carries out an order.
Both are pure: a board goes in, a board comes out, and nothing here knows what time it is.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Protocol

from advisor.alarm_causes import Outage, explain
from advisor.alarm_conditions import (
    Judgement,
    Verdict,
    from_finding,
    judgements,
    stale_after,
    stale_signals,
)
from advisor.alarm_definitions import DEFINITIONS, alarm_key, definition
from advisor.alarm_orders import carried_out
from advisor.alarm_progress import (
    Alarm,
    asked_again,
    designed,
    expired,
    face,
    progressed,
    shown_to_people,
)
from advisor.alarm_texts import Facts, text_for
from advisor.effects import AlarmReport, AlarmState
from advisor.plan import AlarmPlan, SumpPlan
from advisor.words import AlarmOrder, Finding, Instant, SumpState

__all__ = [
    "Alarm",
    "AlarmBoard",
    "Outage",
    "Surroundings",
    "Watched",
    "assess",
    "assess_findings",
    "command",
    "consequences",
    "stale_after",
    "stale_signals",
    "standing",
]


class Watched(Protocol):
    """What alarms are about: a sump, a supply or the plant."""

    @property
    def id(self) -> str:
        """Name in topics."""
        ...

    @property
    def name(self) -> str:
        """Name for people; may be empty."""
        ...

    @property
    def alarms(self) -> Mapping[str, AlarmPlan]:
        """What the plant wants otherwise."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmBoard:
    """All alarms of one sump that are worth remembering, in the order of their keys.

    Bounded: one entry at most for each alarm, or each alarm and signal.
    """

    alarms: tuple[Alarm, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What bears on a sump's alarms from outside its state."""

    findings: tuple[Finding, ...] = ()
    """What else was found, such as advice that is still open; named by alarm."""
    outage: Outage | None = None
    """What silences signals from outside: their alarms are suppressed and name it."""


# --- what the evidence changes --------------------------------------------------------------------


def assess(
    board: AlarmBoard,
    state: SumpState,
    plan: SumpPlan,
    *,
    at: Instant,
    now: Instant,
    around: Surroundings | None = None,
) -> tuple[AlarmBoard, tuple[AlarmReport, ...]]:
    """Judge every condition of a sump, and say what is to be told.

    Called at each whole minute of data time, and every minute of the clock where no data come.

    Parameters
    ----------
    board : AlarmBoard
        The alarms as they stood.
    state : SumpState
        What is known at `at`.
    plan : SumpPlan
        The sump.
    at : Instant
        Data time; the last there was, where no data come. Delays of most alarms run on it. [ms]
    now : Instant
        The clock: silence, shelving and what people are late with run on it. [ms]
    around : Surroundings or None
        What else is known that the state does not tell.

    Returns
    -------
    board, reports
        The alarms as they stand, and those that people see change.
    """
    told = {alarm.key: alarm for alarm in board.alarms}
    judged = judgements(state, plan, at=at, now=now, remembered=bool(told))
    findings = () if around is None else around.findings
    when = at if plan.signals else now
    held = _holding(judged, findings, at=when, now=now, told=told)
    if not told and not held:
        return board, ()
    alarms = _moved(told, held, plan, at=when, now=now)
    explained = explain(alarms, state, plan, None if around is None else around.outage)
    return _told(told, alarms, explained, plan, now)


def assess_findings(
    board: AlarmBoard, findings: Iterable[Finding], watched: Watched, *, now: Instant
) -> tuple[AlarmBoard, tuple[AlarmReport, ...]]:
    """Judge alarms of a supply or of the plant: all that holds is in `findings`.

    Parameters
    ----------
    board : AlarmBoard
        The alarms as they stood.
    findings : Iterable[Finding]
        Every condition that holds now.
    watched : Watched
        What they are about.
    now : Instant
        The clock. [ms]

    Returns
    -------
    board, reports
        As with `assess`.
    """
    told = {alarm.key: alarm for alarm in board.alarms}
    held = _holding((), findings, at=now, now=now, told=told)
    if not told and not held:
        return board, ()
    alarms = _moved(told, held, watched, at=now, now=now)
    explained: dict[str, tuple[str | None, bool]] = dict.fromkeys(alarms, (None, False))
    return _told(told, alarms, explained, watched, now)


def _holding(
    judged: Iterable[Judgement],
    findings: Iterable[Finding],
    *,
    at: Instant,
    now: Instant,
    told: Mapping[str, Alarm],
) -> dict[str, Judgement]:
    """Gather the judgements that matter: beyond a limit, or of an alarm that is remembered.

    Of several on one alarm the first that says beyond holds.
    """
    found = (from_finding(finding, at=at, now=now) for finding in findings)
    held: dict[str, Judgement] = {}
    for judgement in chain(judged, found):
        beyond = judgement.verdict is Verdict.BEYOND
        if not (beyond or told):
            continue
        key = alarm_key(judgement.name, judgement.signal)
        other = held.get(key)
        if beyond:
            if other is None or other.verdict is not Verdict.BEYOND:
                held[key] = judgement
        elif other is None and key in told:
            held[key] = judgement
    return held


def _moved(
    told: Mapping[str, Alarm],
    held: Mapping[str, Judgement],
    watched: Watched,
    *,
    at: Instant,
    now: Instant,
) -> dict[str, Alarm]:
    """Move every alarm on by its judgement, or by there being none; in the order of the keys."""
    alarms = {}
    for key in sorted({*told, *held}):
        judgement = held.get(key)
        alarm = told.get(key)
        if alarm is None:
            alarm = Alarm(name=held[key].name, signal=held[key].signal)
        rule = definition(watched.alarms, alarm.name, alarm.signal)
        if judgement is None or not rule.enabled:
            when = now if rule.clocked else at
            judgement = Judgement(alarm.name, alarm.signal, Verdict.WITHIN, when)
        alarms[key] = progressed(asked_again(expired(alarm, now), rule, now), judgement, rule, now)
    return alarms


def _told(
    told: Mapping[str, Alarm],
    alarms: Mapping[str, Alarm],
    explained: Mapping[str, tuple[str | None, bool]],
    watched: Watched,
    now: Instant,
) -> tuple[AlarmBoard, tuple[AlarmReport, ...]]:
    """Suppress what follows from something else, and report what people see change."""
    kept, reports = [], []
    for key, moved in alarms.items():
        root, suppress = explained[key]
        alarm = shown_to_people(designed(moved, because_of=root, suppress=suppress, now=now))
        if _is_news(told.get(key), alarm):
            reports.append(report(alarm, watched))
        if not alarm.is_pristine:
            kept.append(alarm)
    return AlarmBoard(alarms=tuple(kept)), tuple(reports)


def _is_news(before: Alarm | None, alarm: Alarm) -> bool:
    """Whether people see a change; an alarm that was not remembered was normal."""
    if before is None:
        return alarm.state is not AlarmState.NORMAL
    return face(before) != face(alarm)


# --- what people order ----------------------------------------------------------------------------


def command(
    board: AlarmBoard, order: AlarmOrder, plan: Watched, *, at: Instant
) -> tuple[AlarmBoard, tuple[AlarmReport, ...], str | None]:
    """Carry out a person's order.

    Parameters
    ----------
    board : AlarmBoard
        The alarms as they stand.
    order : AlarmOrder
        What is wanted. Without a signal it means the one alarm of that name that stands.
    plan : Watched
        The sump, supply or plant.
    at : Instant
        The clock. [ms]

    Returns
    -------
    board, reports, refusal
        The alarms as ordered and what people see change; or the same board, nothing, and why the
        order does not apply.
    """
    found = _ordered(board, order, plan)
    if isinstance(found, str):
        return board, (), found
    rule = definition(plan.alarms, found.name, found.signal)
    outcome = carried_out(found, order, rule, at)
    if isinstance(outcome, str):
        return board, (), outcome
    alarm = shown_to_people(outcome)
    others = [kept for kept in board.alarms if kept.key != alarm.key]
    kept = others if alarm.is_pristine else sorted([*others, alarm], key=lambda kept: kept.key)
    news = (report(alarm, plan),) if _is_news(found, alarm) else ()
    return AlarmBoard(alarms=tuple(kept)), news, None


def _ordered(board: AlarmBoard, order: AlarmOrder, plan: Watched) -> Alarm | str:
    """Find the alarm that an order is about; a normal one is made up."""
    named = [alarm for alarm in board.alarms if alarm.name == order.alarm]
    if order.alarm not in DEFINITIONS and not named:
        return f"there is no alarm {order.alarm!r}; there are {', '.join(DEFINITIONS)}"
    if not definition(plan.alarms, order.alarm, order.signal).enabled:
        return f"{alarm_key(order.alarm, order.signal)} is switched off in the plant file"
    exact = next((alarm for alarm in named if alarm.signal == order.signal), None)
    if exact is not None:
        return exact
    of_signal = order.alarm in DEFINITIONS and DEFINITIONS[order.alarm].of_signal
    if of_signal and order.signal is None:
        return _only(named, order.alarm)
    if not of_signal and order.signal is not None:
        return f"{order.alarm} is not about one signal, but the order names {order.signal}"
    return Alarm(name=order.alarm, signal=order.signal)


def _only(named: list[Alarm], name: str) -> Alarm | str:
    """Take the one that stands, where no signal is named."""
    standing_ones = [alarm for alarm in named if alarm.state is not AlarmState.NORMAL]
    if len(standing_ones) == 1:
        return standing_ones[0]
    which = ", ".join(str(alarm.signal) for alarm in standing_ones) or "none stands"
    return f"{name} is about one signal: say which ({which})"


# --- what stands ----------------------------------------------------------------------------------


def standing(board: AlarmBoard, watched: Watched) -> tuple[AlarmReport, ...]:
    """All alarms that are not normal, as they would be published now."""
    return tuple(
        report(alarm, watched) for alarm in board.alarms if alarm.state is not AlarmState.NORMAL
    )


def consequences(board: AlarmBoard, key: str) -> tuple[str, ...]:
    """Keys of the alarms that stand and follow from another, such as ``signal-stale/level``."""
    return tuple(
        alarm.key
        for alarm in board.alarms
        if alarm.because_of == key and alarm.state is not AlarmState.NORMAL
    )


def report(alarm: Alarm, watched: Watched) -> AlarmReport:
    """One alarm as it is published, its sentences filled in."""
    facts = Facts(
        subject=watched.name or watched.id,
        signal=alarm.signal,
        value=alarm.value,
        limit=alarm.limit,
        unit=alarm.unit,
        detail=alarm.detail,
    )
    text = text_for(alarm.name, facts)
    if alarm.raised_at is None:
        text = text._replace(cause=f"{facts.subject}: {alarm.key} has not been raised.")
    return AlarmReport(
        name=alarm.name,
        signal=alarm.signal,
        state=alarm.state,
        active=alarm.active,
        acknowledged=alarm.acknowledged,
        priority=definition(watched.alarms, alarm.name, alarm.signal).priority,
        raised_at=alarm.raised_at,
        value=alarm.value,
        limit=alarm.limit,
        unit=alarm.unit,
        cause=text.cause,
        consequence=text.consequence,
        action=text.action,
        because_of=alarm.because_of,
        by=alarm.by,
        until=alarm.until,
    )
