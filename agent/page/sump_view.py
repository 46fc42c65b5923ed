"""One sump in full: what a page about it shows beside what stands at the moment."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from advisor.geometry import height, volume_at
from advisor.plan import SumpPlan
from advisor.words import (
    DAY,
    Account,
    Check,
    CheckKind,
    Entry,
    Estimate,
    Instant,
    Service,
    SumpEvent,
)
from agent.instants import instant_of
from agent.page.cards import Card
from agent.page.charts import SPANS, Frame, Mark, Panel, Point, Wanted, panel
from agent.page.live import Body
from agent.page.office import Office
from agent.page.speech import Speech
from agent.page.visitor import Visitor
from agent.store.history import Snapshot
from agent.store.logbook import Logged

POINTS_WIDE, POINTS_NARROW = 600, 300
"""Points of a chart: one to two pixels each; the extremes between them are drawn too."""
LOG_LENGTH = 30
DAYS = 7


@dataclass(frozen=True, slots=True)
class Stretch:
    """The stretch of time that the charts show. [ms]"""

    span: str
    begin: Instant
    end: Instant
    is_now: bool
    """It ends at the present."""

    @property
    def length(self) -> Instant:
        """How long it is. [ms]"""
        return self.end - self.begin


@dataclass(frozen=True, slots=True)
class DayLoss:
    """What one day of the plant's calendar took and got. [L]"""

    at: Instant
    water: Estimate | None
    concentrate: Estimate | None
    poured: float


@dataclass(frozen=True, slots=True)
class Balance:
    """Since a moment: what went in, what went, and what is in the sump. [L]"""

    since: Instant
    added: Account | None
    lost: Account | None
    drained: Account | None
    water: Estimate | None
    concentrate: Estimate | None
    cost: float | None
    """Of the concentrate lost, in the plant's currency."""


def stretch(span: str, until: str, now: Instant) -> Stretch:
    """Stretch that a page asks for; what makes no sense is the last day."""
    known = span if span in SPANS else "day"
    end = now
    if until.isascii() and until.isdigit() and len(until) < 15:
        end = min(int(until), now)
    return Stretch(known, max(end - SPANS[known], 0), max(end, SPANS[known]), end >= now)


def panels(office: Office, visitor: Visitor, sump: str, shown: Stretch) -> list[Panel]:
    """The charts of a sump over a stretch of time."""
    speech, plan = visitor.speech, office.plant.sumps[sump]
    points = POINTS_NARROW if visitor.is_narrow else POINTS_WIDE
    told = office.history.series(sump, shown.begin, shown.end, points=points)
    happened = _marks(office, sump, plan, shown, speech)
    frame = Frame(shown.begin, shown.end, visitor.is_narrow)
    return [
        panel(wanted, frame, speech) for wanted in _wanted(plan, told, happened, speech, office)
    ]


def _wanted(
    plan: SumpPlan, told: Sequence[Snapshot], marks: Sequence[Mark], speech: Speech, office: Office
) -> list[Wanted]:
    """The four charts, in the units that people read."""
    each = speech.litres_each
    card = office.card(plan.id)
    level, mix = card.level, card.concentration
    return [
        Wanted(
            name="volume",
            points=[_point(s.at, s.volume, s.volume_range, each) for s in told],
            marks=[mark for mark in marks if mark.panel == "volume"],
            band=(level.low / each, level.high / each),
            target=level.target / each,
            least=0.1 * level.top / each,
        ),
        Wanted(
            name="concentration",
            points=[_point(s.at, s.concentration, s.concentration_range, 0.01) for s in told],
            marks=[mark for mark in marks if mark.panel == "concentration"],
            band=(100.0 * mix.low, 100.0 * mix.high),
            target=100.0 * mix.target,
            least=1.0,
        ),
        Wanted(
            name="water",
            points=[_point(s.at, s.water_loss, None, each) for s in told],
            least=5.0 / each,
            from_zero=True,
        ),
        Wanted(
            name="concentrate",
            points=[_point(s.at, s.concentrate_loss, None, each) for s in told],
            least=0.5 / each,
            from_zero=True,
        ),
    ]


def _point(
    at: Instant, estimate: Estimate | None, extremes: tuple[float, float] | None, per: float
) -> Point:
    """Point of a chart in the unit that people read."""
    if estimate is not None:
        estimate = Estimate(estimate.value / per, estimate.sd / per)
    if extremes is not None:
        extremes = (extremes[0] / per, extremes[1] / per)
    return at, estimate, extremes


