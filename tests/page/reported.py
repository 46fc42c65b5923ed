"""A shop with months behind it: invented, but with totals that can be added up by hand."""

from pathlib import Path

from advisor.words import (
    DAY,
    HOUR,
    Account,
    Charge,
    Check,
    CheckKind,
    Drain,
    Entry,
    Estimate,
    Instant,
    SumpEvent,
)
from agent.instants import instant_of
from agent.plant.load import parse_plant
from agent.plant.plant import Plant
from agent.resources import shipped
from agent.store.batch import Batch, StoredEntry
from agent.store.history import history_row
from tests.page.shop import SUMP, Shop, a_state

BEGIN = instant_of("2026-01-01T00:00:00Z")
FEBRUARY = instant_of("2026-02-01T00:00:00Z")
NOW = instant_of("2026-03-02T06:00:00Z")
CHARGED = instant_of("2026-02-15T00:00:00Z")


def priced_plant(folder: Path, *, sumps: int = 2, page: str = "") -> Plant:
    """Two sumps of a concentrate that costs 5 a litre, and its waste 0.50 a litre; in UTC."""
    from dataclasses import replace

    text = shipped("plant.example.toml").read_text("utf-8")
    text = text.replace("# price_per_l = 4.80", "price_per_l = 5.0")
    text = text.replace("# disposal_per_l = 0.60", "disposal_per_l = 0.5")
    text = text.replace("# ph_band", "ph_band").replace("Europe/Dublin", "UTC")
    head, mark, sump = text.partition("[[sump]]")
    copies = [(mark + sump).replace("mill-07", f"mill-{7 + n:02d}") for n in range(sumps)]
    plant = parse_plant(f"{head}\n[page]\n{page}\n" + "\n".join(copies), folder / "north.toml")
    return replace(plant, store=folder / "north.db")


def tell_hours(
    shop: Shop, begin: Instant, end: Instant, daily: float, *, since: Instant, sump: str = SUMP
) -> None:
    """Every hour of a stretch: `daily` litres of water and a twentieth of it of concentrate a day.

    As much is lost as is added; sd of both totals 1 L of water and 0.1 L of concentrate.
    """
    batch = Batch(clock=end)
    for at in range(begin, end + 1, HOUR):
        days = (at - since) / DAY
        account = Account(
            since=since,
            water=Estimate(daily * days, 1.0),
            concentrate=Estimate(daily / 20.0 * days, 0.1),
        )
        state = a_state(shop.plant, 330.0, 0.08, at=at, sump=sump, lost=account, added=account)
        row = history_row(state)
        assert row is not None
        batch.history.append((sump, row))
    shop.commit(batch)


def enter(shop: Shop, *entries: Entry, events: tuple[SumpEvent, ...] = ()) -> None:
    """Store entries and events of the first sump."""
    stored = [StoredEntry(SUMP, entry, NOW) for entry in entries]
    shop.commit(Batch(entries=stored, events=[(SUMP, event) for event in events]))


def two_months(shop: Shop) -> None:
    """January at 20 L a day, February at 10 L a day with a change-out; the other sump at 8 L."""
    tell_hours(shop, BEGIN, FEBRUARY, 20.0, since=BEGIN)
    tell_hours(shop, FEBRUARY + HOUR, CHARGED - HOUR, 10.0, since=BEGIN - 31 * DAY)
    tell_hours(shop, CHARGED, NOW, 10.0, since=CHARGED)
    if "mill-08" in shop.plant.sumps:
        tell_hours(shop, BEGIN, NOW, 8.0, since=BEGIN, sump="mill-08")
    drained = instant_of("2026-02-10T10:00:00Z")
    enter(
        shop,
        Drain(at=drained, id="d-1", volume=40.0, to="oily water tank"),
        Drain(at=drained + HOUR, id="d-2", everything=True, to=""),
        Charge(at=CHARGED - 2 * HOUR, id="c-1", stage="begun"),
        *(
            Check(at=drained + k * DAY, id=f"p-{k}", kind=CheckKind.PH, value=value)
            for k, value in enumerate((9.2, 9.0, 8.5))
        ),
        events=(
            _event("d-2", "drain", drained + HOUR, 60.0, "report"),
            _event("x-1", "drain", drained + 2 * HOUR, 7.0, "inferred"),
            _event("a-1", "addition", drained, 30.0, "report"),
            _event("charge-c-1", "charge", CHARGED, 400.0, "report", 0.08),
        ),
    )


def _event(
    name: str, kind: str, at: Instant, volume: float, source: str, strength: float | None = None
) -> SumpEvent:
    """One event."""
    return SumpEvent(
        id=name,
        at=at,
        kind=kind,  # type: ignore[arg-type]  # one of the kinds
        source=source,  # type: ignore[arg-type]  # one of the sources
        volume=Estimate(volume, 1.0),
        strength=None if strength is None else Estimate(strength, 0.001),
    )
