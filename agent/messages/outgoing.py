"""What the agent says: a model of each body, from which schemas and documentation come.

The bodies themselves are written by `agent.messages.bodies`, which is faster; tests hold the two
together.
"""

from typing import Annotated, ClassVar, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

from advisor.effects import AdviceKind, AlarmState
from advisor.words import AlarmVerb, EventKind, EventSource, Priority, Quality, Signal
from agent.messages.digits import CONCENTRATION, HOURS, LOSS, POUR, READING, VOLUME, step
from agent.messages.fields import EntryId, Finite, Moment, PlantId
from agent.messages.names import AlarmName, PlantAlarmName, SumpAlarmName, SupplyAlarmName


class Body(BaseModel):
    """A part of a message: every key is there, and no other."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Outward(Body):
    """A message that the agent publishes."""

    channel: ClassVar[str]
    """Topic under the agent's prefix."""
    short: ClassVar[str] = ""
    """Name of the message, where it is not the last fixed level of its topic."""
    retained: ClassVar[bool]

    schema_version: Literal[1] = Field(
        alias="schema", description="version of this form of message"
    )


Sd: TypeAlias = Annotated[Finite, Field(ge=0.0)]


class EstimateBody(Body):
    """An estimate with its uncertainty, in the unit that the key names."""

    value: Finite = Field(description="best estimate")
    sd: Sd = Field(description="one standard deviation")


# --- agent ---------------------------------------------------------------------------------------


class AgentMessage(Outward):
    """Whether the agent is there; its last will says offline."""

    channel: ClassVar[str] = "agent"
    retained: ClassVar[bool] = True

    status: Literal["online", "offline"] = Field(description="whether the agent is there")
    version: str = Field(description="version of millpond")
    since: Moment = Field(description="when this run of the agent began")


# --- state ---------------------------------------------------------------------------------------


class LossesBody(Body):
    """Mean losses over the last hours of data time."""

    window_h: Annotated[Finite, Field(ge=0.0)] = Field(
        description=f"over how many hours, {step(HOURS, 'h')}; 24 once there is a day of data"
    )
    water_l_per_day: EstimateBody | None = Field(
        description=f"net loss of water [L/day], {step(LOSS, 'L/day')}"
    )
    concentrate_l_per_day: EstimateBody | None = Field(
        description=f"loss of concentrate [L/day], {step(LOSS, 'L/day')}"
    )
    evaporation_l_per_day: EstimateBody | None = Field(
        description=f"loss of water alone [L/day], {step(LOSS, 'L/day')}"
    )
    carry_off_l_per_day: EstimateBody | None = Field(
        description=f"loss of mix at the sump's concentration [L/day], {step(LOSS, 'L/day')}"
    )


class AccountBody(Body):
    """A running total since a moment."""

    since: Moment = Field(description="first usable reading, or last charge")
    water_l: EstimateBody = Field(description=f"water [L], {step(VOLUME, 'L')}")
    concentrate_l: EstimateBody = Field(description=f"concentrate [L], {step(VOLUME, 'L')}")


class SignalsBody(Body):
    """How far each signal can be trusted; absent: not bound in the plant file."""

    level: Quality
    brix: Quality
    temperature: Quality
    running: Quality
    cutting: Quality
    water_meter: Quality
    concentrate_meter: Quality
    ph: Quality
    conductivity: Quality
    air_temperature: Quality
    humidity: Quality


class StateMessage(Outward):
    """What is known about a sump, at whole minutes of data time and on every event."""

    channel: ClassVar[str] = "{sump}/state"
    retained: ClassVar[bool] = True

    sump: PlantId = Field(description="id of the sump")
    at: Moment = Field(description="data time for which this holds")
    volume_l: EstimateBody | None = Field(
        description=f"all the fluid, holdup included [L], {step(VOLUME, 'L')}"
    )
    concentration_pct: EstimateBody | None = Field(
        description=f"concentrate in % of the mix, v/v, {step(CONCENTRATION, '%')}"
    )
    losses: LossesBody = Field(description="mean losses")
    lost_total: AccountBody | None = Field(description="lost since a moment, leaks included")
    added_total: AccountBody | None = Field(description="added since a moment")
    drained_total: AccountBody | None = Field(
        description="drained since a moment; neither lost nor added"
    )
    signals: SignalsBody = Field(description="how far each signal can be trusted")


# --- event ---------------------------------------------------------------------------------------


class EventMessage(Outward):
    """An addition, drain or charge; again with the same id when its account got better."""

    channel: ClassVar[str] = "{sump}/event"
    retained: ClassVar[bool] = False

    id: EntryId = Field(description="names the event")
    sump: PlantId = Field(description="id of the sump")
    at: Moment = Field(description="when the pouring began")
    kind: EventKind = Field(description="what happened; `withdrawn`: it had not")
    source: EventSource = Field(description="how it is known")
    volume_l: EstimateBody | None = Field(description=f"how much [L], {step(VOLUME, 'L')}")
    strength_pct: EstimateBody | None = Field(
        description=f"its strength in % of the mix, {step(CONCENTRATION, '%')}"
    )


