"""Which alarm follows from which, and which of them need not be shown: one cause, one alarm."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

from advisor.alarm_conditions import stale_after
from advisor.alarm_definitions import alarm_key, default
from advisor.alarm_progress import Alarm
from advisor.plan import SumpPlan
from advisor.words import Instant, Signal, SumpState


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """Something outside the sump that silences its signals, such as a broker that is gone."""

    alarm: str
    """The alarm that tells of it, such as ``feed-lost``."""
    since: Instant
    """When the last was heard. [ms]"""


class Cause(NamedTuple):
    """A possible cause of an alarm."""

    name: str
    signal: Signal | None = None
    same_signal: bool = False
    """The signal of the alarm that follows."""
    suppresses: bool = False
    """What follows needs no action of its own: it is suppressed."""


_LEVEL_LOST = (Cause("signal-stale", Signal.LEVEL), Cause("sensor-fault", Signal.LEVEL))

CAUSES: Mapping[str, tuple[Cause, ...]] = MappingProxyType(
    {
        "level-low": (*_LEVEL_LOST, Cause("mix-loss-high"), Cause("water-loss-high")),
        "level-high": (*_LEVEL_LOST, Cause("water-gain")),
        "concentration-low": (
            Cause("wrong-concentrate"),
            Cause("water-gain"),
            Cause("concentrate-loss-high"),
        ),
        "concentration-high": (Cause("wrong-concentrate"), Cause("water-loss-high")),
        "sensor-fault": (Cause("signal-stale", same_signal=True, suppresses=True),),
        "sensor-drift": (
            Cause("signal-stale", same_signal=True, suppresses=True),
            Cause("sensor-fault", same_signal=True, suppresses=True),
        ),
    }
)
"""By the alarm that follows; the first that stands is named. A level alarm that stands while its
sensor is lost is not judged, and says so."""


_RANK = {signal: rank for rank, signal in enumerate(Signal)}


def explain(
    alarms: Mapping[str, Alarm], state: SumpState, plan: SumpPlan, outage: Outage | None
) -> dict[str, tuple[str | None, bool]]:
    """Find the cause of each alarm, and whether that suppresses it.

    Parameters
    ----------
    alarms : Mapping[str, Alarm]
        All of the sump, by key.
    state : SumpState
        What is known of the sump.
    plan : SumpPlan
        The sump.
    outage : Outage or None
        What silences its signals from outside.

    Returns
    -------
    dict
        By key: the alarm it follows from, and whether it is to be suppressed by design.
    """
    silent = _silent_with(alarms, state, plan, outage)
    explained = {}
    for key, alarm in alarms.items():
        root, suppress = silent.get(key) or _listed(alarm, alarms)
        charging = state.charging and not default(alarm.name).through_charge
        explained[key] = (root, suppress or charging)
    return explained


def _listed(alarm: Alarm, alarms: Mapping[str, Alarm]) -> tuple[str | None, bool]:
    """First cause of the table that stands."""
    if alarm.active:
        for cause in CAUSES.get(alarm.name, ()):
            key = alarm_key(cause.name, alarm.signal if cause.same_signal else cause.signal)
            if key in alarms and alarms[key].active:
                return key, cause.suppresses
    return None, False


def _silent_with(
    alarms: Mapping[str, Alarm], state: SumpState, plan: SumpPlan, outage: Outage | None
) -> dict[str, tuple[str | None, bool]]:
    """Signals that fell silent together: one of them speaks for all, or the outage does."""
    silent = [a for a in alarms.values() if a.name == "signal-stale" and a.active]
    explained: dict[str, tuple[str | None, bool]] = {}
    if outage is not None:
        fell = [a for a in silent if _fell_with(a, state, plan, outage)]
        explained = {a.key: (outage.alarm, True) for a in fell}
    rest = [a for a in silent if a.key not in explained]
    return explained | _spoken_for(sorted(rest, key=_seniority), state, plan)


def _seniority(alarm: Alarm) -> tuple[Instant, int]:
    """Who speaks: the first that was raised; of several, by the order of the signals."""
    return alarm.raised_at or 0, -1 if alarm.signal is None else _RANK[alarm.signal]


def _spoken_for(
    silent: Sequence[Alarm], state: SumpState, plan: SumpPlan
) -> dict[str, tuple[str | None, bool]]:
    """Each signal that fell silent with a senior one, explained by it."""
    speakers: list[Alarm] = []
    explained: dict[str, tuple[str | None, bool]] = {}
    for alarm in silent:
        speaker = next((s for s in speakers if _fell_together(s, alarm, state, plan)), None)
        if speaker is None:
            speakers.append(alarm)
        else:
            explained[alarm.key] = (speaker.key, True)
    return explained


def _fell_together(one: Alarm, other: Alarm, state: SumpState, plan: SumpPlan) -> bool:
    """Whether two signals fell silent within the time in which either is missed."""
    first, second = _last_heard(one, state, plan), _last_heard(other, state, plan)
    if first is None or second is None:
        return False
    return abs(first[0] - second[0]) <= max(first[1], second[1])


def _fell_with(alarm: Alarm, state: SumpState, plan: SumpPlan, outage: Outage) -> bool:
    """Whether a signal was still heard when the outage began."""
    heard = _last_heard(alarm, state, plan)
    return heard is not None and heard[0] >= outage.since - heard[1]


def _last_heard(alarm: Alarm, state: SumpState, plan: SumpPlan) -> tuple[Instant, Instant] | None:
    """When a signal was last heard, and after how long it is missed. [ms]"""
    if alarm.signal is None or alarm.signal not in plan.signals:
        return None
    seen = state.last_seen.get(alarm.signal)
    if seen is None:
        return None
    return seen, stale_after(plan.signals[alarm.signal], state.intervals)
