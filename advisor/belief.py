"""What the estimator carries from one piece of evidence to the next: a plain, versioned value."""

from dataclasses import dataclass
from typing import NamedTuple

from advisor.pumps import Pumps
from advisor.words import EventKind, EventSource, Instant

SCHEMA = 1
"""Version of `Belief`; it changes with the meaning of any field."""


class Slot(NamedTuple):
    """Readings of a few minutes, summed up, not yet taken into the filter."""

    begin: Instant = -1
    """Time of the first evidence in it; -1 where there is none. [ms]"""
    levels: int = 0
    level_sum: float = 0.0
    """Of depths. [mm]"""
    level_squares: float = 0.0
    """Of depths less the expected one. [mm²]"""
    level_when: float = 0.0
    """Sum of times since `begin`. [ms]"""
    brixes: int = 0
    brix_sum: float = 0.0
    """[°Brix]"""
    brix_squares: float = 0.0
    """Of readings less the expected one. [°Brix²]"""
    brix_when: float = 0.0
    """Sum of times since `begin`. [ms]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventNote:
    """One addition, drain or charge in the memory."""

    id: str
    at: Instant
    until: Instant
    """When the pouring ended, as far as known. [ms]"""
    kind: EventKind
    source: EventSource
    place: int
    """Pair in the state vector while it is still being learned; -1 afterwards."""
    report: str = ""
    """Id of the report about it."""
    volume: float = 0.0
    volume_sd: float = 0.0
    strength: float | None = None
    strength_sd: float = 0.0


EMPTY = Slot()
UNHEARD = Pumps()


class Meter(NamedTuple):
    """A totaliser as last read."""

    total: float = -1.0
    """Last reading; -1 before the first. [L]"""
    at: Instant = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Core:
    """What changes once in a few minutes: the filter, and what surrounds it."""

    at: Instant = -1
    """Moment for which the filter holds; -1 before the first evidence. [ms]"""
    mean: str
    """`filter_step.pack` of the state vector (`states`)."""
    cov: str
    """`filter_step.pack` of its covariance."""
    since: Instant = -1
    """When the accounts began; -1 before. [ms]"""
    volume_known: bool = False
    concentration_known: bool = False
    clones: tuple[tuple[Instant, int], ...] = ()
    """Moments of which the losses are kept beside [ms], oldest first, and where they stand."""
    expected_depth: float = 0.0
    """What the level sensor should read by now. [mm]"""
    expected_brix: float = 0.0
    """What the inline refractometer should read by now. [°Brix]"""
    pumps: Pumps = UNHEARD
    meters: tuple[Meter, Meter] = (Meter(), Meter())
    """Of water and of concentrate."""
    delivered: tuple[str, float, float] | None = None
    """Newest setpoint that a station served, and its totals so far. [L]"""
    charging: bool = False
    charged: tuple[float, float] | None = None
    """Water and concentrate poured so far into the emptied sump, where reported. [L]"""
    mixing_until: Instant = -1
    """Until here what was poured in may not be mixed yet. [ms]"""
    pouring_until: Instant = -1
    """Until here what was poured in may not all have arrived. [ms]"""
    pouring: float = 0.0
    """How much that is. [L]"""
    events: tuple[EventNote, ...] = ()
    """Newest last."""
    events_since: Instant = -1


@dataclass(frozen=True, slots=True)
class Belief:
    """Everything the estimator knows about one sump; a value, never changed."""

    schema: int
    at: Instant
    """Newest evidence; -1 before the first. [ms]"""
    core: Core
    slot: Slot = EMPTY
    seen: tuple[Instant, ...] = (-1,) * 11
    """Newest reading by signal, in the order of `Signal`; -1: none yet. [ms]"""
    temperature: float | None = None
    """Of the fluid, as last read. [°C]"""
