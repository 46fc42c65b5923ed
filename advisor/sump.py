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
from advisor.condition_findings import NEVER, Care, looked_at, missed_from
from advisor.effects import (
    AlarmState,
    Effect,
    PublishAdvice,
    PublishAlarm,
    PublishEvent,
    PublishState,
)
from advisor.event_names import Names, as_told
from advisor.plan import SumpPlan
from advisor.setpoint import trouble
from advisor.station import Scene, step
from advisor.station_desk import ALARM as DIFFERS
from advisor.station_desk import StationDesk, Step, returned, told
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

UNSETTLED = frozenset(AlarmState) - {AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED}
"""States beneath which a condition stands, or waits for a reset."""


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
    names: Names = ()
    """Under which ids events were told that the estimator names otherwise."""
    stale: tuple[Signal, ...] = ()
    """As last told."""
    wake: Instant | None = None
    """Clock from which a look without data can tell something new; `None`: never. [ms]"""
    care: Care = field(default_factory=Care)
    """What is remembered of the fluid's condition; the caller notes the evidence in it."""
    advised_since: Instant | None = None
    """When what is advised was first advised, or last partly done; `None`: nothing is. [ms]"""
    station: StationDesk = field(default_factory=StationDesk)
    """What a station was asked to pour, and what came of it; the caller notes its messages."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """What bears on a sump from outside its own evidence."""

    findings: tuple[Finding, ...] = ()
    """Found at this moment, such as a wrong concentrate in a report; told once."""
    outage: Outage | None = None
    since: Instant | None = None
    """When the agent began to listen; `None`: nobody knows. [ms]"""
    stock: Mapping[str, float] = field(default_factory=dict)
    """What is left of each supply, by its id; those not named nobody counts. [L]"""


NOTHING_OUTSIDE = Outside()


def is_foreseen(
    standing: Standing,
    before: SumpState,
    state: SumpState,
    plan: SumpPlan,
    *,
    now: Instant,
    outside: Outside = NOTHING_OUTSIDE,
) -> bool:
    """Whether a whole minute brought nothing but what was predicted, so that `judge` can wait.

    No new evidence is in the estimate since `before`, when the sump was last judged, nothing is
    wrong or under way, and nothing falls due. The prediction runs for minutes only, until the next
    readings are taken into the filter.

    Parameters
    ----------
    standing : Standing
        What has been told so far.
    before, state : SumpState
        As the sump was last judged, and as it is now.
    plan : SumpPlan
        What is told about the sump.
    now : Instant
        The clock. [ms]
    outside : Outside
        What else is known at this moment.
    """
    wake, look, station = standing.wake, standing.care.look, plan.station
    return (
        state.settled == before.settled >= 0
        and (wake is None or max(state.at, now) < wake)
        and look is not None
        and now < look
        and not (standing.board.alarms or state.findings or outside.findings or standing.stale)
        and outside.outage is None
        and (station is None or not station.automatic)
        and standing.station.open is None
        and (state.running, state.charging) == (before.running, before.charging)
        and state.events == before.events
        and state.totals == before.totals
        and state.qualities == before.qualities
        and not (outside.stock and standing.advice.basis is not None)
        and not alarms.stale_signals(state, plan, now)
    )


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
    names, known = as_told(standing.names, standing.events, state.events)
    events, news = event_news(standing.events, known, state.events_since)
    if names:
        state = replace(state, events=known)
    effects.extend(PublishEvent(event) for event in news)
    if occasion is not Occasion.TIMER or stale != standing.stale:
        effects.append(PublishState(state))
    memory, new_advice = reconsider(
        standing.advice, state, plan, max(state.at, now), stock=outside.stock
    )
    if new_advice is not None:
        effects.append(PublishAdvice(new_advice))
    station, orders = _dosed(standing, state, plan, memory, now, outside.since)
    effects.extend(orders)
    care = looked_at(standing.care, plan, at=state.at, now=now)
    since = _advised_since(standing, memory, news)
    found = outside.findings + care.found + station.news
    if since is not None and now > missed_from(care.condition, since + _patience(plan)):
        found += _waiting(memory, since, standing.board, state, plan, now)
    around = _around(found, outside.outage)
    board, reports = alarms.assess(standing.board, state, plan, at=state.at, now=now, around=around)
    effects.extend(PublishAlarm(report) for report in reports)
    moments = (
        None if memory.current is None else memory.current.valid_until,
        None if since is None else since + _patience(plan) + 1,
        care.look,
        None if station.open is None else now,
    )
    after = Standing(
        advice=memory,
        board=board,
        events=events,
        names=names,
        stale=stale,
        wake=_wake(board, state, plan, now, moments),
        care=care,
        advised_since=since,
        station=told(station),
    )
    return after, tuple(effects)


def _dosed(
    standing: Standing,
    state: SumpState,
    plan: SumpPlan,
    memory: AdviceMemory,
    now: Instant,
    since: Instant | None,
) -> Step:
    """Go on with automatic dosing, where there is a station or a setpoint is open."""
    desk = standing.station
    if desk.open is None and (plan.station is None or not plan.station.automatic):
        return desk, ()
    stands = [alarm.name for alarm in standing.board.alarms if alarm.beneath in UNSETTLED]
    reason = trouble(state, plan, now, alarmed=stands)
    scene = Scene(
        state=state, advice=memory.current, plan=plan, now=now, since=since, trouble=reason
    )
    return step(desk, scene)


def _around(found: tuple[Finding, ...], outage: Outage | None) -> Surroundings | None:
    """What bears on the alarms beside the state; `None` where nothing does."""
    if outage is not None:
        # Nobody knows what the pumps do meanwhile.
        found = tuple(finding for finding in found if finding.name != "stagnant")
    elif not found:
        return None
    return Surroundings(findings=found, outage=outage)


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


def _waiting(
    memory: AdviceMemory,
    since: Instant,
    board: AlarmBoard,
    state: SumpState,
    plan: SumpPlan,
    now: Instant,
) -> tuple[Finding, ...]:
    """An advice that nobody carries out; while the pumps stand it does not become one."""
    told = any(alarm.name == "advice-open" and alarm.active for alarm in board.alarms)
    if memory.current is None or (state.running is False and not told):
        return ()
    found = advice_open(memory.current, since, now, limit=_patience(plan))
    return () if found is None else (found,)


def _wake(
    board: AlarmBoard,
    state: SumpState,
    plan: SumpPlan,
    now: Instant,
    moments: Sequence[Instant | None],
) -> Instant | None:
    """When time alone changes something: an alarm, a signal's silence, one of the moments. [ms]"""
    if board.alarms:
        return now
    times = [
        heard + alarms.stale_after(plan.signals[signal], state.intervals)
        for signal, heard in state.last_seen.items()
        if signal in plan.signals and signal is not Signal.RUNNING
    ]
    times += [moment for moment in moments if moment is not None and moment < NEVER]
    return min([at for at in times if at >= now], default=None)


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
    station = standing.station
    stands = any(alarm.name == DIFFERS and alarm.active for alarm in board.alarms)
    if order.alarm == DIFFERS and order.verb == "reset" and station.paused and not stands:
        # Also where the alarm itself does not latch, or is switched off in the plant file.
        station, refusal = returned(station), None
    standing = replace(standing, board=board, station=station)
    return standing, tuple(map(PublishAlarm, reports)), refusal


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
