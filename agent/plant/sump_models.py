"""One sump: its tank, its levels, its station, and which signals tell of it."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from agent.plant.alarm_model import AlarmModel
from agent.plant.fields import Amount, Depth, Id, Litres, Millimetres, Name, Section
from agent.plant.signal_models import (
    BrixModel,
    CuttingModel,
    GaugeModel,
    LevelModel,
    MeterModel,
    SwitchModel,
)


class BoxModel(Section):
    """A rectangular tank."""

    shape: Literal["box"] = Field(description="rectangular, with a level floor")
    length_mm: Millimetres = Field(description="inside length [mm]")
    width_mm: Millimetres = Field(description="inside width [mm]")
    height_mm: Millimetres = Field(description="inside height [mm]")


class UprightCylinderModel(Section):
    """A cylinder that stands on its flat end."""

    shape: Literal["upright-cylinder"] = Field(description="a cylinder on its flat end")
    diameter_mm: Millimetres = Field(description="inside diameter [mm]")
    height_mm: Millimetres = Field(description="inside height [mm]")


class LyingCylinderModel(Section):
    """A cylinder that lies on its side."""

    shape: Literal["lying-cylinder"] = Field(description="a cylinder on its side, with flat ends")
    diameter_mm: Millimetres = Field(description="inside diameter [mm]")
    length_mm: Millimetres = Field(description="inside length [mm]")


class TableModel(Section):
    """A strapping table, straight lines between its points."""

    shape: Literal["table"] = Field(description="volume measured at some depths")
    depth_mm: Annotated[list[Depth], Field(min_length=2, max_length=10_000)] = Field(
        description="rising depths [mm]"
    )
    volume_l: Annotated[
        list[Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1e6)]],
        Field(min_length=2, max_length=10_000),
    ] = Field(description="volume at each of these depths, rising [L]")


TankModel: TypeAlias = Annotated[
    BoxModel | UprightCylinderModel | LyingCylinderModel | TableModel,
    Field(discriminator="shape"),
]


class LevelsModel(Section):
    """Depths with the pumps stopped and everything drained back."""

    low: Depth = Field(description="lowest depth to work at [mm]")
    target: Millimetres = Field(description="depth to fill to [mm]")
    brim: Millimetres = Field(description="depth at which it runs over [mm]")
    low_running: Depth | None = Field(
        default=None, description="lowest depth that the pumps stand while they run [mm]"
    )
    top_up: Depth | None = Field(
        default=None,
        description="depth under which a top-up is due; absent: midway from low to target [mm]",
    )


class SignalsModel(Section):
    """The signals that are there; none is required."""

    level: LevelModel | None = Field(default=None, description="the level sensor")
    brix: BrixModel | None = Field(default=None, description="the inline refractometer")
    temperature: GaugeModel | None = Field(default=None, description="fluid temperature")
    running: SwitchModel | None = Field(default=None, description="pumps on or off")
    cutting: CuttingModel | None = Field(
        default=None, description="machining or not, or parts made"
    )
    water_meter: MeterModel | None = Field(default=None, description="running total of water added")
    concentrate_meter: MeterModel | None = Field(
        default=None, description="running total of concentrate added"
    )
    ph: GaugeModel | None = Field(default=None, description="pH of the fluid")
    conductivity: GaugeModel | None = Field(default=None, description="conductivity of the fluid")
    air_temperature: GaugeModel | None = Field(default=None, description="temperature of the hall")
    humidity: GaugeModel | None = Field(default=None, description="humidity of the hall")


Interval: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=400.0)]
"""How often; 0: not asked for. [d]"""


class ChecksModel(Section):
    """How often people check the fluid; what is left out nobody is reminded of."""

    refractometer_d: Interval | None = Field(
        default=None, description="handheld reading, every [d]"
    )
    titration_d: Interval | None = Field(default=None, description="titration, every [d]")
    dipstick_d: Interval | None = Field(default=None, description="dipstick, every [d]")
    ph_d: Interval | None = Field(default=None, description="pH, every [d]")
    dip_slide_d: Interval | None = Field(default=None, description="dip slide, every [d]")
    hardness_d: Interval | None = Field(default=None, description="hardness, every [d]")
    nitrite_d: Interval | None = Field(
        default=None,
        description="nitrite, every [d]; four weeks are enough after three below 10 mg/L",
    )
    chloride_d: Interval | None = Field(default=None, description="chloride, every [d]")
    conductivity_d: Interval | None = Field(default=None, description="conductivity, every [d]")
    tramp_oil_d: Interval | None = Field(default=None, description="tramp oil, every [d]")
    look_d: Interval | None = Field(default=None, description="look and smell, every [d]")


class StationModel(Section):
    """A dosing unit at this sump. Interlocks and overfill switches remain the equipment's."""

    automatic: bool = Field(default=False, description="whether it is given setpoints by itself")
    max_dose_l: Litres | None = Field(default=None, description="most that one dose may be [L]")
    max_day_l: Litres | None = Field(default=None, description="most in any 24 hours [L]")
    max_hour_l: Litres | None = Field(
        default=None, description="most in any hour [L]; absent: one largest dose"
    )
    min_dose_l: Litres | None = Field(
        default=None,
        description="so much must fit before it doses [L]; absent: 1.5 % of the volume at target",
    )
    resolution_l: Litres = Field(default=0.1, description="step in which it measures [L]")
    slowest_l_min: Litres = Field(default=2.0, description="it pours no slower than this [L/min]")


class SumpModel(Section):
    """One sump."""

    id: Id = Field(description="id of the sump")
    name: Name = Field(default="", description="what people call it")
    concentrate: Id = Field(description="id of the concentrate that its fluid is made of")
    tank: TankModel = Field(description="shape and inside measures")
    level_mm: LevelsModel = Field(
        description="depths with the pumps stopped and everything drained back"
    )
    holdup_l: Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1e6)] | None = Field(
        default=None,
        description="volume up in the machine while the pumps run [L]; absent: learned",
    )
    pump_l_min: Litres | None = Field(
        default=None,
        description="flow of all pumps [L/min]; with it turnovers are minutes",
    )
    headroom_mm: Depth = Field(
        default=15.0, description="kept free under the brim after a dose [mm]"
    )
    margin_sd: Amount = Field(
        default=2.0, description="kept free on top of the headroom, in sds of the volume"
    )
    vessels: Annotated[list[Id], Field(max_length=100)] | None = Field(
        default=None, description="ids of the vessels used here; absent: all"
    )
    supplies: Annotated[list[Id], Field(max_length=100)] | None = Field(
        default=None,
        description="ids of the supplies used here; absent: all water, and all of its concentrate",
    )
    signals: SignalsModel = Field(
        default_factory=SignalsModel, description="the signals that are there; none is required"
    )
    station: StationModel | None = Field(default=None, description="a dosing unit at this sump")
    alarms: dict[str, AlarmModel] = Field(
        default_factory=dict,
        description="by alarm name, or name/signal: what this sump wants otherwise",
    )
    checks: ChecksModel = Field(
        default_factory=ChecksModel,
        description="how often this sump is checked; what is left out: as the plant's, 0: not here",
    )
