"""From what the computation wants told to the bytes that go out.

Written out by hand, since a state goes out every minute for every sump: one pass, no dictionary
in between. The models in `agent.messages.outgoing` say what each body is; tests hold them
together.
"""

from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from json import dumps
from math import isfinite
from typing import Generic, TypeVar

from advisor.effects import Advice, AlarmReport, Batch, Limits, Mix, NextTopUp, Range, Setpoint
from advisor.words import (
    Account,
    AlarmOrder,
    Estimate,
    Instant,
    Losses,
    Quality,
    Signal,
    SumpEvent,
    SumpState,
)
from agent.instants import text_of
from agent.messages.digits import CONCENTRATION, HOURS, LOSS, POUR, READING, VOLUME
from agent.messages.names import sump_in, supply_in

_Value = TypeVar("_Value")

# --- pieces --------------------------------------------------------------------------------------


def _rounded(digits: int, factor: float = 1.0) -> Callable[[float], str]:
    """Writer of numbers to so many decimals, without a negative zero."""
    form = f"z.{digits}f"

    def write(value: float) -> str:
        if not isfinite(value):
            raise ValueError(f"{value} cannot be told")
        return format(value * factor, form)

    return write


def _estimated(digits: int, factor: float = 1.0) -> Callable[[Estimate | None], str]:
    """Writer of estimates to so many decimals."""
    form = f'{{{{"value":{{:z.{digits}f}},"sd":{{:z.{digits}f}}}}}}'.format

    def write(estimate: Estimate | None) -> str:
        if estimate is None:
            return "null"
        value, sd = estimate.value, estimate.sd
        if not (isfinite(value) and isfinite(sd)):
            raise ValueError(f"{estimate} cannot be told")
        return form(value * factor, sd * factor)

    return write


_volume = _estimated(VOLUME)
_percent = _estimated(CONCENTRATION, 100.0)
_rate = _estimated(LOSS)
_pour = _rounded(POUR)
_strength = _rounded(CONCENTRATION, 100.0)
_loss = _rounded(LOSS)
_hours = _rounded(HOURS)


def _reading(value: float | None) -> str:
    """Text of a number in a sensor's own unit, to significant digits."""
    if value is None:
        return "null"
    if not isfinite(value):
        raise ValueError(f"{value} cannot be told")
    return f"{value + 0.0:.{READING}g}"


def _text(text: str | None) -> str:
    """JSON text, or null."""
    return "null" if text is None else dumps(text, ensure_ascii=False)


def _texts(texts: Iterable[str]) -> str:
    """JSON list of texts."""
    return "[" + ",".join(map(_text, texts)) + "]"


@lru_cache(maxsize=4096)
def _moment(at: Instant | None) -> str:
    """Text of a moment; the same ones come again, in every sump and every minute."""
    return "null" if at is None else f'"{text_of(at)}"'


def _truth(value: bool) -> str:  # noqa: FBT001  it is the value that is written
    """JSON truth value."""
    return "true" if value else "false"


def _encoded(body: str) -> bytes:
    """UTF-8; half of a surrogate pair, which UTF-8 cannot carry, as the JSON escape it once was."""
    return body.encode("utf-8", "backslashreplace")


# --- agent ---------------------------------------------------------------------------------------


def agent_body(*, online: bool, version: str, since: Instant) -> bytes:
    """Body of `PREFIX/agent`."""
    status = "online" if online else "offline"
    return _encoded(
        f'{{"schema":1,"status":"{status}","version":{_text(version)},"since":{_moment(since)}}}'
    )


# --- state and events ----------------------------------------------------------------------------


def state_body(sump: str, state: SumpState) -> bytes:
    """Body of `PREFIX/SUMP/state`."""
    return _encoded(
        f'{{"schema":1,"sump":"{sump}","at":{_moment(state.at)},'
        f'"volume_l":{_volume(state.volume)},'
        f'"concentration_pct":{_percent(state.concentration)},'
        f'"losses":{_losses(sump, state.losses)},'
        f'"lost_total":{_account(state.lost)},'
        f'"added_total":{_added(sump, state.added)},'
        f'"drained_total":{_drained(sump, state.drained)},'
        f'"signals":{{{_signals(state.qualities)}}}}}'
    )


