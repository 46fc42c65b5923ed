"""What the API answers: bodies of its own, around those of the messages."""

from typing import Annotated, Literal

from pydantic import Field

from advisor.words import Priority, Signal
from agent.decode.results import Reason
from agent.messages.fields import EntryId, Finite, Moment, PlantId
from agent.messages.incoming import (
    AdditionMessage,
    ChargeMessage,
    CheckMessage,
    DeliveredMessage,
    DrainMessage,
    ServiceMessage,
)
from agent.messages.outgoing import (
    AdviceMessage,
    AlarmMessage,
    Body,
    EstimateBody,
    EventMessage,
    PlantAlarmMessage,
    StateMessage,
    SupplyAlarmMessage,
)

Amount = Annotated[Finite, Field(ge=0.0)]
Channel = Literal["check", "addition", "drain", "charge", "service", "delivered"]


class SelfBody(Body):
    """Who asks, and what they may do."""

    name: str = Field(description="who is signed in; empty where nobody is asked")
    role: Literal["look", "enter", "change"] = Field(description="what they may do")
    program: bool = Field(description="whether a bearer token was brought")
    form_token: str | None = Field(
        description="to be sent as X-Form-Token with a session's POST; null: none is needed"
    )


class ConcentrateBody(Body):
    """A concentrate and the rules for the fluid made of it."""

    id: PlantId = Field(description="id of the concentrate")
    name: str = Field(description="what stands on the drum")
    refractometer_factor: Finite = Field(description="% of the mix per degree Brix")
    low_pct: Finite = Field(description="lowest concentration allowed, % of the mix")
    high_pct: Finite = Field(description="highest concentration allowed, % of the mix")
    target_pct: Finite = Field(description="concentration aimed for, % of the mix")
    price_per_l: Finite | None = Field(description="price of a litre")
    disposal_per_l: Finite | None = Field(description="cost of a litre of used fluid")


class SumpPlanBody(Body):
    """What the plant file says of a sump; depths are with the pumps stopped."""

    id: PlantId = Field(description="id of the sump")
    name: str = Field(description="what people call it")
    concentrate: PlantId = Field(description="id of its concentrate")
    low_mm: Finite = Field(description="lowest depth to work at [mm]")
    top_up_mm: Finite = Field(description="a top-up is due below this depth [mm]")
    target_mm: Finite = Field(description="depth to fill to [mm]")
    brim_mm: Finite = Field(description="depth at which it runs over [mm]")
    low_l: Finite = Field(description="volume at the lowest depth, holdup left out [L]")
    target_l: Finite = Field(description="volume at the target, holdup left out [L]")
    brim_l: Finite = Field(description="volume at the brim, holdup left out [L]")
    holdup_l: Finite | None = Field(description="up in the machine; null: learned [L]")
    signals: list[Signal] = Field(description="signals that are bound")
    station: bool = Field(description="whether a station doses here")


class SupplyBody(Body):
    """Where water, concentrate or a mix comes from, and what is left of it."""

    id: PlantId = Field(description="id of the supply")
    name: str = Field(description="what people call it")
    kind: Literal["water", "drum", "premix", "proportioner"] = Field(description="what it is")
    concentrate: PlantId | None = Field(description="id of the concentrate in it")
    full_l: Finite | None = Field(description="content when full [L]")
    left_l: Finite | None = Field(description="what was left when somebody last looked [L]")
    at: Moment | None = Field(description="when somebody last looked")
    lot: str = Field(description="lot number told then; empty: none")
    expires: Moment | None = Field(description="end of its shelf life, as told then")


class PlantBody(Body):
    """The plant as a whole."""

    id: PlantId = Field(description="id of the plant")
    name: str = Field(description="what people call it")
    units: Literal["metric", "us"] = Field(description="units that people read; here all is metric")
    timezone: str = Field(description="IANA name of the time zone that people live in")
    version: str = Field(description="version of millpond")
    now: Moment | None = Field(description="time up to which data were taken in; null: none yet")
    broker_connected: bool = Field(description="whether anything can be entered")
    concentrates: list[ConcentrateBody] = Field(description="in use at some sump")
    sumps: list[SumpPlanBody] = Field(description="in the order of the plant file")


class DueBody(Body):
    """When the next top-up is due."""

    at: Moment = Field(description="best estimate")
    give_or_take_h: Amount = Field(description="it almost surely is within so much [h]")


class OverviewBody(Body):
    """One sump at a glance."""

    id: PlantId = Field(description="id of the sump")
    name: str = Field(description="what people call it")
    urgency: Literal["now", "look", "unknown", "soon", "later"] = Field(
        description="how soon it wants somebody"
    )
    advice: Literal["none", "top-up", "charge", "exchange", "check", "unknown"] = Field(
        description="kind of the advice that stands"
    )
    due: DueBody | None = Field(description="next top-up; null: cannot be told")
    alarms: Annotated[int, Field(ge=0)] = Field(description="alarms that stand and are on duty")
    state: StateMessage | None = Field(description="as last told; null: nothing yet")


class OverviewsBody(Body):
    """All sumps, the most urgent first."""

    sumps: list[OverviewBody] = Field(description="the most urgent first")


class AdvicesBody(Body):
    """What is advised everywhere."""

    advice: list[AdviceMessage] = Field(description="in the order of the plant file")


