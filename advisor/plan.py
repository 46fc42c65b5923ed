"""What the computation is told about a sump: fluid, tank, signals, vessels, supplies, station."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite
from types import MappingProxyType
from typing import Literal, TypeAlias

from advisor.errors import AdvisorError
from advisor.geometry import Tank
from advisor.words import CheckKind, Priority, Signal


@dataclass(frozen=True, slots=True, kw_only=True)
class Fluid:
    """A concentrate and the mix that is made of it. Strengths are fractions of the mix."""

    id: str
    refractometer_factor: float
    """Concentration in % of the mix per °Brix, as on a data sheet. [%/°Brix]"""
    band_low: float
    band_high: float
    target: float
    premix_max: float = 0.20
    weak_mix: float = 0.0
    """0 where plain water may be added."""
    name: str = ""
    """What stands on the drum."""
    price: float | None = None
    """Of a litre of concentrate, in the plant's currency."""
    disposal: float | None = None
    """Cost of getting rid of a litre of used fluid, in the plant's currency."""
    density: float | None = None
    """Of the concentrate at 20 °C. [kg/L]"""
    ph_low: float | None = None
    ph_high: float | None = None
    """Band of the fluid in use. [pH]"""
    conductivity_low: float | None = None
    conductivity_high: float | None = None
    """Band of the fluid in use. [mS/cm]"""
    hardness_limit: float | None = None
    """That the fluid stands, as CaCO3. [mg/L]"""
    chloride_limit: float | None = None
    """That the fluid stands. [mg/L]"""
    circulate: float = 30.0
    """For how long it is circulated until it is mixed, *common practice*. [min]"""
    turnovers: float | None = None
    """How often the pumps are to turn it over until it is mixed, by the data sheet. [1]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Depths with the pumps stopped and everything drained back. [mm]"""

    low: float
    target: float
    brim: float
    top_up: float
    """Under this a top-up is due; midway between low and target unless the plant file says."""
    low_running: float | None = None
    """What the pumps need while they run."""


