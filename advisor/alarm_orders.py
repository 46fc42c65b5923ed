"""What people order of one alarm: each order either changes it or is refused in words."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from types import MappingProxyType
from typing import TypeAlias

from advisor.alarm_definitions import SHELVE_DEFAULT, Definition
from advisor.alarm_machine import Happening, after
from advisor.alarm_progress import Alarm, happened
from advisor.alarm_texts import duration
from advisor.effects import AlarmState
from advisor.words import AlarmOrder, AlarmVerb, Instant

Outcome: TypeAlias = Alarm | str
"""The alarm as ordered, or why the order does not apply."""


def carried_out(alarm: Alarm, order: AlarmOrder, rule: Definition, at: Instant) -> Outcome:
    """Carry out an order on one alarm.

    Parameters
    ----------
    alarm : Alarm
        The alarm as it stands, normal ones included.
    order : AlarmOrder
        What is wanted, and by whom.
    rule : Definition
        The alarm's settings.
    at : Instant
        The clock. [ms]

    Returns
    -------
    Alarm or str
        The alarm with what was ordered, or why the order does not apply to it.
    """
    outcome = _VERBS[order.verb](alarm, order, rule, at)
    if isinstance(outcome, str):
        return outcome
    return replace(outcome, by=order.by or None)


def _acknowledge(alarm: Alarm, _order: AlarmOrder, rule: Definition, at: Instant) -> Outcome:
    """Take note of an alarm, whatever is laid over it."""
    if after(alarm.beneath, Happening.ACKNOWLEDGED, latching=rule.latching) is None:
        return f"{alarm.key} has nothing to acknowledge: it is {alarm.state}"
    return replace(happened(alarm, Happening.ACKNOWLEDGED, rule), acknowledged_at=at)


def _reset(alarm: Alarm, _order: AlarmOrder, rule: Definition, _at: Instant) -> Outcome:
    """Let a latched alarm go, its condition being gone."""
    if after(alarm.beneath, Happening.RESET, latching=rule.latching) is None:
        standing = "its condition still stands" if alarm.active else f"it is {alarm.state}"
        return f"{alarm.key} has nothing to reset: {standing}"
    return happened(alarm, Happening.RESET, rule)


def _shelve(alarm: Alarm, order: AlarmOrder, rule: Definition, at: Instant) -> Outcome:
    """Put an alarm aside until a time; shelving always ends."""
    latest = at + rule.shelve_max
    until = min(at + SHELVE_DEFAULT, latest) if order.until is None else order.until
    if until <= at:
        return _past(until, at)
    if until > latest:
        longest = duration(rule.shelve_max / 1000)
        return f"{alarm.key} may be shelved for {longest} at most, until {moment(latest)}"
    return replace(alarm, shelved_until=until)


def _unshelve(alarm: Alarm, _order: AlarmOrder, _rule: Definition, _at: Instant) -> Outcome:
    """Take an alarm back from the shelf."""
    if alarm.shelved_until is None:
        return f"{alarm.key} is not shelved: it is {alarm.state}"
    return replace(alarm, shelved_until=None)


def _suppress(alarm: Alarm, order: AlarmOrder, _rule: Definition, at: Instant) -> Outcome:
    """Suppress an alarm, until a time or until it is returned to service."""
    if order.until is not None and order.until <= at:
        return _past(order.until, at)
    return replace(alarm, suppressed=True, suppressed_until=order.until)


def _remove(alarm: Alarm, order: AlarmOrder, _rule: Definition, at: Instant) -> Outcome:
    """Take an alarm out of service, until a time or until it is returned."""
    if order.until is not None and order.until <= at:
        return _past(order.until, at)
    return replace(alarm, out_of_service=True, in_service_at=order.until)


def _return(alarm: Alarm, _order: AlarmOrder, _rule: Definition, _at: Instant) -> Outcome:
    """Undo what took the alarm out of service or suppressed it by order."""
    if not (alarm.out_of_service or alarm.suppressed):
        state = alarm.state
        by_design = " by design" if state is AlarmState.SUPPRESSED else ""
        return f"{alarm.key} is in service: it is {state}{by_design}"
    return replace(
        alarm, out_of_service=False, in_service_at=None, suppressed=False, suppressed_until=None
    )


_VERBS: Mapping[AlarmVerb, Callable[[Alarm, AlarmOrder, Definition, Instant], Outcome]] = (
    MappingProxyType(
        {
            "acknowledge": _acknowledge,
            "reset": _reset,
            "shelve": _shelve,
            "unshelve": _unshelve,
            "suppress": _suppress,
            "out-of-service": _remove,
            "return-to-service": _return,
        }
    )
)


def _past(until: Instant, at: Instant) -> str:
    """Refuse an end that has passed."""
    return f"until {moment(until)} is not after {moment(at)}, when the order came"


def moment(at: Instant) -> str:
    """Say an instant in UTC, to the minute.

    >>> moment(1_772_431_200_000)
    '2026-03-02 06:00 UTC'
    """
    return f"{datetime.fromtimestamp(at // 1000, UTC):%Y-%m-%d %H:%M} UTC"
