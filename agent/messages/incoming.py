"""What people and stations say: the bodies of the topics under the agent's own prefix.

Strict: a number is a number and not a text, an unknown key is an error, a time has its offset.
Moments are `Instant`s once read. Keys carry their units, as on the wire.
"""

from typing import Annotated, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from advisor.words import ChargeStage, CheckKind, Signal
from agent.decode.results import AlarmVerb
from agent.messages.fields import (
    EntryId,
    Finite,
    Litres,
    Millimetres,
    Moment,
    MomentOrDay,
    Name,
    Note,
    Percent,
    PlantId,
)
from agent.messages.names import PlantAlarmName, SumpAlarmName, SupplyAlarmName


class Incoming(BaseModel):
    """What every body that comes in may carry."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)
    channel: ClassVar[str]
    """Last level of the topic."""
    short: ClassVar[str] = ""
    """Name of the message, where it is not its channel."""

    schema_version: Literal[1] = Field(
        default=1, alias="schema", description="version of this form of message"
    )
    at: Moment | None = Field(
        default=None,
        description="when it happened, RFC 3339 with offset; absent: when the message arrives",
    )


class EntryMessage(Incoming):
    """What a person enters, and may correct later."""

    id: EntryId | None = Field(
        default=None, description="names this entry, so that it counts once and can be corrected"
    )
    replaces: EntryId | None = Field(
        default=None, description="id of the earlier entry that this one corrects"
    )
    by: Name = Field(default="", description="who entered it")


class CheckMessage(EntryMessage):
    """A person's measurement of the fluid (`PREFIX/SUMP/check`)."""

    model_config = ConfigDict(
        json_schema_extra={
            "if": {"properties": {"kind": {"const": "refractometer"}}},
            "then": {"required": ["unit"]},
        }
    )
    channel: ClassVar[str] = "check"

    kind: CheckKind = Field(description="what was measured, and how")
    value: Annotated[Finite, Field(ge=0.0)] = Field(
        description="the reading in `unit`; `look`: 0 good to 1 bad"
    )
    unit: Annotated[str, Field(max_length=32)] = Field(
        default="",
        description=(
            "unit of `value`; a refractometer says `degBrix` or `%`; absent, others are read as: "
            "titration and tramp-oil %, dipstick mm, dip-slide CFU/mL, hardness (as CaCO3), "
            "nitrite and chloride mg/L, conductivity mS/cm, ph and look without unit"
        ),
    )
    sample: Literal["as-is", "settled", "filtered"] = Field(
        default="as-is", description="what was done to the sample before it was read"
    )

    @model_validator(mode="after")
    def _says_how_it_was_read(self) -> Self:
        """A refractometer without its unit could be read in two ways."""
        if self.kind is CheckKind.REFRACTOMETER and not self.unit:
            raise ValueError("unit is absent; expected degBrix or % with a refractometer")
        return self


class AdditionMessage(EntryMessage):
    """Something was poured in (`PREFIX/SUMP/addition`).

    Either the water and the concentrate apart, or the volume of a mix and its strength.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "anyOf": [
                {"required": ["water_l"]},
                {"required": ["concentrate_l"]},
                {"required": ["volume_l", "strength_pct"]},
            ]
        }
    )
    channel: ClassVar[str] = "addition"

    water_l: Litres | None = Field(default=None, description="water poured in [L]")
    concentrate_l: Litres | None = Field(default=None, description="concentrate poured in [L]")
    volume_l: Litres | None = Field(default=None, description="mix poured in [L]")
    strength_pct: Percent | None = Field(
        default=None, description="strength of that mix, in % of the mix"
    )
    advice: EntryId | None = Field(default=None, description="id of the advice that was followed")
    supply: PlantId | None = Field(default=None, description="supply that it was taken from")
    concentrate: PlantId | None = Field(default=None, description="concentrate that was poured")

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        """Both forms at once could contradict each other."""
        apart = self.water_l is not None or self.concentrate_l is not None
        mixed = self.volume_l is not None or self.strength_pct is not None
        if apart == mixed:
            raise ValueError("expected either water_l and concentrate_l or volume_l, strength_pct")
        if mixed and (self.volume_l is None or self.strength_pct is None):
            raise ValueError("expected volume_l and strength_pct together")
        if sum(self.amounts) <= 0.0 and self.replaces is None:
            raise ValueError("nothing was poured in; expected more than 0 L")
        return self

    @property
    def amounts(self) -> tuple[float, float]:
        """Water and concentrate. [L]"""
        if self.volume_l is None or self.strength_pct is None:
            return self.water_l or 0.0, self.concentrate_l or 0.0
        concentrate = self.volume_l * self.strength_pct / 100.0
        return self.volume_l - concentrate, concentrate


class DrainMessage(EntryMessage):
    """Fluid was taken out (`PREFIX/SUMP/drain`): a volume, down to a depth, or all of it."""

    model_config = ConfigDict(
        json_schema_extra={
            "anyOf": [{"required": [key]} for key in ("volume_l", "to_level_mm", "all")]
        }
    )
    channel: ClassVar[str] = "drain"

    volume_l: Litres | None = Field(default=None, description="volume taken out [L]")
    to_level_mm: Millimetres | None = Field(
        default=None, description="depth left, pumps stopped and everything drained back [mm]"
    )
    all: bool = Field(default=False, description="whether the sump was emptied")
    to: Name = Field(default="", description="where it went")

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        """Two of the three at once could contradict each other."""
        forms = (self.volume_l is not None, self.to_level_mm is not None, self.all)
        if sum(forms) != 1:
            raise ValueError("expected exactly one of volume_l, to_level_mm and all")
        if self.volume_l == 0.0 and self.replaces is None:
            raise ValueError("nothing was taken out; expected more than 0 L")
        return self


class ChargeMessage(EntryMessage):
    """A stage of filling an emptied sump with fresh mix (`PREFIX/SUMP/charge`)."""

    channel: ClassVar[str] = "charge"

    stage: ChargeStage = Field(
        description="`begun`: the sump is emptied; `filled`: the mix is in; `done`: back to work"
    )
    water_l: Litres | None = Field(default=None, description="water poured so far [L]")
    concentrate_l: Litres | None = Field(default=None, description="concentrate so far [L]")


class ServiceMessage(EntryMessage):
    """Something was done to the sump or its sensors (`PREFIX/SUMP/service`)."""

    channel: ClassVar[str] = "service"

    kind: Literal["prism-cleaned", "skimmed", "sump-cleaned", "biocide", "other"] = Field(
        description="what was done"
    )
    note: Note = Field(default="", description="more about it")


class AcceptedMessage(Incoming):
    """A station's answer to a setpoint, before it pours (`PREFIX/SUMP/accepted`)."""

    channel: ClassVar[str] = "accepted"

    setpoint: EntryId = Field(description="id of the setpoint")
    accepted: bool = Field(description="whether the station will carry it out")
    reason: Note | None = Field(default=None, description="why not")