# --- advice --------------------------------------------------------------------------------------


Poured: TypeAlias = Annotated[Finite, Field(ge=0.0)]


class MixBody(Body):
    """What to pour in all: the water first, then the concentrate into the water."""

    water_l: Poured = Field(description=f"water, or weak mix's water [L], {step(POUR, 'L')}")
    concentrate_l: Poured = Field(description=f"concentrate [L], {step(POUR, 'L')}")
    strength_pct: Annotated[Finite, Field(ge=0.0, le=100.0)] = Field(
        description=f"strength in % of the mix, {step(CONCENTRATION, '%')}"
    )


class BatchBody(Body):
    """Equal portions, poured one after another."""

    count: Annotated[int, Field(ge=1)] = Field(description="how many")
    water_l: Poured = Field(description=f"water of one, goes in first [L], {step(POUR, 'L')}")
    concentrate_l: Poured = Field(description=f"concentrate of one [L], {step(POUR, 'L')}")


class AfterBody(Body):
    """The sump once the advice has been carried out."""

    volume_l: EstimateBody = Field(description=f"all the fluid [L], {step(VOLUME, 'L')}")
    concentration_pct: EstimateBody = Field(
        description=f"in % of the mix, {step(CONCENTRATION, '%')}"
    )


_READING = f"in the sensor's unit and sense, {READING} significant digits"


class RangeBody(Body):
    """Alert thresholds; null: none applies."""

    low: Finite | None = Field(description=f"alert below, {_READING}")
    high: Finite | None = Field(description=f"alert above, {_READING}")


class LevelLimitsBody(Body):
    """Of the level sensor, with the pumps running and stopped."""

    running: RangeBody | None = Field(description="while the pumps run")
    stopped: RangeBody | None = Field(description="while the pumps stand")
    unit: str = Field(description="unit of the level signal")


class BrixLimitsBody(RangeBody):
    """Of the inline refractometer."""

    unit: str = Field(description="unit of the refractometer's signal")


class HighBody(Body):
    """A rate that alerts when it is exceeded; null: none applies."""

    high: Finite | None = Field(description=f"alert above [L/day], {step(LOSS, 'L/day')}")


class LossLimitsBody(Body):
    """Of the losses."""

    water_l_per_day: HighBody = Field(description="loss of water")
    concentrate_l_per_day: HighBody = Field(description="loss of concentrate")


class LimitsBody(Body):
    """Alert thresholds that a controller beside the sump can hold without the agent."""

    level: LevelLimitsBody | None = Field(description="null: the sump has no level signal")
    brix: BrixLimitsBody | None = Field(description="null: no inline refractometer")
    loss: LossLimitsBody = Field(description="limits of the losses")


class NextAtBody(Body):
    """When, with its uncertainty."""

    value: Moment = Field(description="expected time")
    sd_h: Sd = Field(description=f"one standard deviation [h], {step(HOURS, 'h')}")


class NextBody(Body):
    """The next top-up that will be due."""

    at: NextAtBody = Field(description="when it will be due")
    strength_pct: Annotated[Finite, Field(ge=0.0, le=100.0)] = Field(
        description=f"strength that then holds the concentration, {step(CONCENTRATION, '%')}"
    )


class AdviceMessage(Outward):
    """What to pour, drain or measure now. An empty retained payload withdraws it."""

    channel: ClassVar[str] = "{sump}/advice"
    retained: ClassVar[bool] = True

    id: EntryId = Field(description="names the advice")
    sump: PlantId = Field(description="id of the sump")
    issued_at: Moment = Field(description="when it was given")
    valid_until: Moment = Field(description="not to be followed afterwards")
    kind: AdviceKind = Field(description="what to do")
    mix: MixBody | None = Field(description="in all; null with `none` and `check`")
    batches: list[BatchBody] | None = Field(
        description="portions in the order of pouring; they add up to the mix"
    )
    drain_l: Poured = Field(description=f"to be drained first [L], {step(POUR, 'L')}")
    after: AfterBody | None = Field(description="the sump afterwards")
    limits: LimitsBody = Field(description="alert thresholds")
    next: NextBody | None = Field(description="the top-up after this")
    why: list[str] = Field(description="reasons, for people")
    cautions: list[str] = Field(description="what to mind, for people")


# --- alarm ---------------------------------------------------------------------------------------


