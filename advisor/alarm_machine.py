"""The states of one alarm and how it passes between them: a table, nothing else.

The six states that an alarm itself can be in (A to F of the standard's diagram) follow from what
happens to it; three more (G to I) are laid over them by people or by design, and what lies beneath
goes on meanwhile.

References
----------
.. [1] IEC 62682 and ANSI/ISA-18.2, alarm state transition diagram. The states from memory; the
   arrows A to F as listed in a published transcription of the diagram of ANSI/ISA-18.2 (seen).
.. [2] OPC 10000-9, Alarms and Conditions, 4.8 (latched, shelved, suppressed and out-of-service
   alarms remain fully functional) and B.1.5 (delays, deadband, re-alarm time). Seen.
"""

from collections.abc import Mapping
from enum import Enum, auto
from types import MappingProxyType

from advisor.effects import AlarmState


class Happening(Enum):
    """What moves an alarm from one state to another."""

    OCCURS = auto()
    """The condition holds, its on-delay has passed."""
    CLEARS = auto()
    """The condition is gone, its off-delay has passed."""
    ACKNOWLEDGED = auto()
    """A person has seen it."""
    RESET = auto()
    """A person has looked into a latched alarm and lets it go."""
    ASKS_AGAIN = auto()
    """It was acknowledged, and its re-alarm time has passed with the condition still there."""


A = AlarmState.NORMAL
B = AlarmState.UNACKNOWLEDGED
C = AlarmState.ACKNOWLEDGED
D = AlarmState.RETURNED_UNACKNOWLEDGED
E = AlarmState.LATCHED_UNACKNOWLEDGED
F = AlarmState.LATCHED_ACKNOWLEDGED

TRANSITIONS: Mapping[tuple[AlarmState, Happening], AlarmState] = MappingProxyType(
    {
        (A, Happening.OCCURS): B,
        (B, Happening.ACKNOWLEDGED): C,
        (B, Happening.CLEARS): D,
        (C, Happening.CLEARS): A,
        (C, Happening.ASKS_AGAIN): B,
        (D, Happening.ACKNOWLEDGED): A,
        (D, Happening.OCCURS): B,
        (E, Happening.ACKNOWLEDGED): F,
        (E, Happening.RESET): D,
        (F, Happening.RESET): A,
        # The diagram leaves open what a latched alarm does when its condition comes back.
        (E, Happening.OCCURS): B,
        (F, Happening.OCCURS): B,
    }
)
"""Of an alarm that does not latch, and of one that has."""

LATCHING: Mapping[tuple[AlarmState, Happening], AlarmState] = MappingProxyType(
    {(B, Happening.CLEARS): E, (C, Happening.CLEARS): F}
)
"""Where an alarm that latches goes instead."""


def after(state: AlarmState, happening: Happening, *, latching: bool) -> AlarmState | None:
    """State that follows, one of A to F; `None` where the diagram has no such arrow.

    >>> after(AlarmState.NORMAL, Happening.OCCURS, latching=False).value
    'unacknowledged'
    >>> after(AlarmState.NORMAL, Happening.ACKNOWLEDGED, latching=False) is None
    True
    """
    if latching and (state, happening) in LATCHING:
        return LATCHING[state, happening]
    return TRANSITIONS.get((state, happening))


def shown(
    beneath: AlarmState, *, out_of_service: bool, shelved: bool, suppressed: bool
) -> AlarmState:
    """State that people see: what was laid over the alarm, or else what lies beneath.

    Out of service goes first, since it says that nobody is to expect the alarm at all; then what
    a person asked for; then what was designed.
    """
    if out_of_service:
        return AlarmState.OUT_OF_SERVICE
    if shelved:
        return AlarmState.SHELVED
    if suppressed:
        return AlarmState.SUPPRESSED
    return beneath


def is_active(beneath: AlarmState) -> bool:
    """Whether the condition stands; in the latched states it is gone."""
    return beneath in (B, C)


def is_acknowledged(beneath: AlarmState) -> bool:
    """Whether nobody needs to acknowledge anything."""
    return beneath in (A, C, F)
