"""What should happen now, as values: the core decides, the shell carries out.

A new kind of effect joins the `Effect` union; strict typing then shows every place that must
handle it.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, TypeAlias

from advisor.words import Estimate, Instant, Priority, Signal, SumpEvent, SumpState

AdviceKind: TypeAlias = Literal["none", "top-up", "charge", "exchange", "check"]


@dataclass(frozen=True, slots=True)
class Mix:
    """Water and concentrate, apart. [L]"""

    water: float
    concentrate: float

    @property
    def volume(self) -> float:
        """Both together; volumes are taken to add up. [L]"""
        return self.water + self.concentrate

    @property
    def strength(self) -> float:
        """Concentration of the mix; 0 where there is none. [1]"""
        return self.concentrate / self.volume if self.volume > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Batch:
    """`count` equal portions, poured one after another; amounts of one portion. [L]"""

    count: int
    water: float
    concentrate: float


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """The sump once the advice has been carried out. [L], [1]"""

    volume: Estimate
    concentration: Estimate


@dataclass(frozen=True, slots=True)
class Range:
    """Alert thresholds; `None` where no threshold applies."""

    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Alert thresholds, level and Brix in the sensors' own units and sense.

    `level_unit` is the unit of the level signal as bound; the level's ranges are `None` where the
    sump has no level signal, Brix where it has no inline refractometer.
    """

    level_running: Range | None
    level_stopped: Range | None
    level_unit: str
    brix: Range | None
    water_loss_high: float | None
    concentrate_loss_high: float | None
    brix_unit: str = "degBrix"
    """Unit of the refractometer's signal as bound."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTopUp:
    """When the next top-up will be due, and the strength that then holds the concentration."""

    at: Instant
    sd_h: float
    strength: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to pour, drain or measure now, with the limits at which somebody should be told."""

    id: str
    sump: str
    issued_at: Instant
    valid_until: Instant
    kind: AdviceKind
    mix: Mix | None
    batches: tuple[Batch, ...] | None
    drain: float
    after: After | None
    limits: Limits
    next: NextTopUp | None
    why: tuple[str, ...]
    cautions: tuple[str, ...]


class AlarmState(StrEnum):
    """States of IEC 62682 / ISA-18.2."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned-unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched-unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched-acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmReport:
    """One alarm as it stands, to be published. `signal` where it is about one signal."""

    name: str
    signal: Signal | None
    state: AlarmState
    active: bool
    acknowledged: bool
    priority: Priority
    raised_at: Instant | None
    value: float | None
    limit: float | None
    unit: str
    cause: str
    consequence: str
    action: str
    because_of: str | None = None
    by: str | None = None
    until: Instant | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setpoint:
    """What a station is to pour, and everything at which it stops. [L], [1]"""

    id: str
    sump: str
    advice: str
    """Id of the advice that it carries out."""
    mix: Mix
    max_strength: float
    water_meter_end: float | None
    """Where the counter shall end; `None`: there is none."""
    concentrate_meter_end: float | None
    stop_at_level: float
    """In the level sensor's own unit and sense."""
    level_unit: str
    issued_at: Instant
    expires_at: Instant
    """Not to be begun afterwards; until the first lease comes, to be ended then."""


@dataclass(frozen=True, slots=True)
class PublishState:
    """Tell what is known about the sump."""

    state: SumpState


@dataclass(frozen=True, slots=True)
class PublishEvent:
    """Tell of an addition, drain or charge, or a better account of one."""

    event: SumpEvent


@dataclass(frozen=True, slots=True)
class PublishAdvice:
    """Tell what to do now."""

    advice: Advice


@dataclass(frozen=True, slots=True)
class PublishAlarm:
    """Tell how an alarm stands; a normal one is withdrawn after it was told."""

    alarm: AlarmReport


@dataclass(frozen=True, slots=True)
class PublishSetpoint:
    """Ask a station to pour."""

    setpoint: Setpoint


@dataclass(frozen=True, slots=True)
class PublishLease:
    """Let a station go on until a moment; one that has passed ends the setpoint. [ms]"""

    setpoint: str
    until: Instant


Effect: TypeAlias = (
    PublishState | PublishEvent | PublishAdvice | PublishAlarm | PublishSetpoint | PublishLease
)