LevelKind: TypeAlias = Literal["depth", "air-gap", "volume", "percent", "pressure"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalPlan:
    """What a sensor is said to be. `sd` is in the signal's internal unit."""

    signal: Signal
    sd: float | None = None
    interval: float | None = None
    """Usual time between readings; learned where absent. [s]"""
    stale_after: float | None = None
    """Age at which the signal is stale; ten intervals where absent. [s]"""
    kind: LevelKind = "depth"
    """Of a level signal."""
    mount: float | None = None
    """Of an air-gap sensor: its height above the floor. [mm]"""
    compensated: bool = True
    """Of a refractometer: its reading is referred to 20 °C already."""
    needs_flow: bool = True
    """Of a refractometer: it says nothing while the pumps stand still."""
    sd_fraction: float = 0.01
    """Of a totaliser: sd of its gain. [1]"""
    rollover: float | None = None
    """Of a totaliser: it starts again at zero here. [L]"""
    counter: bool = False
    """Of `cutting`: a part counter instead of on and off."""
    unit: str = ""
    """Unit in which the plant reads this signal, for limits and for people."""
    per_unit: float = 1.0
    offset: float = 0.0
    """internal = per_unit * (reading in `unit`) + offset."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """What people pour from. [L]"""

    id: str
    volume: float
    graduation: float
    carry_fill: float = 0.8
    """Filled at most so far. [1]"""
    graduation_unit: str = "L"
    """Unit in which its marks are read."""

    @property
    def fill(self) -> float:
        """The most that is carried in it. [L]"""
        return self.volume * self.carry_fill


SupplyKind: TypeAlias = Literal["water", "drum", "premix", "proportioner"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """Where water, concentrate or a mix comes from."""

    id: str
    kind: SupplyKind
    fluid: str | None = None
    volume: float | None = None
    """Of a full drum or tote. [L]"""
    strength: float | None = None
    """Of a premix. [1]"""
    settings: tuple[float, ...] = ()
    """Strengths that a proportioner can be set to. [1]"""
    hardness: float | None = None
    """Of a water, as CaCO3. [mg/L]"""
    chloride: float | None = None
    """Of a water. [mg/L]"""
    nitrate: float | None = None
    """Of a water. [mg/L]"""
    name: str = ""
    """What people call it."""
    reorder: float | None = None
    """Volume at which it is ordered; a fifth of the full one where nobody says. [L]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A dosing unit at the sump. [L]"""

    automatic: bool = False
    max_dose: float | None = None
    max_day: float | None = None
    """In any 24 hours."""
    max_hour: float | None = None
    """In any hour; one largest dose where nobody says."""
    min_dose: float | None = None
    """So much must fit before it doses; worked out from the sump where nobody says."""
    resolution: float = 0.1
    """Step in which it measures."""
    slowest: float = 2.0
    """It pours no slower than this. [L/min]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmPlan:
    """What a plant wants otherwise of one alarm; `None` leaves the default.

    Raises
    ------
    AdvisorError
        If a time, a deadband or a confidence is no number that makes sense.
    """

    enabled: bool | None = None
    """False: the alarm is never raised here."""
    priority: Priority | None = None
    limit: float | None = None
    """In the quantity's internal unit, such as mm of rest depth or a fraction."""
    deadband: float | None = None
    """How far inside the limit the value must be to clear, in the same unit."""
    on_delay: float | None = None
    """Beyond the limit for so long before it is raised. [s]"""
    off_delay: float | None = None
    """Back inside for so long before it clears; a minute of the clock it stands at least. [s]"""
    latching: bool | None = None
    """True: it stays until somebody resets it."""
    re_alarm: float | None = None
    """Acknowledged and still active for so long: it asks again. [s]"""
    shelve_max: float | None = None
    """Longest time for which it may be shelved. [s]"""
    confidence: float | None = None
    """Probability of being beyond the limit from which it is; 0.5 judges the estimate as such."""

    def __post_init__(self) -> None:
        for quantity in ("deadband", "on_delay", "off_delay", "re_alarm", "shelve_max"):
            value = getattr(self, quantity)
            if value is not None and not (isfinite(value) and value >= 0.0):
                raise AdvisorError(quantity, value, "a number, 0 or more")
        if self.limit is not None and not isfinite(self.limit):
            raise AdvisorError("limit", self.limit, "a number")
        if self.confidence is not None and not 0.5 <= self.confidence < 1.0:
            raise AdvisorError("confidence", self.confidence, "0.5 up to less than 1")


@dataclass(frozen=True, slots=True, kw_only=True)
class SumpPlan:
    """Everything the computation is told about one sump."""

    id: str
    name: str
    fluid: Fluid
    tank: Tank
    levels: Levels
    holdup: float | None = None
    """Volume up in the machine while the pumps run; `None`: unknown, to be learned. [L]"""
    signals: Mapping[Signal, SignalPlan] = field(default_factory=lambda: MappingProxyType({}))
    vessels: tuple[Vessel, ...] = ()
    """Empty: litres to the graduation of 0.1."""
    supplies: tuple[Supply, ...] = ()
    pump_flow: float | None = None
    """Of all pumps together; with it turnovers become minutes. [L/min]"""
    station: Station | None = None
    headroom: float = 15.0
    """Kept free under the brim after a dose. [mm]"""
    margin_sd: float = 2.0
    """Sds of the volume that are kept free on top of the headroom. [1]"""
    alarms: Mapping[str, AlarmPlan] = field(default_factory=lambda: MappingProxyType({}))
    """By alarm name, or name and signal as in ``signal-stale/brix``, which goes first."""
    checks: Mapping[CheckKind, float] = field(default_factory=lambda: MappingProxyType({}))
    """How often each check is due; kinds that nobody asks for are left out. [d]"""
