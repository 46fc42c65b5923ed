"""Names of alarms in the plant file: they exist, and are about a signal where they say so."""

import difflib
from collections.abc import Iterator
from typing import get_args

from advisor.alarm_definitions import DEFINITIONS
from advisor.words import Signal
from agent.messages.names import SumpAlarmName
from agent.plant.parts import Part
from agent.plant.problems import Fault

_NAMES: tuple[str, ...] = get_args(SumpAlarmName)


def alarm_faults(sump: Part) -> Iterator[Fault]:
    """List what is wrong with the names of a sump's alarms."""
    alarms = sump.part("alarms")
    for key in alarms:
        what = _name_fault(key)
        if what is not None:
            yield alarms.fault(key, what, shown=False)


def _name_fault(key: str) -> str | None:
    """Say what is wrong with ``NAME`` or ``NAME/SIGNAL``, if something is."""
    name, slash, signal = key.partition("/")
    if name not in _NAMES:
        nearest = difflib.get_close_matches(name, _NAMES, n=1, cutoff=0.0)
        return f"no such alarm; the nearest one is {nearest[0]}"
    if not slash:
        return None
    if not DEFINITIONS[name].of_signal:
        return f"this alarm is not about one signal; expected {name} alone"
    signals = [known.value for known in Signal]
    return None if signal in signals else f"expected one of {', '.join(signals)} after the slash"
