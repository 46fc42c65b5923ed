"""What is said about a sump: estimates, evidence that comes in, and the state that comes out.

Internal units throughout: litres at 20 °C, days, millimetres, °C, °Brix, fractions. A moment is an
`Instant`, whole milliseconds since 1970-01-01 UTC: exact as a key, the same on every machine.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal, NamedTuple, TypeAlias

Instant: TypeAlias = int
"""Milliseconds since 1970-01-01T00:00:00Z."""

MINUTE: Instant = 60_000
HOUR: Instant = 60 * MINUTE
DAY: Instant = 24 * HOUR


def days_between(begin: Instant, end: Instant) -> float:
    """Time from `begin` to `end`. [d]"""
    return (end - begin) / DAY


class Signal(StrEnum):
    """What a sensor at a sump tells. The comment gives the unit of its readings inside."""

    LEVEL = "level"  # mm, L, fraction of the brim volume or Pa: by the level signal's kind
    BRIX = "brix"  # °Brix
    TEMPERATURE = "temperature"  # °C
    RUNNING = "running"  # 0 or 1
    CUTTING = "cutting"  # 0 or 1, or a part counter
    WATER_METER = "water_meter"  # L, running total
    CONCENTRATE_METER = "concentrate_meter"  # L, running total
    PH = "ph"  # pH
    CONDUCTIVITY = "conductivity"  # mS/cm
    AIR_TEMPERATURE = "air_temperature"  # °C
    HUMIDITY = "humidity"  # fraction


class Quality(StrEnum):
    """How far a signal can be trusted at the moment."""

    GOOD = "good"
    SUSPECT = "suspect"
    BAD = "bad"
    STALE = "stale"
    ABSENT = "absent"  # not bound in the plant file


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value and how sure it is: one standard deviation, in the value's own unit."""

    value: float
    sd: float


# --- evidence: what a belief takes in, each with the moment for which it holds -------------------


class Reading(NamedTuple):
    """One accepted reading of a sensor, in the signal's internal unit.

    A tuple, since there are more of these than of anything else.
    """

    at: Instant
    signal: Signal
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Addition:
    """Something was poured in, as reported. `at` is when the pouring began. [L]"""

    at: Instant
    id: str
    water: float
    concentrate: float
    by: str = ""
    advice: str | None = None
    supply: str | None = None
    fluid: str | None = None
    """Id of the concentrate that was poured, where it was named."""
    replaces: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Drain:
    """Fluid was taken out: a volume [L], down to a depth [mm, pumps stopped], or all of it."""

    at: Instant
    id: str
    volume: float | None = None
    to_level: float | None = None
    everything: bool = False
    by: str = ""
    to: str = ""
    replaces: str | None = None