# --- what happened -------------------------------------------------------------------------------


def _marks(office: Office, sump: str, plan: SumpPlan, shown: Stretch, speech: Speech) -> list[Mark]:
    """Events, checks and services of a stretch of time."""
    marks = [
        Mark(event.at, event.kind, event_text(event, speech))
        for event in office.told.events(sump, shown.begin, shown.end)
        if event.kind != "withdrawn"
    ]
    for logged in office.logbook.entries(sump, shown.begin, shown.end, 500):
        if not logged.is_replaced:
            marks += _entry_marks(logged.entry, plan, speech)
    return marks


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
    """An event in a few words."""
    volume = "" if event.volume is None else speech.volume(event.volume.value)
    strength = "" if event.strength is None else speech.percent(max(event.strength.value, 0.0))
    key = f"event.{event.kind}"
    said = (
        speech.text(f"{key}_of", volume=volume, strength=strength)
        if volume and strength
        else (speech.text(f"{key}_some", volume=volume) if volume else speech.text(key))
    )
    return f"{said} ({speech.text(f'event.source.{event.source}')})"


def log(office: Office, sump: str) -> list[Logged]:
    """The newest entries."""
    return office.logbook.entries(sump, 0, 2**62, LOG_LENGTH)


# --- losses and account --------------------------------------------------------------------------


def day_losses(office: Office, sump: str, speech: Speech, now: Instant) -> list[DayLoss]:
    """The last days of the plant's calendar, newest first; today so far is left out.

    The loss told at midnight is the mean of the 24 hours before it. On the two days of a year on
    which clocks change it covers an hour more or less than the day.
    """
    begin = speech.midnight(now, -DAYS)
    events = office.told.events(sump, begin, now)
    found = []
    for back in range(DAYS):
        end = speech.midnight(now, -back)
        start = speech.midnight(now, -back - 1)
        last = office.history.at(sump, end)
        fresh = last if last is not None and last.at > end - DAY // 8 else None
        poured = sum(
            event.volume.value
            for event in events
            if event.kind == "addition" and event.volume is not None and start <= event.at < end
        )
        found.append(
            DayLoss(
                start,
                None if fresh is None else fresh.water_loss,
                None if fresh is None else fresh.concentrate_loss,
                poured,
            )
        )
    return found


def balance(card: Card) -> Balance | None:
    """Account of a sump, from the state that was told."""
    state = card.now.state
    if state is None or state["lost_total"] is None:
        return None
    lost = _account(state["lost_total"])
    water = concentrate = None
    volume, share = card.level.estimate, card.concentration.estimate
    if volume is not None and share is not None:
        pure = volume.value * share.value
        # The errors of volume and concentration are taken as independent: their correlation is
        # not told.
        pure_sd = ((volume.value * share.sd) ** 2 + (share.value * volume.sd) ** 2) ** 0.5
        concentrate = Estimate(pure, pure_sd)
        water = Estimate(volume.value - pure, (volume.sd**2 + pure_sd**2) ** 0.5)
    price = card.plan.fluid.price
    return Balance(
        since=0 if lost is None else lost.since,
        added=_account(state["added_total"]),
        lost=lost,
        drained=_account(state["drained_total"]),
        water=water,
        concentrate=concentrate,
        cost=None if price is None or lost is None else price * max(lost.concentrate.value, 0.0),
    )


def _account(body: Body | None) -> Account | None:
    """Total that a state tells. [L]"""
    if body is None:
        return None
    return Account(
        since=instant_of(body["since"]),
        water=Estimate(**body["water_l"]),
        concentrate=Estimate(**body["concentrate_l"]),
    )


def context(office: Office, visitor: Visitor, sump: str, shown: Stretch) -> dict[str, Any]:
    """Everything that the page of a sump shows."""
    card, now = office.card(sump), office.now
    return {
        "card": card,
        "shown": shown,
        "spans": list(SPANS),
        "panels": panels(office, visitor, sump, shown),
        "days": day_losses(office, sump, visitor.speech, now),
        "balance": balance(card),
        "log": log(office, sump),
        "events": list(reversed(office.told.events(sump, now - 7 * DAY, now)))[:20],
        "event_text": event_text,
        "pour": office.pours.get(sump, now),
        "work": office.pours.work(sump, now),
        "trouble": "",
        "detail": "",
        "live_version": office.live.version,
        "earlier": replace(shown, end=max(shown.end - shown.length, shown.length), is_now=False),
        "later": replace(shown, end=min(shown.end + shown.length, now), is_now=False),
    }
