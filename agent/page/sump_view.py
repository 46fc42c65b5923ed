"""One sump in full: what a page about it shows beside what stands at the moment."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from advisor.plan import SumpPlan
from advisor.words import DAY, Estimate, Instant
from agent.page.charts import SPANS, Frame, Mark, Panel, Point, Wanted, panel
from agent.page.losses_view import SHIFT_HOURS, balance, day_losses, shift_losses
from agent.page.marks import event_text, marks_of
from agent.page.office import Office
from agent.page.speech import Speech
from agent.page.visitor import Visitor
from agent.store.history import Snapshot
from agent.store.logbook import Logged

POINTS_WIDE, POINTS_NARROW = 600, 300
"""Points of a chart: one to two pixels each; the extremes between them are drawn too."""
LOG_LENGTH = 30


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
    happened = marks_of(office, sump, shown.begin, shown.end, speech)
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
            marks=[mark for mark in marks if mark.panel == "water"],
            least=5.0 / each,
            from_zero=True,
        ),
        Wanted(
            name="concentrate",
            points=[_point(s.at, s.concentrate_loss, None, each) for s in told],
            marks=[mark for mark in marks if mark.panel == "concentrate"],
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


def log(office: Office, sump: str) -> list[Logged]:
    """The newest entries."""
    return office.logbook.entries(sump, 0, 2**62, LOG_LENGTH)


def context(office: Office, visitor: Visitor, sump: str, shown: Stretch) -> dict[str, Any]:
    """Everything that the page of a sump shows."""
    card, now = office.card(sump), office.now
    return {
        "card": card,
        "shown": shown,
        "spans": list(SPANS),
        "panels": panels(office, visitor, sump, shown),
        "days": day_losses(office, sump, visitor.speech, now),
        "shifts": shift_losses(office, sump, visitor.speech, now),
        "shift_hours": SHIFT_HOURS,
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
