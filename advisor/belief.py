"""What the estimator carries from one piece of evidence to the next: a plain, versioned value."""

from dataclasses import dataclass, field, fields
from typing import ClassVar, NamedTuple

from advisor.cusum import Cusum
from advisor.faults import UNSEEN, Watch
from advisor.hypotheses import BEGINNINGS
from advisor.leaks import Depths
from advisor.noise import QUIET, Noise
from advisor.pumps import Pumps
from advisor.seepage import DRY, Seepage
from advisor.words import Account, Estimate, Instant, Losses, Signal, SumpEvent

SCHEMA = 4
"""Version of `Belief`; it changes with the meaning of any field."""
FIRST_PACE = 360.0
"""Taken for a signal's usual interval before it is known. [s]"""
NO_LOSSES = Losses(window_h=0.0, water=None, concentrate=None, evaporation=None, carry_off=None)


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
    low: int = 0
    """Readings of the refractometer far from the expected: bubbles, or a change."""
    low_sum: float = 0.0
    """[°Brix]"""
    low_squares: float = 0.0
    """[°Brix²]"""
    far: int = 0
    """Newest readings of the level in a row that lie far from what was expected."""
    far_since: Instant = -1
    """Time of the first of them. [ms]"""
    far_sum: float = 0.0
    """Of their depths. [mm]"""
    far_squares: float = 0.0
    """[mm²]"""
    far_when: float = 0.0
    """Sum of their times since `far_since`. [ms]"""
    spikes: int = 0
    """Readings of the level that were far off and came back at once."""


EMPTY = Slot()
EVEN = Cusum()
UNHEARD = Pumps()


class Meter(NamedTuple):
    """A totaliser as last read."""

    total: float = -1.0
    """Last reading; -1 before the first. [L]"""
    at: Instant = -1


@dataclass(frozen=True, slots=True)
class EventNote:
    """One addition, drain or charge in the memory."""

    told: SumpEvent
    """As it is known by now."""
    until: Instant
    """When the pouring ended, as far as known. [ms]"""
    place: int = -1
    """Pair in the state vector while it is still being learned; -1 afterwards."""
    report: str = ""
    """Id of the report about it."""


@dataclass(frozen=True, slots=True)
class SensorStep:
    """A sensor's reading moved by itself."""

    signal: Signal
    at: Instant
    size: float
    """[mm], [°Brix]"""
    sd: float


@dataclass(slots=True)
class Told:
    """What the filter's own moment is told as; `summary` says how."""

    volume: Estimate | None = None
    concentration: Estimate | None = None
    correlation: float = 0.0
    rest_depth: Estimate | None = None
    holdup: Estimate | None = None
    losses: Losses = NO_LOSSES
    recent: Estimate | None = None
    """Net loss of water over the last hours only. [L/d]"""
    lost: Account | None = None
    added: Account | None = None
    drained: Account | None = None
    rates: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """Of water and of concentrate, at rest and in work. [L/d]"""
    area: float = 1.0
    """Of the surface, true litres. [L/mm]"""
    sensor_depth: float = 0.0
    """What the level sensor should read with everything drained back. [mm]"""
    sensor_up: float = 0.0
    """How much less while the pumps run. [mm]"""
    sensor_sd: float = 1e6
    """Spread of one reading about it. [mm]"""
    film: float = 0.0
    """Offset of the inline refractometer. [°Brix]"""
    brix: float = 0.0
    brix_sd: float = 1e6
    """What the inline refractometer should read, and the spread of one reading. [°Brix]"""


@dataclass(slots=True, kw_only=True)
class Core:
    """What changes once in a few minutes: the filter, and what surrounds it.

    Nothing changes it once made; it is not frozen since freezing triples the cost of making one.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = {
        "ser_json_bytes": "base64",
        "val_json_bytes": "base64",
    }
    """How whoever stores it as JSON writes bytes; nothing here needs that library."""

    at: Instant = -1
    """Moment for which the filter holds; -1 before the first evidence. [ms]"""
    mean: bytes
    """`filter_step.pack` of the state vector (`states`)."""
    cov: bytes
    """`filter_step.pack` of its covariance."""
    bank: bytes = b""
    """`hypotheses.Bank` of the steps that nobody told of."""
    begun: tuple[Instant, ...] = (-1,) * BEGINNINGS
    """Their moments; -1 where a place is free. [ms]"""
    told: Told = field(default_factory=Told)
    noises: tuple[Noise, Noise] = (QUIET, QUIET)
    """With the pumps standing, and running or not known to stand."""
    since: Instant = -1
    """When the accounts began; -1 before. [ms]"""
    volume_known: bool = False
    concentration_known: bool = False
    clones: tuple[tuple[Instant, int], ...] = ()
    """Moments of which the losses are kept beside [ms], oldest first, and where they stand."""
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
    growing: int = -1
    """Pair of the inferred event that may not be over yet; -1: none."""
    growing_until: Instant = -1
    """[ms]"""
    notes: tuple[EventNote, ...] = ()
    """Newest last."""
    events_since: Instant = -1
    leaking: Instant = -1
    """When fluid was last found to be running out; -1: never. [ms]"""
    falling: Depths = ()
    """Mean depths of the last slots in which nothing was poured and no pump switched (`leaks`)."""
    seepage: Seepage = DRY
    """What is lost while the pumps stand (`seepage`)."""
    rushing: float = 0.0
    """What was found to run out beyond what is usual, and still does; in where negative. [L/d]"""
    rushing_since: Instant = -1
    """When that began, or last did; -1: never. [ms]"""
    rushing_seen: Instant = -1
    """When a level last bore it out. [ms]"""
    usual: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """Loss of water and of concentrate at rest before it began, each with its variance."""
    losing: tuple[tuple[str, Instant], ...] = ()
    """What losses and gains hold (`losing`), and since when. [ms]"""
    checked: Cusum = EVEN
    """Of checks against what was expected of them, per sd."""
    compared: Instant = -1
    """Newest check of the concentration; -1: none yet. [ms]"""
    checked_since: Instant = -1
    """When the checks began to disagree; -1: they do not. [ms]"""
    shifted: tuple[SensorStep, ...] = ()
    """Steps that sensors took, newest last."""


_NAMES = tuple(entry.name for entry in fields(Core))


def twin(core: Core) -> Core:
    """Copy for whoever is about to make another of it: a fifth of the cost of `replace`."""
    copy = object.__new__(Core)
    for name in _NAMES:
        setattr(copy, name, getattr(core, name))
    return copy


def noise_of(core: Core) -> Noise:
    """Give the noise as learned with the pumps as they are."""
    return core.noises[core.pumps.running != 0]


@dataclass(slots=True)
class Belief:
    """Everything the estimator knows about one sump.

    Nothing changes it once made; it is not frozen since freezing triples the cost of a reading.
    """

    schema: int
    at: Instant
    """Newest evidence; -1 before the first. [ms]"""
    core: Core
    slot: Slot = EMPTY
    seen: tuple[Instant, ...] = (-1,) * 11
    """Newest reading by signal, in the order of `Signal`; -1: none yet. [ms]"""
    paces: tuple[float, ...] = (FIRST_PACE,) * 11
    """Usual time between readings by signal, likewise; long until it is known. [s]"""
    watches: tuple[Watch, Watch] = (UNSEEN, UNSEEN)
    """Over the level and over the inline refractometer."""
    temperature: float | None = None
    """Of the fluid, as last read. [°C]"""
