"""What people and stations say, from the models of the wire to the words of the computation."""

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, TypeAlias, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from advisor.plan import SumpPlan
from advisor.words import (
    Addition,
    AlarmOrder,
    Charge,
    Check,
    Delivery,
    Drain,
    Entry,
    Instant,
    Service,
)
from agent.arrival import Arrival
from agent.decode.bare import text_of
from agent.decode.checks import check_value
from agent.decode.json_payload import parse
from agent.decode.problem import PayloadError
from agent.decode.results import Decoded, Reason, Report, StationAnswer, StockReport
from agent.messages.incoming import (
    SUMP_MESSAGES,
    AcceptedMessage,
    AdditionMessage,
    AlarmCommandMessage,
    AlarmOrderMessage,
    ChargeMessage,
    CheckMessage,
    DeliveredMessage,
    DrainMessage,
    EntryMessage,
    Incoming,
    PlantAlarmCommandMessage,
    ServiceMessage,
    StockMessage,
    SupplyAlarmCommandMessage,
)
from agent.refusals import printable, shown

Message = TypeVar("Message", bound=Incoming)

TOLD_PROBLEMS = 3
"""So many problems of one body are told, with how many more there are. [1]"""

_MODELS: Mapping[str, type[Incoming]] = {model.channel: model for model in SUMP_MESSAGES}

SUMP_CHANNELS: tuple[str, ...] = tuple(_MODELS)
"""Last levels of the topics `PREFIX/SUMP/CHANNEL` on which people and stations speak."""

STOCK_CHANNEL = StockMessage.channel
ORDER_CHANNEL = AlarmOrderMessage.channel


def decode_sump_message(arrival: Arrival, channel: str, sump: SumpPlan) -> Decoded:
    """Read what was said about a sump.

    Parameters
    ----------
    arrival : Arrival
        The message.
    channel : str
        One of `SUMP_CHANNELS`.
    sump : SumpPlan
        The sump that it is about; its fluid's factor turns a refractometer's % into °Brix.

    Raises
    ------
    PayloadError
        If the body is not as expected.
    """
    message = _read(arrival.payload, _MODELS[channel])
    return _WORDS[type(message)](message, _Occasion(arrival, sump, message.at is not None))


def decode_stock(arrival: Arrival, supply: str) -> StockReport:
    """Read what was said about a supply.

    Raises
    ------
    PayloadError
        If the body is not as expected.
    """
    message = _read(arrival.payload, StockMessage)
    return StockReport(
        supply=supply,
        at=_moment(message, arrival),
        id=_id(message, message.id, arrival),
        volume=message.volume_l,
        lot=message.lot,
        expires=message.expires,
        by=message.by,
    )


def decode_supply_order(arrival: Arrival, supply: str) -> AlarmOrder:
    """Read a command on an alarm of a supply.

    Raises
    ------
    PayloadError
        If the body is not as expected.
    """
    message = _read(arrival.payload, SupplyAlarmCommandMessage)
    return _order(message, message.alarm, arrival, supply=supply)


def decode_plant_order(arrival: Arrival) -> AlarmOrder:
    """Read a command on an alarm of the whole plant.

    Raises
    ------
    PayloadError
        If the body is not as expected.
    """
    message = _read(arrival.payload, PlantAlarmCommandMessage)
    return _order(message, message.alarm, arrival)


def _order(
    message: AlarmOrderMessage,
    alarm: str,
    arrival: Arrival,
    *,
    sump: str = "",
    supply: str | None = None,
) -> AlarmOrder:
    """Say what a command on an alarm orders."""
    return AlarmOrder(
        sump=sump,
        supply=supply,
        at=_moment(message, arrival),
        alarm=alarm,
        signal=message.signal,
        verb=message.command,
        until=message.until,
        by=message.by,
        id=message.id or "",
    )


@dataclass(frozen=True, slots=True)
class _Occasion:
    """How a message came, and about which sump."""

    arrival: Arrival
    sump: SumpPlan
    dated: bool

    def entry(self, message: EntryMessage) -> dict[str, Any]:
        """Fields that all entries share."""
        return {
            "at": _moment(message, self.arrival),
            "id": _id(message, message.id, self.arrival),
            "by": message.by,
            "replaces": message.replaces,
        }

    def report(self, entry: Entry) -> Report:
        """Say about which sump an entry is."""
        return Report(self.sump.id, entry, self.dated)


def _moment(message: Incoming, arrival: Arrival) -> Instant:
    """When it happened: as the message says, else on arrival."""
    return arrival.at if message.at is None else message.at


