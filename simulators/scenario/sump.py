"""A sump and its machine: what the plant file says, how far that is off, and what it loses."""

from typing import Annotated, Literal

from pydantic import Field

from simulators.scenario.base import Id, NotNegative, Positive, Share, Spec
from simulators.scenario.people import CheckRound, Operators, PrismRound, Station
from simulators.scenario.shop import Network, Work
from simulators.scenario.signals import Signals
from simulators.scenario.trouble import Disturbance, Fault


class BoxSpec(Spec):
    """As in the plant file. [mm]"""

    shape: Literal["box"] = "box"
    length_mm: Positive
    width_mm: Positive
    height_mm: Positive


class UprightSpec(Spec):
    """As in the plant file. [mm]"""

    shape: Literal["upright-cylinder"]
    diameter_mm: Positive
    height_mm: Positive


class LyingSpec(Spec):
    """As in the plant file. [mm]"""

    shape: Literal["lying-cylinder"]
    diameter_mm: Positive
    length_mm: Positive


class TableSpec(Spec):
    """As in the plant file."""

    shape: Literal["table"]
    depth_mm: tuple[float, ...]
    volume_l: tuple[float, ...]


TankSpec = Annotated[BoxSpec | UprightSpec | LyingSpec | TableSpec, Field(discriminator="shape")]


class LevelMarks(Spec):
    """Depths as in the plant file. [mm]"""

    low: Positive
    target: Positive
    brim: Positive
    low_running: Positive | None = None
    top_up: Positive | None = None


class MachineSpec(Spec):
    """The machine above the sump: what warms the fluid and carries it off."""

    pump_l_min: Positive = 60.0
    pump_kw: NotNegative = 1.0
    """Heat that the pumps leave in the fluid. [kW]"""
    cut_kw: NotNegative = 2.0
    """Heat that cutting leaves in the fluid. [kW]"""
    cut_evaporates: Share = 0.08
    """Share of the cutting heat that goes straight into vapour at tool and chips."""
    cooling_w_per_k: Positive = 120.0
    """Heat lost to the hall. [W/K]"""
    open_share: Share = 0.35
    """Share of the tank's surface that is open."""
    air_m_s: NotNegative = 0.1
    spray_m2: NotNegative = 0.5
    """Surface of jets and wet walls while running. [m²]"""
    spray_m_s: NotNegative = 0.4
    """Air over it, from mist extraction. [m/s]"""
    evaporation: Literal["vapour-pressure", "humidity-ratio"] = "vapour-pressure"
    evaporation_factor: Positive = 1.0
    carry_off_l_per_h: NotNegative = 0.3
    """Mix lost with parts, chips and mist in an hour of cutting. [L/h]"""
    lumps_share: Share = 0.5
    """Share of that which goes with parts and chip bins instead of steadily."""
    bins_share: Share = 0.6
    """Share of the lumps that goes with the chip bin."""
    bin_h: Positive = 9.0
    """Cutting time that fills it. [h]"""
    depletion_pct_per_day: NotNegative = 0.4
    """Of the concentrate, beyond carry-off. [%/d]"""
    tramp_oil_l_per_day: NotNegative = 0.5
    """Comes in while running, so much in a day of work: 0.5 to 2 (*common practice*). [L/d]"""
    oil_brix_per_l: NotNegative = 0.05
    """Bias of every refractometer per litre of tramp oil in 100 L. [°Brix]"""
    fill_s: Positive = 20.0
    """Time constant at which the machine fills after a pump start. [s]"""
    drain_min: Positive = 2.5
    """Time constant at which most of it drains back. [min]"""
    drain_slow_share: Share = 0.25
    """Share that drains back slowly, from ways and chips."""
    drain_slow_min: Positive = 12.0
    return_share: Annotated[float, Field(ge=0.1, le=0.9)] = 0.5
    """Share of the tank between the return and the weir to the suction."""
    pour_zone: Literal["return", "suction"] = "return"
    """Where people pour."""


class SumpSpec(Spec):
    """One sump of the scenario, or `copies` of it that differ by their seeds."""

    id: Id
    name: str = ""
    copies: Annotated[int, Field(ge=1)] = 1
    concentrate: Id
    tank: TankSpec
    level_mm: LevelMarks
    holdup_l: NotNegative = 25.0
    """Nominal. [L]"""
    holdup_told: bool = True
    """The plant file says it."""
    holdup_error: NotNegative = 0.1
    """The true one is off the nominal by exactly so much, up or down by the seed."""
    area_error: Share = 0.03
    """The tank's true area is off the drawing by up to so much, drawn for each seed."""
    sludge_l: NotNegative = 0.0
    """Chips and sludge on the floor, not in the drawing. [L]"""
    start_depth_mm: Positive | None = None
    """With everything drained back; about the target where absent. [mm]"""
    start_pct: Positive | None = None
    """Concentration at the beginning; about the target where absent. [%]"""
    oil_l: NotNegative = 0.5
    """Tramp oil afloat at the beginning. [L]"""
    machine: MachineSpec = MachineSpec()
    work: Work | None = None
    """Its own hours; the shop's where absent."""
    signals: Signals = Signals()
    network: Network | None = None
    operators: Operators | None = None
    checks: tuple[CheckRound, ...] = ()
    clean_prism: PrismRound | None = None
    skim: PrismRound | None = None
    station: Station | None = None
    disturbance: tuple[Disturbance, ...] = ()
    fault: tuple[Fault, ...] = ()
