"""The report of a month: of the plant, or of one sump, on the screen, on paper, as PDF."""

from zoneinfo import ZoneInfo

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from advisor.words import HOUR, Instant
from agent.page.office import Office
from agent.page.report.baseline import Comparison, compare, usual_baseline
from agent.page.report.gather import (
    CHANGED_OUT,
    FOUND,
    NOT_SAID,
    SumpMonth,
    gather,
    together,
)
from agent.page.report.months import Month, month_of, read_month
from agent.page.routes.common import TheOffice, TheVisitor
from agent.store.changes import read_changes

router = APIRouter(default_response_class=HTMLResponse)

UNKNOWN_PLACES = {NOT_SAID: "not_said", FOUND: "found", CHANGED_OUT: "changed_out"}
"""Keys of the texts for waste of which nobody said where it went."""


@router.get("/report")
def report(
    office: TheOffice, visitor: TheVisitor, month: str = "", sump: str = "", against: str = ""
) -> HTMLResponse:
    """A month of the plant, or of one `sump`; `against` is the month that it is held against."""
    zone = ZoneInfo(office.plant.timezone)
    shown = _shown(office, month, zone)
    chosen = sump if sump in office.plant.sumps else ""
    begin, end = shown.begin(zone), shown.end(zone)
    changes = read_changes(office.database, begin, end - 1)
    plans = [p for p in office.plant.sumps.values() if chosen in {"", p.id}]
    months = [gather(office, plan, begin, end, changes) for plan in plans]
    baseline = read_month(against) or usual_baseline(office, shown)
    return office.page(
        "report.html",
        visitor,
        month=shown,
        begin=begin,
        end=end,
        is_over=office.now >= end,
        chosen=office.plant.sumps.get(chosen),
        months=sorted(months, key=_most_first),
        whole=together(months),
        baseline=baseline,
        comparison=_comparison(office, months, shown, baseline),
        places=UNKNOWN_PLACES,
        earlier=shown.moved(-1),
        later=shown.moved(1) if end <= office.now else None,
        hour=HOUR,
        previous=shown.moved(-1).begin(zone),
        against_at=None if baseline is None else baseline.begin(zone),
        sumps=[(plan.id, plan.name) for plan in office.plant.sumps.values()],
    )


def _shown(office: Office, text: str, zone: ZoneInfo) -> Month:
    """Month that is asked for: by default the last whole one, if anything was told then."""
    asked = read_month(text)
    if asked is not None:
        return asked
    this = month_of(office.now, zone)
    last = this.moved(-1)
    return last if _begins_before(office, this.begin(zone)) else this


def _begins_before(office: Office, moment: Instant) -> bool:
    """Whether the store goes back behind a moment. [ms]"""
    row = office.database.row("SELECT min(at) FROM history_hour")
    return row is not None and row[0] is not None and bool(row[0] < moment)


def _comparison(
    office: Office, months: list[SumpMonth], shown: Month, baseline: Month | None
) -> Comparison | None:
    """The comparison with the baseline, if there is one that is another month."""
    if baseline is None or baseline == shown:
        return None
    return compare(office, months, baseline)


def _most_first(month: SumpMonth) -> tuple[float, str]:
    """Sort key: most concentrate used first, then by name."""
    used = 0.0 if month.consumption is None else month.consumption.concentrate
    return -used, month.plan.name.casefold()
