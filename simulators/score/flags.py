"""Sensor faults: which of them the agent flagged, how soon, and what it flagged without cause.

A signal is flagged while a state calls it suspect, bad or stale, or an alarm says that the sensor
is at fault. A fault counts from the first reading that lies more than four posterior sd's (the
yardstick's, noise of the reading included) from what would have been read; one that never does
counts for nothing. Silence counts once it has lasted as long as makes a signal stale.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from simulators.instants import DAY, HOUR, MINUTE, SECOND, Calendar
from simulators.score.published import Published
from simulators.score.told import Blemish, Witness

SIGNALS = ("level", "brix")
"""Signals whose faults are scored."""
FLAGGED = {"suspect", "bad", "stale"}
LASTING = 15 * MINUTE
"""A fault that is shorter after it shows is a spike."""
_SHOWS = 4.0
_GRACE = 30 * MINUTE
"""A flag may come so long after a fault's end, for what is judged looking back."""
_EARNED = 6 * HOUR
"""After a fault's end a signal may stay flagged so long before that is false."""
_AT_ONCE = 10 * MINUTE
"""A flag that comes so soon after a spoilt reading, and goes within `_GRACE`, is due to it."""
_STALE_INTERVALS = 10.0
_SCORED = {"spike", "stuck", "step", "drift", "unit", "noise", "zero", "dropout"}


@dataclass(frozen=True, slots=True)
class FaultFound:
    """One true fault that showed."""

    blemish: Blemish
    shows: int
    """First moment at which it was to be seen. [ms]"""
    flagged: bool
    delay: float | None
    """From there to the flag. [min]"""

    @property
    def lasting(self) -> bool:
        """Whether there was time to find it."""
        return self.blemish.end - self.shows >= LASTING


@dataclass(frozen=True, slots=True)
class Flags:
    """All that is to be said about one sump's faults."""

    faults: list[FaultFound]
    false: list[tuple[str, int, int]]
    """Signal, beginning and end of each flag without a cause. [ms]"""


Episode = tuple[int, int]
"""A time in which a signal was flagged. [ms]"""


def judge_flags(
    witness: Witness, published: Published, effects: Sequence[tuple[str, int, float]]
) -> Flags:
    """Set the flags of one sump against its true faults."""
    faults: list[FaultFound] = []
    false: list[tuple[str, int, int]] = []
    for signal in SIGNALS:
        if getattr(witness.spec.signals, signal) is None:
            continue
        episodes = _episodes(published, signal, witness.end)
        own = [b for b in witness.blemishes if b.signal == signal]
        for blemish in own:
            shows = _shows(witness, blemish, effects)
            if blemish.kind in _SCORED and shows is not None:
                faults.append(_judge(blemish, shows, episodes))
        causes = [(b.begin, b.end) for b in own] + _other_causes(witness)
        spoilt = [sight.at for sight in witness.sights if signal in sight.spoilt]
        false += [
            (signal, *episode)
            for episode in episodes
            if not (_has_cause(episode, causes) or _follows(episode, spoilt))
        ]
    return Flags(faults, false)


def _episodes(published: Published, signal: str, end: int) -> list[Episode]:
    """Times in which a signal was flagged, each as long as possible."""
    marks = [(s.clock, s.signals.get(signal) in FLAGGED) for s in published.states]
    alarms = [(a.clock, a.active) for a in published.alarms if a.signal == signal]
    return _merged([*_runs(marks, end), *_runs(alarms, end)])


def _runs(marks: Iterable[tuple[int, bool]], end: int) -> list[Episode]:
    """Times between a flag and its end."""
    found: list[Episode] = []
    since: int | None = None
    for at, flagged in sorted(marks):
        if flagged and since is None:
            since = at
        elif not flagged and since is not None:
            found.append((since, at))
            since = None
    return [*found, (since, end)] if since is not None else found


def _merged(episodes: list[Episode]) -> list[Episode]:
    """Overlapping times made one."""
    merged: list[Episode] = []
    for begin, end in sorted(episodes):
        if merged and begin <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((begin, end))
    return merged


def _shows(
    witness: Witness, blemish: Blemish, effects: Sequence[tuple[str, int, float]]
) -> int | None:
    """First moment at which a fault is to be seen. [ms]"""
    if blemish.kind == "dropout":
        interval = getattr(witness.spec.signals, blemish.signal).interval_s * SECOND
        stale = blemish.begin + round(_STALE_INTERVALS * interval)
        return stale if stale < min(blemish.end, witness.end) else None
    interval = round(getattr(witness.spec.signals, blemish.signal).interval_s * SECOND)
    place = bisect_left(effects, blemish.begin, key=lambda effect: effect[1])
    for signal, at, size in effects[place:]:
        if at > max(blemish.end, blemish.begin + interval):
            return None
        if signal == blemish.signal and size > _SHOWS:
            return at
    return None


def _judge(blemish: Blemish, shows: int, episodes: Sequence[Episode]) -> FaultFound:
    """Whether a fault was flagged, from when it showed to a while after its end."""
    for begin, end in episodes:
        if end > shows and begin <= blemish.end + _GRACE:
            return FaultFound(blemish, shows, flagged=True, delay=max(begin - shows, 0) / MINUTE)
    return FaultFound(blemish, shows, flagged=False, delay=None)


def _other_causes(witness: Witness) -> list[Episode]:
    """Outages of the network, and change-outs with the sensors out of the tank."""
    calendar = Calendar(witness.scenario.begin, witness.scenario.zone)
    network = witness.spec.network or witness.scenario.network
    outages = [(calendar.moment(o.begin), calendar.moment(o.end)) for o in network.outage]
    out = [(e.at - 2 * HOUR, e.until + 2 * HOUR) for e in witness.happenings if e.kind == "charge"]
    return outages + out


def _has_cause(episode: Episode, causes: Sequence[Episode]) -> bool:
    """Whether a fault, or what follows from one, lies under a flag."""
    begin, end = episode
    return any(begin <= last + _EARNED and end >= first for first, last in causes)


def _follows(episode: Episode, spoilt: Sequence[int]) -> bool:
    """Whether a short flag comes of single readings that were spoilt, by a bubble as a rule."""
    begin, end = episode
    place = bisect_right(spoilt, begin) - 1
    short = end - begin <= _GRACE
    return short and place >= 0 and begin - spoilt[place] <= _AT_ONCE


def sump_days(witness: Witness) -> float:
    """Length of a run. [d]"""
    return (witness.end - witness.begin) / DAY