class EventsBody(Body):
    """Additions, drains and charges of a stretch of time."""

    events: list[EventMessage] = Field(description="oldest first, each as last told")


class PointBody(Body):
    """What was told of a sump at a moment, or at the end of a stretch of time."""

    at: Moment = Field(description="moment for which it holds")
    volume_l: EstimateBody | None = Field(description="all the fluid, holdup included [L]")
    volume_range_l: list[Finite] | None = Field(description="lowest and highest of the stretch")
    concentration_pct: EstimateBody | None = Field(description="in % of the mix")
    concentration_range_pct: list[Finite] | None = Field(
        description="lowest and highest of the stretch"
    )
    water_l_per_day: EstimateBody | None = Field(
        description="net loss of water over the 24 hours before [L/day]"
    )
    concentrate_l_per_day: EstimateBody | None = Field(
        description="loss of concentrate over the 24 hours before [L/day]"
    )


class SeriesBody(Body):
    """Estimates over time, for a chart."""

    sump: PlantId = Field(description="id of the sump")
    begin: Moment = Field(description="as asked for")
    end: Moment = Field(description="as asked for")
    points: list[PointBody] = Field(description="oldest first")


class ReadingsPointBody(Body):
    """A stretch of time of a signal."""

    at: Moment = Field(description="its first reading, or the minute or hour that it stands in")
    readings: Annotated[int, Field(ge=1)] = Field(description="how many readings it has")
    low: Finite = Field(description="lowest")
    high: Finite = Field(description="highest")
    mean: Finite = Field(description="mean")


class ReadingsBody(Body):
    """A signal's readings over time, for a chart."""

    sump: PlantId = Field(description="id of the sump")
    signal: Signal = Field(description="which signal")
    unit: str = Field(description="unit of the values, the plant file's; empty of on and off")
    points: list[ReadingsPointBody] = Field(description="oldest first")


class EntryBody(Body):
    """What somebody has entered, as it stands in the records."""

    id: EntryId = Field(description="names the entry; replaces and undo refer to it")
    channel: Channel = Field(description="which message it was")
    received_at: Moment = Field(description="when the agent received it")
    replaced: bool = Field(description="whether a later entry stands in its place")
    used: bool = Field(description="whether the balance takes it in")
    body: (
        CheckMessage
        | AdditionMessage
        | DrainMessage
        | ChargeMessage
        | ServiceMessage
        | DeliveredMessage
    ) = Field(description="as a message of its channel would say it")


class EntriesBody(Body):
    """Entries about a stretch of time."""

    entries: list[EntryBody] = Field(description="newest first")


class StandingBody(Body):
    """An alarm that stands, and what may be ordered to be done with it."""

    commands: list[str] = Field(description="commands that people are offered")
    alarm: AlarmMessage | PlantAlarmMessage | SupplyAlarmMessage = Field(description="as last told")


class AlarmsBody(Body):
    """Alarms that stand."""

    alarms: list[StandingBody] = Field(description="the most urgent first")


class AlarmChangeBody(Body):
    """One line of the alarms' journal."""

    at: Moment = Field(description="when, by the agent's clock")
    sump: PlantId | None = Field(description="id of the sump; null: not about one")
    supply: PlantId | None = Field(description="id of the supply; null: not about one")
    name: str = Field(description="name of the alarm")
    signal: Signal | None = Field(description="signal that it is about, if it is about one")
    was: str = Field(description="state before")
    state: str = Field(description="state afterwards")
    priority: Priority = Field(description="how soon it wants an answer")
    by: str | None = Field(description="who ordered it, where somebody did")


class AlarmChangesBody(Body):
    """Changes of alarms in a stretch of time."""

    changes: list[AlarmChangeBody] = Field(description="newest first, at most 1000")


class SuppliesBody(Body):
    """All supplies."""

    supplies: list[SupplyBody] = Field(description="in the order of the plant file")


class RefusalBody(Body):
    """Something that could not be used."""

    at: Moment = Field(description="when it arrived")
    topic: str = Field(description="where it arrived")
    reason: Reason = Field(description="why, in a word")
    detail: str = Field(description="where, what was found, what was expected")
    excerpt: str = Field(description="beginning of the payload, escaped")
    sump: str | None = Field(description="id of the sump that it is about, where that is known")


class RefusalsBody(Body):
    """What could not be used lately, and how often ever."""

    refusals: list[RefusalBody] = Field(description="newest first")
    counts: dict[Reason, int] = Field(description="by reason, since the store was begun")


class EffectBody(Body):
    """What an entry would change."""

    volume_l: EstimateBody | None = Field(description="all the fluid [L]")
    concentration_pct: EstimateBody | None = Field(description="in % of the mix")


class PreviewBody(Body):
    """What is known of a sump before and after an entry; null: cannot be told beforehand."""

    before: EffectBody | None = Field(description="as known now")
    after: EffectBody | None = Field(description="with the entry")
    far: bool = Field(description="whether a reading is far from what the balance expects")


class UndoBody(Body):
    """Which entry is to be taken back."""

    entry: EntryId = Field(description="id of the entry; it stays in the records")


class SentBody(Body):
    """What became of what was sent."""

    id: EntryId = Field(description="id of the entry or order: yours, or one made for it")
    outcome: Literal["stored", "sent"] = Field(
        description="stored: it counts; sent: on its way through the broker, not confirmed yet"
    )