class DeliveredMessage(Incoming):
    """A station's report (`PREFIX/SUMP/delivered`): totals for one setpoint so far."""

    channel: ClassVar[str] = "delivered"

    setpoint: EntryId = Field(description="id of the setpoint")
    water_l: Litres = Field(description="water poured for it so far [L]")
    concentrate_l: Litres = Field(description="concentrate poured for it so far [L]")
    finished: bool = Field(description="whether the station is done with it")
    fault: Note | None = Field(default=None, description="what went wrong")


class AlarmOrderMessage(Incoming):
    """What a person wants done with an alarm."""

    channel: ClassVar[str] = "alarm-command"

    id: EntryId | None = Field(
        default=None,
        description="names this order; the answer carries it, without it there is none",
    )
    signal: Signal | None = Field(default=None, description="signal, of an alarm about one")
    command: AlarmVerb = Field(description="what shall be done with it")
    until: Moment | None = Field(
        default=None, description="end of shelving, suppression or being out of service"
    )
    by: Name = Field(default="", description="who wants it")


class AlarmCommandMessage(AlarmOrderMessage):
    """What a person wants done with an alarm of a sump (`PREFIX/SUMP/alarm-command`)."""

    alarm: SumpAlarmName = Field(description="name of the alarm")


class PlantAlarmCommandMessage(AlarmOrderMessage):
    """What a person wants done with an alarm of the whole plant (`PREFIX/alarm-command`)."""

    short: ClassVar[str] = "plant-alarm-command"

    alarm: PlantAlarmName = Field(description="name of the alarm")


class SupplyAlarmCommandMessage(AlarmOrderMessage):
    """What a person wants done with a supply's alarm (`PREFIX/supply/SUPPLY/alarm-command`)."""

    short: ClassVar[str] = "supply-alarm-command"

    alarm: SupplyAlarmName = Field(description="name of the alarm")


class StockMessage(Incoming):
    """What is left of a supply (`PREFIX/supply/SUPPLY/stock`)."""

    channel: ClassVar[str] = "stock"

    id: EntryId | None = Field(default=None, description="names this entry")
    volume_l: Litres = Field(description="what is left [L]")
    lot: Name = Field(default="", description="lot number on the label")
    expires: MomentOrDay | None = Field(
        default=None, description="end of its shelf life: a time, or a date (its end in UTC)"
    )
    by: Name = Field(default="", description="who looked")


SUMP_MESSAGES: tuple[type[Incoming], ...] = (
    CheckMessage,
    AdditionMessage,
    DrainMessage,
    ChargeMessage,
    ServiceMessage,
    AcceptedMessage,
    DeliveredMessage,
    AlarmCommandMessage,
)
"""Of topics `PREFIX/SUMP/CHANNEL`."""

SUPPLY_MESSAGES: tuple[type[Incoming], ...] = (StockMessage, SupplyAlarmCommandMessage)
"""Of topics `PREFIX/supply/SUPPLY/CHANNEL`."""

PLANT_MESSAGES: tuple[type[Incoming], ...] = (PlantAlarmCommandMessage,)
"""Of topics `PREFIX/CHANNEL`."""
