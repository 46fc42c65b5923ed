"""Alarms in the terminal: what stands, what was, and how the alarms themselves do."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from datetime import UTC, datetime, tzinfo
from typing import Any

from advisor.alarm_definitions import alarm_key
from advisor.alarm_texts import amount
from advisor.key_figures import KeyFigures, Transition, measures
from advisor.words import Instant
from agent.instants import instant_of, text_of
from agent.store.changes import AlarmChange

Body = dict[str, Any]

_PRIORITIES = {"high": 0, "medium": 1, "low": 2}
PLANT = "plant"
"""How the whole plant is called in a list."""


def moment(at: Instant | None, zone: tzinfo) -> str:
    """Write a moment as people of the plant read it, to the minute."""
    if at is None:
        return "-"
    return f"{datetime.fromtimestamp(at / 1000, UTC).astimezone(zone):%Y-%m-%d %H:%M}"


# --- what stands ----------------------------------------------------------------------------------


def standing_text(standing: Iterable[tuple[str, Body]], zone: tzinfo) -> Iterator[str]:
    """Lines on each alarm that stands, the most urgent first; consequences under their causes."""
    alarms = sorted(standing, key=_urgency)
    rows = [
        (
            body["priority"],
            body["state"],
            moment(None if body["raised_at"] is None else instant_of(body["raised_at"]), zone),
            about or PLANT,
            alarm_key(body["name"], body["signal"]),
        )
        for about, body in alarms
    ]
    for row, (_, body) in zip(aligned(rows), alarms, strict=True):
        yield row
        yield from _particulars(body, zone)


def _urgency(alarm: tuple[str, Body]) -> tuple[object, ...]:
    """Sort key: what asks for somebody first, then by priority, then the oldest."""
    about, body = alarm
    quiet = body["state"] in {"shelved", "suppressed", "out-of-service"}
    return (
        quiet,
        body["acknowledged"],
        _PRIORITIES.get(body["priority"], 3),
        body["raised_at"] or "",
        about,
        body["name"],
        body["signal"] or "",
    )


def _particulars(body: Body, zone: tzinfo) -> Iterator[str]:
    """What is under an alarm's line."""
    if body["state"] == "suppressed" and body["because_of"]:
        yield f"    follows from {body['because_of']}"
        return
    yield f"    {body['cause']}"
    if body["active"]:
        yield f"    {body['action']}"
    if body["because_of"]:
        yield f"    follows from {body['because_of']}"
    if body["by"]:
        until = body["until"]
        end = "" if until is None else f", until {moment(instant_of(until), zone)}"
        yield f"    last ordered by {body['by']}{end}"


# --- what was -------------------------------------------------------------------------------------


def history_text(changes: Sequence[AlarmChange], zone: tzinfo) -> Iterator[str]:
    """One line a change, oldest first."""
    yield from aligned(
        [
            (
                moment(c.at, zone),
                c.about or PLANT,
                alarm_key(c.name, c.signal),
                c.was.value,
                "->",
                c.state.value,
                c.priority,
                _numbers(c),
                f"by {c.by}" if c.by else "",
                f"follows from {c.because_of}" if c.because_of else "",
            )
            for c in changes
        ]
    )


def _numbers(change: AlarmChange) -> str:
    """Value and limit, where there are some."""
    if change.value is None:
        return ""
    value = amount(change.value, change.unit)
    return value if change.limit is None else f"{value} (limit {amount(change.limit, change.unit)})"


def history_bodies(changes: Iterable[AlarmChange]) -> list[Body]:
    """Every change as JSON, its times as RFC 3339."""
    bodies = []
    for change in changes:
        body = asdict(change)
        for key in ("at", "raised_at", "until"):
            body[key] = None if body[key] is None else text_of(body[key])
        bodies.append(body)
    return bodies


def transitions(changes: Iterable[AlarmChange]) -> list[Transition]:
    """The journal as the key figures want it."""
    return [
        Transition(
            at=c.at,
            sump=c.about or PLANT,
            name=c.name,
            signal=c.signal,
            state=c.state,
            priority=c.priority,
        )
        for c in changes
    ]


# --- how the alarms do ----------------------------------------------------------------------------


def figures_text(figures: KeyFigures, zone: tzinfo) -> Iterator[str]:
    """The figures beside their targets, and the alarms behind them."""
    yield f"alarms from {moment(figures.begin, zone)} to {moment(figures.end, zone)}"
    yield ""
    rows: list[tuple[str, ...]] = [("", "found", "target", "")]
    for measure in measures(figures):
        unit = "" if measure.unit == "1" else measure.unit.replace("1/d", "a day")
        found, target = (f"{v:.3g} {unit}".rstrip() for v in (measure.value, measure.target))
        rows.append((measure.name, found, f"<= {target}", "" if measure.is_met else "missed"))
    rows.append(("alarms a sump and day", f"{figures.per_sump_and_day:.3g}", "", ""))
    rows.append(("gone within a minute", f"{figures.fleeting}", "", ""))
    yield from aligned(rows)
    yield from _section("most frequent", [(s.key, f"{s.count}") for s in figures.top])
    stale = {alarm.key for alarm in figures.stale}
    yield from _section(
        "standing",
        [
            (s.key, f"since {moment(s.since, zone)}", "stale" if s.key in stale else "")
            for s in figures.standing
        ],
    )
    yield from _section("chattering", [(key,) for key in figures.chattering])
    yield from _section(
        "floods",
        [
            (f"{moment(f.begin, zone)} to {moment(f.end, zone)}", f"{f.count} alarms")
            for f in figures.floods
        ],
    )


def figures_body(figures: KeyFigures) -> Body:
    """The figures as JSON, with the measures beside their targets."""
    body = asdict(figures)
    for key in ("begin", "end"):
        body[key] = text_of(body[key])
    for alarm in (*body["standing"], *body["stale"]):
        alarm["since"] = text_of(alarm["since"])
    for flood in body["floods"]:
        flood["begin"], flood["end"] = text_of(flood["begin"]), text_of(flood["end"])
    body["measures"] = [{**asdict(measure), "met": measure.is_met} for measure in measures(figures)]
    return body


def _section(title: str, rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """A list under its title, where there is something in it."""
    if rows:
        yield ""
        yield f"{title}:"
        yield from (f"  {line}" for line in aligned(rows))


def aligned(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Columns under each other, as wide as their widest cell."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True) if width]
        yield "  ".join(cells).rstrip()
