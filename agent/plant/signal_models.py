"""Where a signal comes from, how its payload is read, and what the sensor is."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from agent.plant.fields import Millimetres, Positive, Real, Seconds, Section, TopicText, UnitName

Pointer: TypeAlias = Annotated[str, Field(max_length=500, pattern=r"^(/([^/~]|~[01])*)*$")]
"""A JSON pointer, RFC 6901."""

Part: TypeAlias = Annotated[str, Field(min_length=1, max_length=500, pattern=r"^[^/+#\x00]+$")]
"""One level of a Sparkplug topic: Sparkplug 3.0, 4.1."""


class SparkplugModel(Section):
    """Where a signal stands in Sparkplug B."""

    group: Part = Field(description="group id")
    edge: Part = Field(description="edge node id")
    device: Part | None = Field(
        default=None, description="device id; absent: a metric of the edge node itself"
    )
    metric: Annotated[str, Field(min_length=1, max_length=500)] = Field(
        description="name of the metric, as its birth certificate has it"
    )


class SignalModel(Section):
    """What every signal may say."""

    topic: TopicText | None = Field(default=None, description="MQTT topic, without wildcards")
    sparkplug: SparkplugModel | None = Field(
        default=None, description="in place of a topic: where it stands in Sparkplug B"
    )
    value_pointer: Pointer | None = Field(
        default=None, description="JSON pointer (RFC 6901) to the value"
    )
    time_pointer: Pointer | None = Field(
        default=None, description="JSON pointer to the time; absent: the time of arrival"
    )
    unit_pointer: Pointer | None = Field(
        default=None, description="JSON pointer to the unit, which then goes before `unit`"
    )
    name: Annotated[str, Field(min_length=1, max_length=500)] | None = Field(
        default=None, description="SenML name, where a pack holds several"
    )
    interval_s: Seconds | None = Field(
        default=None, description="usual time between readings; absent: learned [s]"
    )
    stale_after_s: Seconds | None = Field(
        default=None, description="age at which it is stale; absent: ten intervals [s]"
    )
    lateness_s: Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=86_400.0)] | None = Field(
        default=None, description="allowed lateness; absent: the plant's [s]"
    )


class MeasuredModel(SignalModel):
    """A signal with a unit."""

    unit: UnitName | None = Field(
        default=None,
        description=(
            "unit of a payload that carries none; absent: mm, L, % or Pa of a level by its kind, "
            "degBrix, degC, L of meters, mS/cm, % of humidity"
        ),
    )
    range: Annotated[list[Real], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="lowest and highest reading, in `unit`; others are refused"
    )


class GaugeModel(MeasuredModel):
    """A sensor with a spread of its own: temperature, pH, conductivity, hall climate."""

    sd: Positive | None = Field(
        default=None, description="the sensor's own spread, one standard deviation in `unit`"
    )


class LevelModel(GaugeModel):
    """The level sensor."""

    kind: Literal["depth", "air-gap", "volume", "percent", "pressure"] = Field(
        default="depth",
        description=(
            "what it reads: depth, the gap from sensor to fluid, volume, percent of the volume "
            "at the brim, pressure at the floor"
        ),
    )
    mount_mm: Millimetres | None = Field(
        default=None, description="of an air-gap sensor: its height above the floor [mm]"
    )


class BrixModel(GaugeModel):
    """The inline refractometer."""

    compensated: bool = Field(
        default=True, description="true: its reading is referred to 20 °C already"
    )
    needs_flow: bool = Field(
        default=True, description="true: it says nothing while the pumps stand; false: in the tank"
    )


class MeterModel(MeasuredModel):
    """A totaliser on a make-up line."""

    sd_pct: Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=100.0)] = Field(
        default=1.0, description="sd of its gain [%]"
    )
    rollover: Positive | None = Field(
        default=None,
        description="it starts again at zero here, in `unit`; absent: a fall is a reset",
    )


TrueValues: TypeAlias = Annotated[
    list[Annotated[str, Field(min_length=1, max_length=100)]], Field(min_length=1, max_length=100)
]


class SwitchModel(SignalModel):
    """Something that is on or off."""

    true_values: TrueValues = Field(
        default=["1", "on", "true", "running"],
        description="payload values that mean on, without regard to case",
    )


class CuttingModel(SwitchModel):
    """Whether the machine is machining, or how many parts it has made."""

    kind: Literal["on-off", "counter"] = Field(
        default="on-off", description="on and off, or a counter of parts"
    )