ChargeStage: TypeAlias = Literal["begun", "filled", "done"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """A stage of filling an emptied sump with fresh mix; what was poured so far in it. [L]"""

    at: Instant
    id: str
    stage: ChargeStage
    water: float | None = None
    concentrate: float | None = None
    by: str = ""
    replaces: str | None = None


class CheckKind(StrEnum):
    """What a person measured, and how. The comment gives the unit inside."""

    REFRACTOMETER = "refractometer"  # °Brix
    TITRATION = "titration"  # fraction
    DIPSTICK = "dipstick"  # mm, pumps stopped
    PH = "ph"  # pH
    DIP_SLIDE = "dip-slide"  # CFU/mL
    HARDNESS = "hardness"  # mg/L as CaCO3
    NITRITE = "nitrite"  # mg/L
    CHLORIDE = "chloride"  # mg/L
    CONDUCTIVITY = "conductivity"  # mS/cm
    TRAMP_OIL = "tramp-oil"  # fraction
    LOOK = "look"  # 0 good .. 1 bad


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A person's measurement.

    A refractometer read in % of the mix comes as °Brix here (divided by the fluid's factor).
    """

    at: Instant
    id: str
    kind: CheckKind
    value: float
    sample: Literal["as-is", "settled", "filtered"] = "as-is"
    by: str = ""
    replaces: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """Something was done to the sump or its sensors."""

    at: Instant
    id: str
    kind: Literal["prism-cleaned", "skimmed", "sump-cleaned", "biocide", "other"]
    note: str = ""
    by: str = ""
    replaces: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """A station's report: the totals poured for one setpoint so far. [L]"""

    at: Instant
    setpoint: str
    water: float
    concentrate: float
    finished: bool
    fault: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StationAnswer:
    """A station's answer to a setpoint, before it pours; no evidence for a balance."""

    sump: str
    at: Instant
    setpoint: str
    accepted: bool
    why: str = ""


Entry: TypeAlias = Addition | Drain | Charge | Check | Service | Delivery
"""What people and stations report."""

Evidence: TypeAlias = Reading | Entry


# --- orders: what people want done with an alarm --------------------------------------------------


Priority: TypeAlias = Literal["low", "medium", "high"]
"""Of an alarm: how soon somebody must act."""

AlarmVerb: TypeAlias = Literal[
    "acknowledge",
    "shelve",
    "unshelve",
    "suppress",
    "out-of-service",
    "return-to-service",
    "reset",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmOrder:
    """What a person wants done with an alarm. `sump` is empty for one of the plant or a supply."""

    sump: str
    at: Instant
    alarm: str
    signal: Signal | None
    verb: AlarmVerb
    until: Instant | None = None
    by: str = ""
    supply: str | None = None
    """Supply that the alarm is about, where it is about one."""
    id: str = ""
    """Names the order, where whoever gave it waits for the answer."""


# --- state: what is known about a sump at a moment ------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Losses:
    """Mean losses over the last `window_h` hours of data time. [L/d]"""

    window_h: float
    water: Estimate | None
    concentrate: Estimate | None
    evaporation: Estimate | None
    carry_off: Estimate | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A running total since a moment. [L]"""

    since: Instant
    water: Estimate
    concentrate: Estimate


EventKind: TypeAlias = Literal["addition", "drain", "charge", "withdrawn"]
EventSource: TypeAlias = Literal["meter", "report", "inferred"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SumpEvent:
    """An addition, drain or charge: metered, reported or inferred.

    The id stays while the account of the event gets better.
    """

    id: str
    at: Instant
    kind: EventKind
    source: EventSource
    volume: Estimate | None
    strength: Estimate | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something about a signal, or about the sump, that the evidence says is wrong."""

    name: str
    """An alarm name of the design, such as ``sensor-fault``."""
    signal: Signal | None
    since: Instant
    detail: str
    """For people: what was seen, with numbers and units."""
    value: float | None = None
    limit: float | None = None
    unit: str = ""


@dataclass(slots=True, kw_only=True)
class SumpState:
    """All that is known about a sump at `at`; what nothing tells is `None`.

    Nothing changes it once made; it is not frozen since freezing doubles the cost of a minute.
    """

    at: Instant
    volume: Estimate | None
    """All the fluid, holdup included. [L]"""
    concentration: Estimate | None
    """Concentrate per mix, v/v. [1]"""
    correlation: float
    """Of the errors of volume and concentration, -1..1."""
    rest_depth: Estimate | None
    """Depth with the pumps stopped and everything drained back. [mm]"""
    holdup: Estimate | None
    """Volume up in the machine while the pumps run. [L]"""
    running: bool | None
    losses: Losses
    lost: Account | None
    added: Account | None
    drained: Account | None
    qualities: Mapping[Signal, Quality]
    """Of every signal. Staleness is judged where the time is known, not here."""
    last_seen: Mapping[Signal, Instant]
    """Time of the newest reading taken in, by signal; absent keys: none yet."""
    charging: bool
    events: tuple[SumpEvent, ...]
    """The newest events, oldest first; complete from `events_since` on."""
    events_since: Instant
    findings: tuple[Finding, ...] = field(default=())
    intervals: Mapping[Signal, float] = field(default_factory=dict)
    """Usual time between a signal's readings, as learned; absent keys: not known yet. [s]"""
    totals: Mapping[Signal, float] = field(default_factory=dict)
    """Where the make-up meters' counters stood when last read; absent keys: not read yet. [L]"""
    settled: Instant = -1
    """Up to here evidence is in the estimate, later on it is predicted; -1: none is. [ms]"""
    depth_at_most: float | None = None
    """Level as read, with all drained back that may be up; `None`: the pumps are known. [mm]"""
