"""What a notification says: one alarm in full, several in short, the most urgent first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from advisor.alarm_definitions import alarm_key
from advisor.alarm_texts import duration
from advisor.effects import AlarmReport, AlarmState
from advisor.words import Priority
from agent.alarms.listing import PLANT, moment
from agent.alarms.roll import Key
from agent.alarms.rules import Rule

IN_FULL = 3
"""So many alarms are told with what to do about them; of more, only what is the matter. [1]"""
MOST = 20
"""So many alarms are told one by one. [1]"""

_RANK: Mapping[Priority, int] = {"high": 0, "medium": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Message:
    """What is sent to one target."""

    priority: Priority
    """Highest of the alarms in it."""
    title: str
    body: str


def message_of(
    asking: Sequence[tuple[str, AlarmReport]],
    over: Sequence[str],
    standing: Mapping[Key, AlarmReport],
    rule: Rule,
    zone: ZoneInfo,
) -> Message:
    """Write a message.

    Parameters
    ----------
    asking : sequence of (str, AlarmReport)
        Alarms that ask for somebody, and what each is about.
    over : sequence of str
        Alarms that are over, as they are named.
    standing : mapping
        Every alarm that stands: consequences are counted under their cause.
    rule : Rule
        Why it is told.
    zone : ZoneInfo
        Of the plant.
    """
    alarms = sorted(asking, key=lambda pair: (_RANK[pair[1].priority], pair[1].raised_at or 0))
    full = len(alarms) <= IN_FULL
    parts = [_part(about, a, standing, zone, full=full) for about, a in alarms[:MOST]]
    if len(alarms) > MOST:
        parts.append(f"... and {len(alarms) - MOST} more.")
    if rule.after and alarms:
        parts.insert(0, f"Nobody has acknowledged for {duration(rule.after / 1000)}:")
    parts += [f"Over: {_named(name)}" for name in over[:MOST]]
    if alarms:
        parts.append("Acknowledge on the page, or with: millpond alarms PLANT.toml acknowledge ...")
    priority: Priority = alarms[0][1].priority if alarms else "low"
    return Message(priority, _title(alarms, over), "\n\n".join(parts))


def _title(alarms: Sequence[tuple[str, AlarmReport]], over: Sequence[str]) -> str:
    """One line that says the worst."""
    if not alarms:
        return f"over: {_named(over[0])}" if len(over) == 1 else f"{len(over)} alarms over"
    about, worst = alarms[0]
    first = f"{worst.priority}: {about or PLANT} {alarm_key(worst.name, worst.signal)}"
    more = len(alarms) - 1
    return first if not more else f"{first} and {more} more"


def _named(name: str) -> str:
    """An alarm as a person reads it, from the name under which it is remembered."""
    about, _, key = name.partition(" ")
    return f"{about or PLANT} {key}"


def _part(
    about: str,
    alarm: AlarmReport,
    standing: Mapping[Key, AlarmReport],
    zone: ZoneInfo,
    *,
    full: bool,
) -> str:
    """What is said of one alarm."""
    key = alarm_key(alarm.name, alarm.signal)
    lines = [f"{alarm.priority}: {about or PLANT} {key}, since {moment(alarm.raised_at, zone)}"]
    lines.append(alarm.cause)
    if full:
        lines += [alarm.consequence, alarm.action]
    following = sum(
        other.because_of == key
        and other.state is AlarmState.SUPPRESSED
        and (not about or place == about)
        for (place, _), other in standing.items()
    )
    if following:
        lines.append(f"{following} more follow from it and are suppressed.")
    return "\n".join(lines)
