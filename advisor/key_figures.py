"""Key figures of the alarms themselves: do they come at a rate that people can answer?

References
----------
.. [1] ANSI/ISA-18.2 and IEC 62682, monitoring and assessment: measures and targets (from memory;
   rates, floods and priorities also in "Alarm Management by the Numbers", chemengonline.com, whose
   beginning was seen).
.. [2] A training article on alarm management, for chattering (occurs and clears three or more
   times in a minute) and fleeting alarms (seen).
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from advisor.alarm_definitions import alarm_key
from advisor.effects import AlarmState
from advisor.words import DAY, MINUTE, Instant, Priority, Signal

PERIOD: Instant = 10 * MINUTE
"""Alarms are counted in regular periods of this length. [ms]"""
FLOOD_BEGINS = 10
"""A period with more alarms than this begins a flood. [1]"""
FLOOD_ENDS = 5
"""The first period with fewer alarms than this ends it. [1]"""
STALE_AFTER: Instant = DAY
"""An alarm that stands for longer is stale. [ms]"""
CHATTER_COUNT = 3
"""So many times raised and cleared within `CHATTER_TIME`. [1]"""
CHATTER_TIME: Instant = MINUTE

_SHOWN = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
_ENDED = (
    AlarmState.NORMAL,
    AlarmState.RETURNED_UNACKNOWLEDGED,
    AlarmState.LATCHED_UNACKNOWLEDGED,
    AlarmState.LATCHED_ACKNOWLEDGED,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """One line of the journal: an alarm came into a state."""

    at: Instant
    sump: str
    name: str
    signal: Signal | None
    state: AlarmState
    priority: Priority

    @property
    def key(self) -> str:
        """Sump and alarm, as in the topic."""
        return f"{self.sump}/{alarm_key(self.name, self.signal)}"


@dataclass(frozen=True, slots=True)
class Flood:
    """A time in which more alarms came than anybody answers."""

    begin: Instant
    end: Instant
    count: int


@dataclass(frozen=True, slots=True)
class Source:
    """An alarm and its part in the load."""

    key: str
    count: int
    share: float
    """Of all that were annunciated. [1]"""


@dataclass(frozen=True, slots=True)
class Standing:
    """An alarm that stands at the end, shown to people, and since when."""

    key: str
    since: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFigures:
    """The figures of a time span. Shares are fractions."""

    begin: Instant
    end: Instant
    annunciated: int
    """How often an alarm became unacknowledged. [1]"""
    per_day: float
    per_sump_and_day: float
    per_period: float
    """Mean in ten minutes. [1]"""
    peak: int
    """Most in any period of ten minutes. [1]"""
    busy_share: float
    """Of the periods with more than ten. [1]"""
    floods: tuple[Flood, ...]
    flood_share: float
    """Of the time. [1]"""
    top: tuple[Source, ...]
    """The ten most frequent."""
    top_share: float
    """Of the load, by those ten. [1]"""
    standing: tuple[Standing, ...]
    stale: tuple[Standing, ...]
    """Those that have stood for more than a day."""
    chattering: tuple[str, ...]
    fleeting: int
    """How often an alarm was gone within a minute, unanswered. [1]"""
    priorities: Mapping[Priority, float]
    """Share of each in the load. [1]"""


def key_figures(
    journal: Iterable[Transition], *, begin: Instant, end: Instant, sumps: int
) -> KeyFigures:
    """Work out the figures of a time span from the journal.

    Parameters
    ----------
    journal : Iterable[Transition]
        In order of time. What came before `begin` only says how things stood then.
    begin, end : Instant
        The span, `end` not included; at least a period of ten minutes is assumed. [ms]
    sumps : int
        How many sumps were watched. [1]

    Returns
    -------
    KeyFigures
        All figures; with no alarms they are zero.
    """
    end = max(end, begin + PERIOD)
    alarms: dict[str, list[Transition]] = defaultdict(list)
    for transition in journal:
        if transition.at < end:
            alarms[transition.key].append(transition)
    loud = sorted(
        (at for changes in alarms.values() for at in _annunciations(changes) if at.at >= begin),
        key=lambda transition: transition.at,
    )
    counts = _counts([transition.at for transition in loud], begin, end)
    floods = _floods(counts, begin, end)
    days = (end - begin) / DAY
    total = len(loud)
    top = tuple(
        Source(key, count, count / total)
        for key, count in sorted(
            Counter(transition.key for transition in loud).items(),
            key=lambda item: (-item[1], item[0]),
        )[:10]
    )
    standing = tuple(
        Standing(key, since)
        for key, changes in sorted(alarms.items())
        if (since := _shown_since(changes)) is not None
    )
    return KeyFigures(
        begin=begin,
        end=end,
        annunciated=total,
        per_day=total / days,
        per_sump_and_day=total / days / max(sumps, 1),
        per_period=total / len(counts),
        peak=max(counts),
        busy_share=sum(count > FLOOD_BEGINS for count in counts) / len(counts),
        floods=floods,
        flood_share=sum(flood.end - flood.begin for flood in floods) / (end - begin),
        top=top,
        top_share=sum(source.share for source in top),
        standing=standing,
        stale=tuple(alarm for alarm in standing if end - alarm.since > STALE_AFTER),
        chattering=tuple(
            key for key, changes in sorted(alarms.items()) if _chatters(changes, begin)
        ),
        fleeting=sum(_fleeting(changes, begin) for changes in alarms.values()),
        priorities=_shares(loud),
    )


def _annunciations(changes: Sequence[Transition]) -> list[Transition]:
    """Pick each change by which an alarm asked to be acknowledged while active."""
    before = AlarmState.NORMAL
    found = []
    for change in changes:
        if change.state is AlarmState.UNACKNOWLEDGED and before is not change.state:
            found.append(change)
        before = change.state
    return found


def _counts(times: Sequence[Instant], begin: Instant, end: Instant) -> list[int]:
    """Alarms in each period of ten minutes; a last shorter one counts as one. [1]"""
    counts = [0] * -(-(end - begin) // PERIOD)
    for at in times:
        counts[(at - begin) // PERIOD] += 1
    return counts


def _floods(counts: Sequence[int], begin: Instant, end: Instant) -> tuple[Flood, ...]:
    """Find the floods: from the first period above ten to the first below five."""
    floods: list[Flood] = []
    first: int | None = None
    for index, count in enumerate(counts):
        if first is None and count > FLOOD_BEGINS:
            first = index
        elif first is not None and count < FLOOD_ENDS:
            floods.append(_flood(counts, first, index, begin, end))
            first = None
    if first is not None:
        floods.append(_flood(counts, first, len(counts), begin, end))
    return tuple(floods)


def _flood(counts: Sequence[int], first: int, last: int, begin: Instant, end: Instant) -> Flood:
    """Sum up a flood over the periods from `first` up to `last`."""
    until = min(begin + last * PERIOD, end)
    return Flood(begin + first * PERIOD, until, sum(counts[first:last]))


def _shown_since(changes: Sequence[Transition]) -> Instant | None:
    """When an alarm that stands at the end began to stand, without a break. [ms]"""
    since: Instant | None = None
    for change in changes:
        if change.state not in _SHOWN:
            since = None
        elif since is None:
            since = change.at
    return since


def _episodes(changes: Sequence[Transition]) -> list[tuple[Instant, Instant]]:
    """Begin and end of each time in which an alarm stood and then cleared. [ms]"""
    episodes = []
    since: Instant | None = None
    for change in changes:
        if change.state in _SHOWN:
            since = change.at if since is None else since
            continue
        if since is not None and change.state in _ENDED:
            episodes.append((since, change.at))
        since = None
    return episodes


def _chatters(changes: Sequence[Transition], begin: Instant) -> bool:
    """Whether an alarm was raised and cleared three times within a minute."""
    episodes = [episode for episode in _episodes(changes) if episode[1] >= begin]
    return any(
        last[1] - first[0] <= CHATTER_TIME
        for first, last in zip(episodes, episodes[CHATTER_COUNT - 1 :], strict=False)
    )


def _fleeting(changes: Sequence[Transition], begin: Instant) -> int:
    """How often an alarm was gone within a minute, before anybody answered. [1]"""
    return sum(
        one.state is AlarmState.UNACKNOWLEDGED
        and other.state in _ENDED
        and other.at >= begin
        and other.at - one.at < MINUTE
        for one, other in pairwise(changes)
    )


def _shares(loud: Sequence[Transition]) -> dict[Priority, float]:
    """Share of each priority in the load. [1]"""
    counts = Counter(transition.priority for transition in loud)
    names: tuple[Priority, ...] = ("low", "medium", "high")
    return {name: counts[name] / max(len(loud), 1) for name in names}


@dataclass(frozen=True, slots=True)
class Measure:
    """One figure beside its target."""

    name: str
    value: float
    target: float
    unit: str

    @property
    def is_met(self) -> bool:
        """Whether the figure is no worse than its target."""
        return self.value <= self.target


def measures(figures: KeyFigures) -> tuple[Measure, ...]:
    """Set the figures beside the standard's targets for one operator; less is better throughout.

    References
    ----------
    About 150 alarms a day and 1 in 10 minutes, at most 10 in 10 minutes, under 1 % of the time in
    flood, the ten most frequent 5 % of the load at most, no chatter, fewer than 5 stale, 5 % of
    high and 15 % of medium priority: ANSI/ISA-18.2 and EEMUA 191 (from memory).
    """
    return (
        Measure("alarms a day", figures.per_day, 150.0, "1/d"),
        Measure("alarms in 10 minutes, mean", figures.per_period, 1.0, "1"),
        Measure("alarms in 10 minutes, most", float(figures.peak), 10.0, "1"),
        Measure("10 minutes with more than 10 alarms", 100.0 * figures.busy_share, 1.0, "%"),
        Measure("time in flood", 100.0 * figures.flood_share, 1.0, "%"),
        Measure("load of the ten most frequent", 100.0 * figures.top_share, 5.0, "%"),
        Measure("chattering alarms", float(len(figures.chattering)), 0.0, "1"),
        Measure("stale alarms", float(len(figures.stale)), 4.0, "1"),
        Measure("of high priority", 100.0 * figures.priorities["high"], 5.0, "%"),
        Measure("of medium priority", 100.0 * figures.priorities["medium"], 15.0, "%"),
    )