def _id(message: Incoming, given: str | None, arrival: Arrival) -> str:
    """Id of an entry: its own, else a hash, so that the same message twice is the same entry.

    Without an id and without a time the same words may well be said again, so that the time of
    arrival belongs to the hash; a redelivery is then told by the broker's mark.
    """
    if given is not None:
        return given
    said = [arrival.topic.encode(), arrival.payload]
    if message.at is None:
        said.append(str(arrival.at).encode())
    return f"h-{sha256(bytes(1).join(said)).hexdigest()[:16]}"


# --- one function a message ----------------------------------------------------------------------


def _check(message: CheckMessage, occasion: _Occasion) -> Decoded:
    """Of a measurement."""
    value = check_value(message.kind, message.value, message.unit, occasion.sump.fluid)
    return occasion.report(
        Check(
            **occasion.entry(message),
            kind=message.kind,
            value=value,
            sample=message.sample,
        )
    )


def _addition(message: AdditionMessage, occasion: _Occasion) -> Decoded:
    """Of something poured in."""
    water, concentrate = message.amounts
    return occasion.report(
        Addition(
            **occasion.entry(message),
            water=water,
            concentrate=concentrate,
            advice=message.advice,
            supply=message.supply,
            fluid=message.concentrate,
        )
    )


def _drain(message: DrainMessage, occasion: _Occasion) -> Decoded:
    """Of something taken out."""
    return occasion.report(
        Drain(
            **occasion.entry(message),
            volume=message.volume_l,
            to_level=message.to_level_mm,
            everything=message.all,
            to=message.to,
        )
    )


def _charge(message: ChargeMessage, occasion: _Occasion) -> Decoded:
    """Of a stage of a charge."""
    return occasion.report(
        Charge(
            **occasion.entry(message),
            stage=message.stage,
            water=message.water_l,
            concentrate=message.concentrate_l,
        )
    )


def _service(message: ServiceMessage, occasion: _Occasion) -> Decoded:
    """Of something done."""
    return occasion.report(Service(**occasion.entry(message), kind=message.kind, note=message.note))


def _accepted(message: AcceptedMessage, occasion: _Occasion) -> Decoded:
    """Of a station's answer."""
    return StationAnswer(
        sump=occasion.sump.id,
        at=_moment(message, occasion.arrival),
        setpoint=message.setpoint,
        accepted=message.accepted,
        why=message.reason or "",
    )


def _delivered(message: DeliveredMessage, occasion: _Occasion) -> Decoded:
    """Of a station's report."""
    return occasion.report(
        Delivery(
            at=_moment(message, occasion.arrival),
            setpoint=message.setpoint,
            water=message.water_l,
            concentrate=message.concentrate_l,
            finished=message.finished,
            fault=message.fault,
        )
    )


def _alarm_command(message: AlarmCommandMessage, occasion: _Occasion) -> Decoded:
    """Of a command on an alarm."""
    return _order(message, message.alarm, occasion.arrival, sump=occasion.sump.id)


_ToWords: TypeAlias = Callable[[Any, _Occasion], Decoded]

_WORDS: Mapping[type[Incoming], _ToWords] = {
    CheckMessage: _check,
    AdditionMessage: _addition,
    DrainMessage: _drain,
    ChargeMessage: _charge,
    ServiceMessage: _service,
    AcceptedMessage: _accepted,
    DeliveredMessage: _delivered,
    AlarmCommandMessage: _alarm_command,
}


# --- bodies against their models -----------------------------------------------------------------


def _read(payload: bytes, model: type[Message]) -> Message:
    """Read a body strictly; what is wrong with it is told key by key."""
    parse(payload)  # the model's own reader lets a key stand twice and takes the last
    try:
        return model.model_validate_json(text_of(payload))
    except ValidationError as error:
        problems = error.errors(include_url=False)
        told = [_told(problem, model) for problem in problems[:TOLD_PROBLEMS]]
        if len(problems) > TOLD_PROBLEMS:
            told.append(f"and {len(problems) - TOLD_PROBLEMS} more")
        raise PayloadError(Reason.SCHEMA, "; ".join(told)) from error


def _told(problem: ErrorDetails, model: type[Incoming]) -> str:
    """Say where in a body something is wrong, what was found, and what was expected."""
    where = ".".join(printable(str(part), 32) for part in problem["loc"])
    match problem["type"]:
        case "extra_forbidden":
            return f"{where} is no key of {model.channel}; {_nearest(where, model)}"
        case "missing":
            return f"{where} is absent"
        case "value_error":
            return str(problem.get("ctx", {}).get("error", problem["msg"]))
        case _:
            found = (
                f" is {shown(problem['input'])}" if where else f"it is {shown(problem['input'])}"
            )
            return f"{where}{found}: {problem['msg']}"


def _nearest(key: str, model: type[Incoming]) -> str:
    """Name the known key that was probably meant, else all."""
    known = [field.alias or name for name, field in model.model_fields.items()]
    near = difflib.get_close_matches(key, known, n=1)
    return f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
