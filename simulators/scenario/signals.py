"""The sensors of a sump: what they are said to be, and what they truly are."""

from typing import Annotated, Literal

from pydantic import Field

from simulators.scenario.base import NotNegative, Positive, Share, Spec


class SignalSpec(Spec):
    """What every signal has."""

    topic: str | None = None
    """``PLANT/SUMP/SIGNAL`` where absent."""
    form: Literal["bare", "json", "senml"] = "json"
    """Of the payload; a bare one carries no time."""
    value_pointer: str = "/value"
    time_pointer: str | None = "/time"
    unit_pointer: str | None = None
    interval_s: Positive = 60.0
    """Between readings. [s]"""


class LevelSpec(SignalSpec):
    """A level sensor. Lengths are of depth, whatever it reads."""

    kind: Literal["depth", "air-gap", "volume", "percent", "pressure"] = "depth"
    unit: str = "mm"
    mount_mm: Positive | None = None
    """Of an air-gap sensor: its height above the floor. [mm]"""
    sd_mm: NotNegative = 0.8
    """White noise. [mm]"""
    resolution: Positive = 0.5
    """Step of the reading, in its unit."""
    wave_mm: NotNegative = 1.5
    """Spread of waves while the pumps run. [mm]"""
    wave_s: Positive = 40.0
    """Their correlation time. [s]"""
    foam_mm: NotNegative = 1.0
    """Spread of the slow part: foam and swell while running. [mm]"""
    foam_min: Positive = 45.0
    """Its correlation time. [min]"""
    wander_mm: NotNegative = 0.4
    """Spread of the instrument's own wander. [mm]"""
    wander_h: Positive = 20.0
    offset_mm: NotNegative = 2.0
    """Spread of its zero, drawn for each seed. [mm]"""
    tilt_mm: float = 0.0
    """Reads higher by so much while the pumps run, as the surface stands askew. [mm]"""
    air_c_share: Share = 0.3
    """Share of the speed of sound's change with air temperature that is not compensated."""


class BrixSpec(SignalSpec):
    """An inline refractometer."""

    unit: str = "degBrix"
    sd_brix: NotNegative = 0.04
    """White noise. [°Brix]"""
    resolution: Positive = 0.05
    compensated: bool = True
    needs_flow: bool = True
    wander_brix: NotNegative = 0.03
    """Spread of the instrument's slow wander. [°Brix]"""
    wander_h: Positive = 20.0
    offset_brix: NotNegative = 0.08
    """Spread of its zero, drawn for each seed. [°Brix]"""
    film_brix_per_day: float = 0.0
    """Growth of the reading from film on the prism while it is wetted. [°Brix/d]"""
    film_limit_brix: Positive = 1.5
    bubble_share: Share = 0.01
    """Share of readings spoilt by bubbles; more after a pump start."""
    bubble_brix: NotNegative = 0.6
    """Mean depth of such a fall. [°Brix]"""
    temperature_brix_per_k: float = 0.004
    """What compensation leaves, per degree from 20 °C. [°Brix/K]"""


class MeterSpec(SignalSpec):
    """A totaliser on a make-up line."""

    unit: str = "L"
    resolution: Positive = 0.1
    """One pulse, in its unit."""
    gain_error: Share = 0.01
    """Spread of its gain, drawn for each seed."""
    rollover: Positive | None = None
    """In its unit."""
    begins_at: NotNegative = 0.0
    """Its total when the scenario begins, in its unit."""


class SwitchSpec(SignalSpec):
    """Running or cutting: told at each change and at intervals."""

    interval_s: Positive = 300.0
    on: str = "on"
    off: str = "off"
    counter: bool = False
    """Of `cutting`: counts finished parts instead."""
    retained: bool = False


class PlainSpec(SignalSpec):
    """A sensor whose noise needs no words: temperature, pH, conductivity, air."""

    interval_s: Positive = 300.0
    unit: str = ""
    sd: NotNegative = 0.0
    """White noise, in its unit."""
    resolution: Positive = 0.1


class Signals(Spec):
    """Which sensors a sump has; an absent one is not there."""

    level: LevelSpec | None = None
    brix: BrixSpec | None = None
    temperature: PlainSpec | None = None
    running: SwitchSpec | None = None
    cutting: SwitchSpec | None = None
    water_meter: MeterSpec | None = None
    concentrate_meter: MeterSpec | None = None
    ph: PlainSpec | None = None
    conductivity: PlainSpec | None = None
    air_temperature: PlainSpec | None = None
    humidity: PlainSpec | None = None


SignalName = Literal[
    "level",
    "brix",
    "temperature",
    "running",
    "cutting",
    "water_meter",
    "concentrate_meter",
    "ph",
    "conductivity",
    "air_temperature",
    "humidity",
]

FiniteFloat = Annotated[float, Field(allow_inf_nan=False)]
