"""What stands on the time axis of a sump's charts: events, checks, services and alarms."""

from collections.abc import Iterable

from advisor.effects import AlarmState
from advisor.geometry import height, volume_at
from advisor.plan import SumpPlan
from advisor.words import DAY, Check, CheckKind, Entry, Instant, Service, SumpEvent
from agent.instants import instant_of
from agent.page.charts import Mark
from agent.page.office import Office
from agent.page.speech import Speech
from agent.store.changes import AlarmChange, read_changes

ENTRIES_MAX = 500
LOOK_BACK: Instant = 31 * DAY
"""An alarm that was raised earlier and has not changed since is only seen while it stands. [ms]"""

SHOWN = {AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED}
"""States in which an alarm is active and shown to people."""

PANELS = {
    "level": "volume",
    "water": "water",
    "mix": "water",
    "concentration": "concentration",
    "concentrate": "concentrate",
}
"""By the first word of an alarm's name, the chart that it belongs to."""


def marks_of(office: Office, sump: str, begin: Instant, end: Instant, speech: Speech) -> list[Mark]:
    """All marks of a stretch of time. [ms]"""
    plan = office.plant.sumps[sump]
    marks = [
        Mark(event.at, event.kind, event_text(event, speech))
        for event in office.told.events(sump, begin, end)
        if event.kind != "withdrawn"
    ]
    for logged in office.logbook.entries(sump, begin, end, ENTRIES_MAX):
        if not logged.is_replaced:
            marks += _entry_marks(logged.entry, plan, speech)
    return marks + alarm_marks(office, sump, begin, end, speech)


def alarm_marks(
    office: Office, sump: str, begin: Instant, end: Instant, speech: Speech
) -> list[Mark]:
    """Alarms that stood within a stretch of time, each from its raising to its end. [ms]"""
    since: dict[tuple[str, str | None], Instant] = {}
    found: list[Mark] = []
    for change in read_changes(office.database, begin - LOOK_BACK, end, sump):
        key = (change.name, change.signal)
        if change.state in SHOWN:
            since.setdefault(key, change.at if change.raised_at is None else change.raised_at)
        elif key in since:
            found.append(_alarm_mark(change, since.pop(key), change.at, speech))
    for body in office.live.sump(sump).alarms:
        key = (body["name"], body["signal"])
        if body["active"] and body["raised_at"]:
            since.setdefault(key, instant_of(body["raised_at"]))
    found += [
        Mark(at, "alarm", _alarm_text(name, signal, speech), panel=_panel(name), until=end)
        for (name, signal), at in since.items()
    ]
    return [mark for mark in found if mark.at <= end and (mark.until or 0) >= begin]


def _alarm_mark(change: AlarmChange, at: Instant, until: Instant, speech: Speech) -> Mark:
    """Alarm that ended. [ms]"""
    text = _alarm_text(change.name, change.signal, speech)
    return Mark(at, "alarm", text, panel=_panel(change.name), until=until)


def _alarm_text(name: str, signal: str | None, speech: Speech) -> str:
    """What people call an alarm."""
    t = speech.text
    said = t("do.alarm", name=t.named("alarm", name))
    return said if signal is None else f"{said} ({t.named('signal', signal)})"


def _panel(alarm: str) -> str:
    """Chart that an alarm belongs to."""
    return PANELS.get(alarm.partition("-")[0], "volume")


def _entry_marks(entry: Entry, plan: SumpPlan, speech: Speech) -> Iterable[Mark]:
    """Mark of an entry that is not told as an event already."""
    if isinstance(entry, Check):
        name, value = _on_scale(entry, plan, speech)
        yield Mark(entry.at, "check", speech.text(f"check.{entry.kind}"), value, name)
    elif isinstance(entry, Service):
        yield Mark(entry.at, "service", speech.text(f"service.{entry.kind}"))


def _on_scale(check: Check, plan: SumpPlan, speech: Speech) -> tuple[str, float | None]:
    """Chart that a check belongs to, and where on its scale. [%] or [L]"""
    match check.kind:
        case CheckKind.REFRACTOMETER:
            return "concentration", check.value * plan.fluid.refractometer_factor
        case CheckKind.TITRATION:
            return "concentration", 100.0 * check.value
        case CheckKind.DIPSTICK:
            depth = min(check.value, height(plan.tank))
            return "volume", volume_at(plan.tank, depth) / speech.litres_each
        case _:
            return "volume", None


def event_text(event: SumpEvent, speech: Speech) -> str:
    """An event in a few words, with how sure its amount is."""
    volume = "" if event.volume is None else speech.volume_sure(event.volume)
    strength = "" if event.strength is None else speech.percent(max(event.strength.value, 0.0))
    key = f"event.{event.kind}"
    said = (
        speech.text(f"{key}_of", volume=volume, strength=strength)
        if volume and strength
        else (speech.text(f"{key}_some", volume=volume) if volume else speech.text(key))
    )
    return f"{said} ({speech.text(f'event.source.{event.source}')})"