class AlarmBody(Outward):
    """How an alarm stands. When normal it is told once, not retained, then withdrawn."""

    retained: ClassVar[bool] = True

    signal: Signal | None = Field(description="signal that it is about, if it is about one")
    state: AlarmState = Field(description="state of IEC 62682 / ISA-18.2")
    active: bool = Field(description="whether the condition holds")
    acknowledged: bool = Field(description="whether somebody has acknowledged it")
    priority: Priority = Field(description="how soon it wants an answer")
    raised_at: Moment | None = Field(description="when it was raised")
    value: Finite | None = Field(description=f"what was found, {READING} significant digits")
    limit: Finite | None = Field(description=f"what it is held against, {READING} digits")
    unit: str = Field(description="unit of value and limit")
    cause: str = Field(description="what is probably the matter")
    consequence: str = Field(description="what comes of it")
    action: str = Field(description="what to do")
    because_of: str | None = Field(description="alarm of which this one is a consequence")
    by: str | None = Field(description="who acknowledged, shelved or suppressed it")
    until: Moment | None = Field(description="end of shelving, suppression, out of service")


class AlarmMessage(AlarmBody):
    """How a sump's alarm stands. When normal it is told once, not retained, then withdrawn."""

    channel: ClassVar[str] = "{sump}/alarm/{alarm}"

    sump: PlantId = Field(description="id of the sump")
    name: SumpAlarmName = Field(description="name of the alarm")


class PlantAlarmMessage(AlarmBody):
    """How an alarm of the whole plant stands; told as those of the sumps are."""

    channel: ClassVar[str] = "alarm/{alarm}"
    short: ClassVar[str] = "plant-alarm"

    sump: None = Field(description="none: it is about the whole plant")
    name: PlantAlarmName = Field(description="name of the alarm")


class SupplyAlarmMessage(AlarmBody):
    """How a supply's alarm stands; told as those of the sumps are."""

    channel: ClassVar[str] = "supply/{supply}/alarm/{alarm}"
    short: ClassVar[str] = "supply-alarm"

    sump: None = Field(description="none: it is about a supply")
    supply: PlantId = Field(description="id of the supply")
    name: SupplyAlarmName = Field(description="name of the alarm")


class AlarmAnswerMessage(Outward):
    """What became of an order on an alarm; of orders that carry an id."""

    channel: ClassVar[str] = "{sump}/alarm-answer"
    retained: ClassVar[bool] = False

    id: EntryId = Field(description="id of the order")
    sump: PlantId | None = Field(description="id of the sump, of a sump's alarm")
    supply: PlantId | None = Field(description="id of the supply, of a supply's alarm")
    alarm: AlarmName = Field(description="name of the alarm")
    signal: Signal | None = Field(description="signal that the order named")
    command: AlarmVerb = Field(description="what was wanted")
    by: str = Field(description="who wanted it")
    accepted: bool = Field(description="whether it was carried out")
    reason: str | None = Field(description="why not")


# --- stations ------------------------------------------------------------------------------------


class StopLevelBody(Body):
    """Level at which the station stops by itself."""

    value: Finite = Field(description=_READING)
    unit: str = Field(description="unit of the level signal")


class SetpointMessage(Outward):
    """What a station shall pour: it ends where the counters say, or at any of its limits."""

    channel: ClassVar[str] = "{sump}/setpoint"
    retained: ClassVar[bool] = False

    id: EntryId = Field(description="names the setpoint; carried out at most once")
    sump: PlantId = Field(description="id of the sump")
    advice: EntryId = Field(description="id of the advice that it carries out")
    water_l: Poured = Field(description=f"water to pour [L], {step(POUR, 'L')}")
    concentrate_l: Poured = Field(description=f"concentrate to pour [L], {step(POUR, 'L')}")
    max_strength_pct: Annotated[Finite, Field(ge=0.0, le=100.0)] = Field(
        description=f"never stronger than this, {step(CONCENTRATION, '%')}"
    )
    water_meter_end_l: Finite | None = Field(description="where the water counter shall end [L]")
    concentrate_meter_end_l: Finite | None = Field(
        description="where the concentrate counter shall end [L]"
    )
    stop_at_level: StopLevelBody | None = Field(description="stop when the level is there")
    issued_at: Moment = Field(description="when it was given")
    expires_at: Moment = Field(description="not to be begun afterwards")


class LeaseMessage(Outward):
    """Permission to go on with a setpoint; at most 10 minutes at a time."""

    channel: ClassVar[str] = "{sump}/lease"
    retained: ClassVar[bool] = False

    setpoint: EntryId = Field(description="id of the setpoint")
    until: Moment = Field(description="stop then, unless the lease was renewed")


OUTWARD: tuple[type[Outward], ...] = (
    AgentMessage,
    StateMessage,
    EventMessage,
    AdviceMessage,
    AlarmMessage,
    PlantAlarmMessage,
    SupplyAlarmMessage,
    AlarmAnswerMessage,
    SetpointMessage,
    LeaseMessage,
)
"""All that the agent publishes."""
