"""One sump's judgement: from what is known to what should be told, advised and alarmed.

`judge` runs at the tip of the evidence only, at whole minutes of data time, on events and by a
timer; the past is the belief's business (`advisor.estimate`) and may be folded again at any time.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

from advisor import alarms
from advisor.advice import AdviceMemory, reconsider
from advisor.alarm_definitions import definition
from advisor.alarms import AlarmBoard, Outage, Surroundings
from advisor.condition import EMPTY, Condition
from advisor.condition_findings import condition_changes, condition_findings
from advisor.effects import Effect, PublishAdvice, PublishAlarm, PublishEvent, PublishState
from advisor.plan import SumpPlan
from advisor.sump_findings import PATIENCE, advice_open
from advisor.words import (
    DAY,
    AlarmOrder,
    Estimate,
    Finding,
    Instant,
    Quality,
    Signal,
    SumpEvent,
    SumpState,
)

SCHEMA = 1
"""Version of `Standing`."""


class Occasion(Enum):
    """Why the sump is judged."""

    MINUTE = "a whole minute of data time has passed"
    EVENT = "somebody reported something, or an event was found"
    TIMER = "time has passed without data"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What has been told about a sump so far: memory of the judgement, nothing of the balance."""

    advice: AdviceMemory = field(default_factory=AdviceMemory)
    board: AlarmBoard = field(default_factory=AlarmBoard)
    events: tuple[SumpEvent, ...] = ()
    """As last told, oldest first."""
    stale: tuple[Signal, ...] = ()
    """As last told."""
    wake: Instant | None = None
    """Clock from which a look without data can tell something new; `None`: never. [ms]"""
    condition: Condition = EMPTY
    """What is remembered of the fluid's condition; the caller notes the evidence."""
    advised_since: Instant | None = None
    """When what is advised was first advised, or last partly done; `None`: nothing is. [ms]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """What bears on a sump from outside its own evidence."""

    findings: tuple[Finding, ...] = ()
    """Found at this moment, such as a wrong concentrate in a report; told once."""
    outage: Outage | None = None


NOTHING_OUTSIDE = Outside()


def judge(
    standing: Standing,
    state: SumpState,
    plan: SumpPlan,
    *,
    now: Instant,
    occasion: Occasion,
    outside: Outside = NOTHING_OUTSIDE,
) -> tuple[Standing, tuple[Effect, ...]]:
    """Decide what is to be told at this moment.

    Parameters
    ----------
    standing : Standing
        What has been told so far.
    state : SumpState
        What is known, at a moment of data time; its qualities leave staleness to this function.
    plan : SumpPlan
        What is told about the sump.
    now : Instant
        The clock: staleness is judged by it, everything else by the time of the data. [ms]
    occasion : Occasion
        A timer tells the state only where a signal went stale or came back.
    outside : Outside
        What else is known at this moment.

    Returns
    -------
    standing, effects
        The new memory, and what is to be published, in that order.
    """
    stale = tuple(sorted(alarms.stale_signals(state, plan, now)))
    if stale:
        state = replace(state, qualities=with_stale(state.qualities, stale))
    effects: list[Effect] = []
    events, news = event_news(standing.events, state.events, state.events_since)
    effects.extend(PublishEvent(event) for event in news)
    if occasion is not Occasion.TIMER or stale != standing.stale:
        effects.append(PublishState(state))
    memory, new_advice = reconsider(standing.advice, state, plan, max(state.at, now))
    if new_advice is not None:
        effects.append(PublishAdvice(new_advice))
    condition = standing.condition
    if condition.since is None:
        condition = replace(condition, since=state.at)
    after = Standing(
        advice=memory,
        board=standing.board,
        events=events,
        stale=stale,
        condition=condition,
        advised_since=_advised_since(standing, memory, news),
    )
    around = _around(after, state, plan, now, outside)
    board, reports = alarms.assess(standing.board, state, plan, at=state.at, now=now, around=around)
    effects.extend(PublishAlarm(report) for report in reports)
    wake = _wake(after, board, state, plan, now)
    return replace(after, board=board, wake=wake), tuple(effects)


def _around(
    standing: Standing, state: SumpState, plan: SumpPlan, now: Instant, outside: Outside
) -> Surroundings | None:
    """What bears on the alarms beside the state; `None` where nothing does."""
    found = outside.findings + condition_findings(standing.condition, plan, now)
    if outside.outage is not None:
        # Nobody knows what the pumps do meanwhile.
        found = tuple(finding for finding in found if finding.name != "stagnant")
    waiting = _waiting(standing, state, plan, now)
    if waiting is not None:
        found = (*found, waiting)
    if not found and outside.outage is None:
        return None
    return Surroundings(findings=found, outage=outside.outage)


def _advised_since(
    standing: Standing, memory: AdviceMemory, news: Sequence[SumpEvent]
) -> Instant | None:
    """From when on an advice is waiting to be carried out; a part of it begins anew. [ms]"""
    current = memory.current
    if current is None or current.kind == "none":
        return None
    before, since = standing.advice.current, standing.advised_since
    if since is None or before is None or before.kind != current.kind:
        since = current.issued_at
    return max([since, *(event.at for event in news if event.kind != "withdrawn")])


def _patience(plan: SumpPlan) -> Instant:
    """How long an advice may stay open. [ms]"""
    days = definition(plan.alarms, "advice-open").limit
    return PATIENCE if days is None else round(days * DAY)


def _waiting(standing: Standing, state: SumpState, plan: SumpPlan, now: Instant) -> Finding | None:
    """An advice that nobody carries out; while the pumps stand it does not become one."""
    since, advice = standing.advised_since, standing.advice.current
    if since is None or advice is None or now - since <= _patience(plan):
        return None
    told = any(a.name == "advice-open" and a.active for a in standing.board.alarms)
    if state.running is False and not told:
        return None
    return advice_open(advice, since, now, limit=_patience(plan))


def _wake(
    standing: Standing, board: AlarmBoard, state: SumpState, plan: SumpPlan, now: Instant
) -> Instant | None:
    """When time alone changes something: an alarm, an advice that expires, a signal's silence."""
    if board.alarms:
        return now
    times = [
        heard + alarms.stale_after(plan.signals[signal], state.intervals)
        for signal, heard in state.last_seen.items()
        if signal in plan.signals and signal is not Signal.RUNNING
    ]
    if standing.advice.current is not None:
        times.append(standing.advice.current.valid_until)
    if standing.advised_since is not None:
        times.append(standing.advised_since + _patience(plan) + 1)
    times.extend(condition_changes(standing.condition, plan))
    return min((at for at in times if at >= now), default=None)


