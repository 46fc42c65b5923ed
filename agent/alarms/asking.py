"""What `millpond alarms` does: from words of the command line to what is written."""

import difflib
import json
import os
import re
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, get_args
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from advisor.alarm_definitions import DEFINITIONS
from advisor.key_figures import key_figures
from advisor.words import DAY, Instant
from agent.alarms.listing import (
    figures_body,
    figures_text,
    history_bodies,
    history_text,
    standing_text,
    transitions,
)
from agent.alarms.terminal import a_terminal
from agent.clock import WallClock
from agent.errors import MillpondError
from agent.instants import instant_of, text_of
from agent.messages.incoming import (
    AlarmCommandMessage,
    AlarmOrderMessage,
    PlantAlarmCommandMessage,
    SupplyAlarmCommandMessage,
)
from agent.messages.names import WHOLE_PLANT, about_supply, supply_in
from agent.plant.plant import Plant
from agent.ranges import range_of
from agent.store.changes import AlarmChange, read_changes
from agent.store.looking import looking_into

DONE, FAILED = 0, 1
WHOLE = "-"
"""How the whole plant is typed."""
SPAN: Instant = 30 * DAY
"""So far back the figures and the history go where nobody says. [ms]"""

_LASTING = re.compile(r"(\d+(?:\.\d+)?) ?(min|h|d)")
_MINUTES = {"min": 1, "h": 60, "d": 1440}


class OrderError(MillpondError):
    """What was typed is no order on an alarm of this plant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """An order as it was typed."""

    verb: str
    about: str
    alarm: str
    signal: str | None = None
    until: str | None = None
    by: str


@dataclass(frozen=True, slots=True)
class Order:
    """An order as it is sent."""

    about: str
    body: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Span:
    """Of what and when something is to be told, as typed."""

    begin: str | None
    end: str | None
    about: str | None


# --- orders ---------------------------------------------------------------------------------------


def order_of(plant: Plant, typed: Typed) -> Order:
    """Read an order.

    Raises
    ------
    OrderError
        If the plant has no such sump, supply, alarm or signal, or a time is none.
    """
    place = place_of(plant, typed.about)
    _check_alarm(place, typed.alarm)
    body: dict[str, Any] = {"alarm": typed.alarm, "command": typed.verb, "by": typed.by}
    if typed.signal is not None:
        body["signal"] = typed.signal
    if typed.until is not None:
        body["until"] = text_of(_end(typed.until))
    try:
        _model(place).model_validate_json(json.dumps(body))
    except ValidationError as error:
        (first, *_) = error.errors(include_url=False)
        where = ".".join(str(part) for part in first["loc"])
        raise OrderError(f"{where} is {first['input']!r}: {first['msg']}") from error
    return Order(place, body)


def _model(place: str) -> type[AlarmOrderMessage]:
    """Form of an order, by what it is about."""
    if place == WHOLE_PLANT:
        return PlantAlarmCommandMessage
    return AlarmCommandMessage if supply_in(place) is None else SupplyAlarmCommandMessage


def place_of(plant: Plant, about: str) -> str:
    """What something is about, from how it is typed.

    Raises
    ------
    OrderError
        If the plant has no such sump or supply.
    """
    if about == WHOLE:
        return WHOLE_PLANT
    if about in plant.sumps:
        return about
    if supply_in(about) in plant.supplies:
        return about
    known = [*plant.sumps, *map(about_supply, plant.supplies)]
    near = difflib.get_close_matches(about, known, n=1)
    hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}, and {WHOLE}"
    raise OrderError(f"{plant.id} has no {about!r}; {hint}")


def _check_alarm(place: str, alarm: str) -> None:
    """See that something may have an alarm of this name."""
    names = get_args(_model(place).model_fields["alarm"].annotation)
    if alarm not in names:
        where = " (it is about something else)" if alarm in DEFINITIONS else ""
        raise OrderError(f"no alarm {alarm!r} here{where}; there are {', '.join(names)}")


def _end(text: str) -> Instant:
    """Moment of a time, or of a while from now on. [ms]"""
    lasting = _LASTING.fullmatch(text)
    if lasting is not None:
        minutes = float(lasting[1]) * _MINUTES[lasting[2]]
        return WallClock().now() + round(minutes * 60_000)
    try:
        return instant_of(text)
    except ValueError as error:
        raise OrderError(f"--until {text!r}: {error}; or a while such as 90min, 8h, 2d") from error


def give_order(plant: Plant, order: Order, *, as_json: bool) -> int:
    """Have the agent carry an order out, and say what became of it; the exit code."""
    with a_terminal(plant, os.environ) as terminal:
        answer = terminal.order(order.about, order.body)
    if as_json:
        _write_json(answer)
    elif answer["accepted"]:
        _write([f"{order.about or plant.id}: {answer['alarm']}: {answer['command']} done"])
    else:
        sys.stderr.write(f"{order.about or plant.id}: refused: {answer['reason']}\n")
    return DONE if answer["accepted"] else FAILED


# --- what is told ---------------------------------------------------------------------------------


def tell_standing(plant: Plant, about: str | None, *, as_json: bool) -> int:
    """Write the alarms that stand; the exit code."""
    place = None if about is None else place_of(plant, about)
    with a_terminal(plant, os.environ) as terminal:
        agent, standing = terminal.agent, terminal.standing()
    standing = [(what, body) for what, body in standing if place is None or what == place]
    if agent["status"] != "online":
        sys.stderr.write(
            f"the agent is offline: these are the alarms as it left them (since {agent['since']})\n"
        )
    if as_json:
        _write_json({"agent": agent, "alarms": [body for _, body in standing]})
    else:
        _write(standing_text(standing, ZoneInfo(plant.timezone)) if standing else ["no alarms"])
    return DONE


def tell_history(plant: Plant, span: Span, *, as_json: bool) -> int:
    """Write the journal of a time span; the exit code."""
    begin, _, changes = _changes(plant, span)
    lines = [change for change in changes if change.at >= begin]
    if as_json:
        _write_json(history_bodies(lines))
    else:
        zone = ZoneInfo(plant.timezone)
        _write(history_text(lines, zone) if lines else ["no alarm has changed"])
    return DONE


def tell_figures(plant: Plant, span: Span, *, as_json: bool) -> int:
    """Write the key figures of a time span; the exit code."""
    begin, end, changes = _changes(plant, span)
    sumps = len(plant.sumps) if span.about is None else 1
    figures = key_figures(transitions(changes), begin=begin, end=end, sumps=sumps)
    if as_json:
        _write_json(figures_body(figures))
    else:
        _write(figures_text(figures, ZoneInfo(plant.timezone)))
    return DONE


def _changes(plant: Plant, span: Span) -> tuple[Instant, Instant, list[AlarmChange]]:
    """Begin, end and the journal up to the end: what came before says how things stood then."""
    begin, end = range_of(span.begin, span.end)
    about = None if span.about is None else place_of(plant, span.about)
    with looking_into(plant.store) as database:
        row = database.row("SELECT at FROM clock")
        newest = 0 if row is None else int(row[0])
        end = newest + 1 if span.end is None else end
        begin = end - SPAN if span.begin is None else begin
        return begin, end, read_changes(database, 0, end, about)


def _write(lines: Iterable[str]) -> None:
    """Write lines for people."""
    sys.stdout.writelines(f"{line}\n" for line in lines)


def _write_json(body: object) -> None:
    """Write JSON for programs."""
    sys.stdout.write(json.dumps(body, ensure_ascii=False) + "\n")
