"""What is told to whom now: a pure function of the alarms that stand, and of the clock.

At most one message a minute and target, however many alarms it tells: so nothing floods.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Literal, TypeAlias
from zoneinfo import ZoneInfo

from advisor.effects import AlarmReport, AlarmState
from advisor.words import HOUR, MINUTE, Instant, Priority
from agent.alarms.roll import Key
from agent.alarms.rules import Rule
from agent.alarms.telling import Message, message_of
from agent.messages.names import sump_in

ASKING = (AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED)
"""States in which somebody is wanted."""

ENDED = (AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)

HIGH_GAP: Instant = 5 * MINUTE
"""Beyond the most per hour, something of high priority still goes out, so far apart. [ms]"""


Stage: TypeAlias = Literal["asking", "told", "acknowledged", "over"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a target knows of one alarm."""

    raised_at: Instant | None
    since: Instant
    """From when on it has asked for somebody, by the clock. [ms]"""
    priority: Priority
    stage: Stage = "asking"
    announced: bool = False
    """Something was told of this occurrence, so that its end is of interest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """What one target has been told."""

    seen: Mapping[str, Seen] = field(default_factory=dict)
    """By what the alarm is about and its name, joined by a space."""
    sent: tuple[Instant, ...] = ()
    """Times of the messages of the last hour, by the clock. [ms]"""
    digest_on: str | None = None
    """Local date of the last digest; empty: none yet, `None`: the target is new."""


def decide(
    memory: Memory, standing: Mapping[Key, AlarmReport], rule: Rule, now: Instant, zone: ZoneInfo
) -> tuple[Memory, Message | None]:
    """Decide what a target is told at this moment.

    Parameters
    ----------
    memory : Memory
        What it was told before.
    standing : mapping
        Every alarm that is not normal, as it was last told on the broker.
    rule : Rule
        What the target wants to be told.
    now : Instant
        The clock. [ms]
    zone : ZoneInfo
        Of the plant: hours and digests are local.

    Returns
    -------
    memory, message
        What it knows from now on, and what it is told, if anything.
    """
    local = datetime.fromtimestamp(now / 1000, UTC).astimezone(zone)
    seen = dict(_looked(memory, standing, rule, now))
    sent = tuple(at for at in memory.sent if at > now - HOUR)
    digest_on, is_digest = _digest(memory, rule, local)
    ready = [
        key
        for key, alarm in seen.items()
        if _is_due(alarm, rule, now) and _is_allowed(alarm.priority, rule, local, is_digest)
    ]
    memory = Memory(seen=seen, sent=sent, digest_on=memory.digest_on)
    if not _has_room(sent, [seen[key] for key in ready], rule, now):
        return memory, None
    memory = replace(memory, digest_on=digest_on)
    if not ready:
        return memory, None
    asking = [key for key in ready if seen[key].stage == "asking"]
    over = [key for key in ready if seen[key].stage == "over"]
    told = {key: replace(seen[key], stage="told", announced=True) for key in asking}
    kept = {key: alarm for key, alarm in (seen | told).items() if key not in over}
    message = message_of(_reports(standing, asking), over, standing, rule, zone)
    return replace(memory, seen=kept, sent=(*sent, now)), message


def _name(key: Key) -> str:
    """Name under which an alarm is remembered."""
    return f"{key[0]} {key[1]}"


def _reports(
    standing: Mapping[Key, AlarmReport], names: Sequence[str]
) -> list[tuple[str, AlarmReport]]:
    """What each alarm is about, and how it stands."""
    by_name = {_name(key): (key[0], report) for key, report in standing.items()}
    return [by_name[name] for name in names]


def _looked(
    memory: Memory, standing: Mapping[Key, AlarmReport], rule: Rule, now: Instant
) -> Iterator[tuple[str, Seen]]:
    """What the target knows, brought up to how things stand."""
    there = set()
    for key, report in standing.items():
        if _concerns(rule, key[0], report.priority):
            name = _name(key)
            there.add(name)
            alarm = _followed(memory.seen.get(name), report, rule, now)
            if alarm is not None:
                yield name, alarm
    for name, alarm in memory.seen.items():
        ended = None if name in there else _ended(alarm, rule)
        if ended is not None:
            yield name, ended


def _concerns(rule: Rule, about: str, priority: Priority) -> bool:
    """Whether the target is to hear of such an alarm at all."""
    sump = sump_in(about)
    mine = rule.sumps is None or sump is None or sump in rule.sumps
    return mine and rule.ways[priority] != "never"


def _ended(alarm: Seen | None, rule: Rule) -> Seen | None:
    """What is left of an alarm that is over: something to tell, where its beginning was told."""
    if alarm is None or not (alarm.announced and rule.returned):
        return None
    return replace(alarm, stage="over")


def _followed(before: Seen | None, report: AlarmReport, rule: Rule, now: Instant) -> Seen | None:
    """What is known of an alarm that stands; `None`: nothing that need be remembered."""
    if report.state in ENDED:
        return _ended(before, rule)
    same = before if before is not None and before.raised_at == report.raised_at else None
    if report.state in ASKING:
        if same is not None and same.stage in ("asking", "told"):
            return same
        return Seen(
            raised_at=report.raised_at,
            since=now,
            priority=report.priority,
            announced=same is not None and same.announced,
        )
    if same is None or not same.announced:
        return None
    if report.state is AlarmState.ACKNOWLEDGED:
        return replace(same, stage="acknowledged")
    return same


def _is_due(alarm: Seen, rule: Rule, now: Instant) -> bool:
    """Whether something is to be told of an alarm, as far as its own stage goes."""
    if alarm.stage == "asking":
        return now - alarm.since >= rule.after
    return alarm.stage == "over"


def _is_allowed(priority: Priority, rule: Rule, local: datetime, is_digest: bool) -> bool:  # noqa: FBT001  what the day says
    """Whether the target may be told now."""
    match rule.ways[priority]:
        case "always":
            return True
        case "hours":
            return _is_within(rule, local)
        case "digest":
            return is_digest
        case _:
            return False


def _is_within(rule: Rule, local: datetime) -> bool:
    """Whether a local moment is within the hours; those across midnight belong to their evening."""
    begin, end = rule.hours
    minute, day = _minute(local), local.weekday()
    if begin < end:
        return begin <= minute < end and day in rule.days
    return (minute >= begin and day in rule.days) or (minute < end and (day - 1) % 7 in rule.days)


def _minute(local: datetime) -> int:
    """Minutes since local midnight."""
    return 60 * local.hour + local.minute


def _digest(memory: Memory, rule: Rule, local: datetime) -> tuple[str | None, bool]:
    """Date of the last digest once this moment is over, and whether it is time for one.

    A target that is new today has its first one tomorrow, if today's time is over.
    """
    today = local.date().isoformat()
    is_time = _minute(local) >= rule.digest_at and local.weekday() in rule.days
    if memory.digest_on is None:
        return today if is_time else "", False
    if not is_time or memory.digest_on == today:
        return memory.digest_on, False
    return today, True


def _has_room(sent: Sequence[Instant], ready: Sequence[Seen], rule: Rule, now: Instant) -> bool:
    """Whether another message is not too many."""
    if len(sent) < rule.most_per_hour:
        return True
    urgent = any(alarm.priority == "high" and alarm.stage == "asking" for alarm in ready)
    return urgent and now - sent[-1] >= HIGH_GAP