def obey(
    standing: Standing, order: AlarmOrder, plan: SumpPlan, *, at: Instant
) -> tuple[Standing, tuple[Effect, ...], str | None]:
    """Carry out a person's command on an alarm.

    Returns
    -------
    standing, effects, refusal
        `refusal` says why the command does not apply, where it does not.
    """
    board, reports, refusal = alarms.command(standing.board, order, plan, at=at)
    return replace(standing, board=board), tuple(map(PublishAlarm, reports)), refusal


def with_stale(
    qualities: Mapping[Signal, Quality], stale: Sequence[Signal]
) -> dict[Signal, Quality]:
    """Qualities in which the signals of `stale` are stale, whatever they were."""
    return {**qualities, **dict.fromkeys(stale, Quality.STALE)}


def event_news(
    told: Sequence[SumpEvent], events: Sequence[SumpEvent], since: Instant
) -> tuple[tuple[SumpEvent, ...], tuple[SumpEvent, ...]]:
    """Which events must be told, having told some before.

    An event is told again when its account became materially better, and withdrawn when it is
    gone from a record that is complete from `since` on.

    Returns
    -------
    told, news
        The events as told once `news` has been published, and `news` itself, oldest first.
    """
    if told == events:
        return tuple(told), ()
    before = {event.id: event for event in told}
    news = [e for e in events if e.id not in before or materially_other(before[e.id], e)]
    present = {event.id for event in events}
    gone = [
        replace(event, kind="withdrawn", volume=None, strength=None)
        for event in told
        if event.id not in present and event.at >= since
    ]
    fresh = {event.id: event for event in news}
    now_told = tuple(fresh.get(event.id, before.get(event.id, event)) for event in events)
    return now_told, tuple(sorted([*gone, *news], key=lambda event: (event.at, event.id)))


def materially_other(old: SumpEvent, new: SumpEvent) -> bool:
    """Whether the account of one event changed by more than a quarter of its sd, or got surer."""
    return (
        (old.kind, old.source) != (new.kind, new.source)
        or old.at != new.at
        or _moved(old.volume, new.volume)
        or _moved(old.strength, new.strength)
    )


def _moved(old: Estimate | None, new: Estimate | None) -> bool:
    """Whether an estimate appeared, vanished, moved or became surer by a third."""
    if old is None or new is None:
        return old is not new
    return abs(new.value - old.value) > 0.25 * old.sd or not 0.67 * old.sd <= new.sd <= 1.5 * old.sd