class _Again(Generic[_Value]):
    """Writer of what is mostly the very same value as a minute ago: it keeps each sump's text.

    Parameters
    ----------
    write : callable
        Writes a value; it must not depend on anything else.
    """

    def __init__(self, write: Callable[[_Value], str]) -> None:
        self._write = write
        self._last: dict[str, tuple[_Value, str]] = {}

    def __call__(self, sump: str, value: _Value) -> str:
        """Text of a value of a sump."""
        last = self._last.get(sump)
        if last is None or last[0] is not value:
            last = self._last[sump] = (value, self._write(value))
        return last[1]


def _signals(qualities: Mapping[Signal, Quality]) -> str:
    """Members of `signals` of a state."""
    return ",".join([key + qualities.get(signal, _ABSENT) + '"' for signal, key in _SIGNALS])


_SIGNALS = tuple((signal, f'"{signal}":"') for signal in Signal)
"""Each with the beginning of its member."""

_ABSENT = Quality.ABSENT  # looking it up in the enumeration costs more than writing it


def _written_losses(losses: Losses) -> str:
    """Member `losses` of a state."""
    return (
        f'{{"window_h":{_hours(losses.window_h)},'
        f'"water_l_per_day":{_rate(losses.water)},'
        f'"concentrate_l_per_day":{_rate(losses.concentrate)},'
        f'"evaporation_l_per_day":{_rate(losses.evaporation)},'
        f'"carry_off_l_per_day":{_rate(losses.carry_off)}}}'
    )


def _account(account: Account | None) -> str:
    """One of the three totals of a state."""
    if account is None:
        return "null"
    return (
        f'{{"since":{_moment(account.since)},"water_l":{_volume(account.water)},'
        f'"concentrate_l":{_volume(account.concentrate)}}}'
    )


_losses, _added, _drained = _Again(_written_losses), _Again(_account), _Again(_account)


def event_body(sump: str, event: SumpEvent) -> bytes:
    """Body of `PREFIX/SUMP/event`."""
    return _encoded(
        f'{{"schema":1,"id":{_text(event.id)},"sump":"{sump}","at":{_moment(event.at)},'
        f'"kind":"{event.kind}","source":"{event.source}",'
        f'"volume_l":{_volume(event.volume)},"strength_pct":{_percent(event.strength)}}}'
    )


# --- advice --------------------------------------------------------------------------------------


def advice_body(advice: Advice) -> bytes:
    """Body of `PREFIX/SUMP/advice`."""
    after = advice.after
    after_text = (
        "null"
        if after is None
        else f'{{"volume_l":{_volume(after.volume)},'
        f'"concentration_pct":{_percent(after.concentration)}}}'
    )
    return _encoded(
        f'{{"schema":1,"id":{_text(advice.id)},"sump":"{advice.sump}",'
        f'"issued_at":{_moment(advice.issued_at)},"valid_until":{_moment(advice.valid_until)},'
        f'"kind":"{advice.kind}","mix":{_mix(advice.mix)},"batches":{_batches(advice.batches)},'
        f'"drain_l":{_pour(advice.drain)},"after":{after_text},'
        f'"limits":{_limits(advice.limits)},"next":{_next(advice.next)},'
        f'"why":{_texts(advice.why)},"cautions":{_texts(advice.cautions)}}}'
    )


def _mix(mix: Mix | None) -> str:
    """Member `mix` of an advice."""
    if mix is None:
        return "null"
    return (
        f'{{"water_l":{_pour(mix.water)},"concentrate_l":{_pour(mix.concentrate)},'
        f'"strength_pct":{_strength(mix.strength)}}}'
    )


def _batches(batches: tuple[Batch, ...] | None) -> str:
    """Member `batches` of an advice."""
    if batches is None:
        return "null"
    items = (
        f'{{"count":{batch.count},"water_l":{_pour(batch.water)},'
        f'"concentrate_l":{_pour(batch.concentrate)}}}'
        for batch in batches
    )
    return "[" + ",".join(items) + "]"


def _limits(limits: Limits) -> str:
    """Member `limits` of an advice."""
    running, stopped = limits.level_running, limits.level_stopped
    level = "null"
    if running is not None or stopped is not None:
        level = (
            f'{{"running":{_range(running)},"stopped":{_range(stopped)},'
            f'"unit":{_text(limits.level_unit)}}}'
        )
    brix = "null"
    if limits.brix is not None:
        brix = f'{{{_ends(limits.brix)},"unit":{_text(limits.brix_unit)}}}'
    return (
        f'{{"level":{level},"brix":{brix},'
        f'"loss":{{"water_l_per_day":{{"high":{_high(limits.water_loss_high)}}},'
        f'"concentrate_l_per_day":{{"high":{_high(limits.concentrate_loss_high)}}}}}}}'
    )


def _range(limits: Range | None) -> str:
    """Thresholds of a level sensor, or null where none apply."""
    return "null" if limits is None else f"{{{_ends(limits)}}}"


def _ends(limits: Range) -> str:
    """Members `low` and `high`."""
    return f'"low":{_reading(limits.low)},"high":{_reading(limits.high)}'


def _high(limit: float | None) -> str:
    """Threshold of a loss."""
    return "null" if limit is None else _loss(limit)


def _next(due: NextTopUp | None) -> str:
    """Member `next` of an advice."""
    if due is None:
        return "null"
    return (
        f'{{"at":{{"value":{_moment(due.at)},"sd_h":{_hours(due.sd_h)}}},'
        f'"strength_pct":{_strength(due.strength)}}}'
    )


# --- alarms --------------------------------------------------------------------------------------


def alarm_body(about: str, alarm: AlarmReport) -> bytes:
    """Body of `PREFIX/ABOUT/alarm/NAME`; `about` is a sump, a supply or the whole plant."""
    supply = supply_in(about)
    whose = "" if supply is None else f'"supply":"{supply}",'
    return _encoded(
        f'{{"schema":1,"sump":{_text(sump_in(about))},{whose}"name":"{alarm.name}",'
        f'"signal":{_text(alarm.signal)},'
        f'"state":"{alarm.state}","active":{_truth(alarm.active)},'
        f'"acknowledged":{_truth(alarm.acknowledged)},"priority":"{alarm.priority}",'
        f'"raised_at":{_moment(alarm.raised_at)},"value":{_reading(alarm.value)},'
        f'"limit":{_reading(alarm.limit)},"unit":{_text(alarm.unit)},'
        f'"cause":{_text(alarm.cause)},"consequence":{_text(alarm.consequence)},'
        f'"action":{_text(alarm.action)},"because_of":{_text(alarm.because_of)},'
        f'"by":{_text(alarm.by)},"until":{_moment(alarm.until)}}}'
    )


def alarm_answer_body(order: AlarmOrder, refusal: str | None) -> bytes:
    """Body of `PREFIX/ABOUT/alarm-answer`; `refusal` is why the order does not apply."""
    return _encoded(
        f'{{"schema":1,"id":{_text(order.id)},"sump":{_text(order.sump or None)},'
        f'"supply":{_text(order.supply)},"alarm":"{order.alarm}","signal":{_text(order.signal)},'
        f'"command":"{order.verb}","by":{_text(order.by)},'
        f'"accepted":{_truth(refusal is None)},"reason":{_text(refusal)}}}'
    )


# --- stations ------------------------------------------------------------------------------------


def setpoint_body(setpoint: Setpoint) -> bytes:
    """Body of `PREFIX/SUMP/setpoint`."""
    mix, stop = setpoint.mix, setpoint.stop_at_level
    return _encoded(
        f'{{"schema":1,"id":{_text(setpoint.id)},"sump":"{setpoint.sump}",'
        f'"advice":{_text(setpoint.advice)},"water_l":{_pour(mix.water)},'
        f'"concentrate_l":{_pour(mix.concentrate)},'
        f'"max_strength_pct":{_strength(setpoint.max_strength)},'
        f'"water_meter_end_l":{_counter(setpoint.water_meter_end)},'
        f'"concentrate_meter_end_l":{_counter(setpoint.concentrate_meter_end)},'
        f'"stop_at_level":{{"value":{_reading(stop)},"unit":{_text(setpoint.level_unit)}}},'
        f'"issued_at":{_moment(setpoint.issued_at)},"expires_at":{_moment(setpoint.expires_at)}}}'
    )


def lease_body(setpoint: str, until: Instant) -> bytes:
    """Body of `PREFIX/SUMP/lease`."""
    return _encoded(f'{{"schema":1,"setpoint":{_text(setpoint)},"until":{_moment(until)}}}')


def _counter(total: float | None) -> str:
    """Where a counter shall end; it may stand anywhere, so that all its digits are told."""
    return "null" if total is None else _pour(total)
