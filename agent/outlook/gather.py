"""What the store says of every sump, gone on with: the newest state, a week's losses, the stock."""

from collections.abc import Mapping
from zlib import decompress

from advisor.effects import After
from advisor.estimate import SCHEMA
from advisor.forecast import Use, look_ahead, supply_days
from advisor.idling import idle_losses
from advisor.makeup import salts_of, water_outlook, waters_of
from advisor.plan import SumpPlan
from advisor.standstill import Idle
from advisor.words import (
    DAY,
    Check,
    CheckKind,
    Estimate,
    Instant,
    Losses,
    days_between,
)
from agent.errors import MillpondError
from agent.outlook.expected import Expected, Foreseen, Stock
from agent.outlook.times import standstill_of
from agent.plant.plant import Plant
from agent.store.database import Database
from agent.store.history import History, Snapshot
from agent.store.logbook import Logbook
from agent.store.looking import looking_into
from agent.sump_desk import belief_codec

FOREVER: Instant = 2**53
WEEK: Instant = 7 * DAY
CHECKS_READ = 200
"""Newest entries of a sump among which checks of salts are looked for. [1]"""

_SALTS = {CheckKind.HARDNESS: "hardness", CheckKind.CHLORIDE: "chloride"}


class NoSumpError(MillpondError):
    """A sump was asked for that the plant file does not have."""


def foresee(plant: Plant, sump: str | None, begin: str = "", until: str = "") -> Foreseen:
    """Say what is to be expected of a plant, or of one of its sumps.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    sump : str or None
        Only this one.
    begin, until : str
        Of the next time without pumps, as typed; empty: the next weekend after the newest state.

    Raises
    ------
    NoSumpError
        If there is no such sump.
    ImpossibleInputError
        If what was typed is no time.
    StoreError
        If the agent of this plant has kept nothing yet.
    """
    if sump is not None and sump not in plant.sumps:
        known = ", ".join(plant.sumps)
        raise NoSumpError(f"SUMP is {sump!r}; expected one of {known}")
    with looking_into(plant.store) as database:
        newest = _newest(database, plant)
        standstill = standstill_of(begin, until, newest, plant.timezone)
        found = {name: _of_sump(database, plan, standstill) for name, plan in plant.sumps.items()}
        stock = _stock(database, plant, found)
    wanted = [name for name in plant.sumps if sump in {None, name}]
    return Foreseen(
        title=plant.name,
        sumps=tuple(e for name in wanted if isinstance(e := found[name], Expected)),
        supplies=_taken_from(stock, plant, sump),
        untold={name: e for name in wanted if isinstance(e := found[name], str)},
        units=plant.units,
        timezone=plant.timezone,
    )


def _newest(database: Database, plant: Plant) -> Instant:
    """Time of the newest state of any sump: the store's own present. [ms]"""
    history = History(database)
    states = [history.at(name, FOREVER) for name in plant.sumps]
    return max((state.at for state in states if state is not None), default=0)


def _of_sump(
    database: Database, plan: SumpPlan, standstill: tuple[Instant, Instant]
) -> Expected | str:
    """What is to be expected of one sump, or why nothing can be said."""
    history = History(database)
    now = history.at(plan.id, FOREVER)
    if now is None:
        return "nothing has been told of it yet"
    if now.volume is None or now.concentration is None:
        return "its volume or its concentration is not known"
    days, losses = weekly_losses(now, history.at(plan.id, now.at - WEEK))
    after = After(volume=now.volume, concentration=now.concentration)
    begin, end = max(standstill[0], now.at), standstill[1]
    outlook = look_ahead(
        after,
        losses,
        plan,
        now.at,
        idle=_idle(database, plan),
        standstill=(begin, end) if end > begin else None,
    )
    salts = salts_of(plan, _salts_measured(database, plan.id))
    water = None
    if outlook.rates is not None and salts:
        water = water_outlook(now.volume.value, outlook.rates, waters_of(plan), salts)
    return Expected(plan=plan, outlook=outlook, losses_d=days, water=water)


def weekly_losses(now: Snapshot, before: Snapshot | None) -> tuple[float, Losses]:
    """Mean losses of the last week, or of so much of it as one account covers. [L/d]

    Over less than a day, what was told of the last 24 hours. The first value is over how long. [d]
    The sd is that of what the total gained since: errors made before it are in both ends.
    """
    told = Losses(
        window_h=24.0,
        water=now.water_loss,
        concentrate=now.concentrate_loss,
        evaporation=None,
        carry_off=None,
    )
    total = now.lost
    if total is None:
        return 1.0, told
    start, water, concentrate = total.since, Estimate(0.0, 0.0), Estimate(0.0, 0.0)
    if before is not None and before.lost is not None and before.lost.since == total.since:
        start, water, concentrate = before.at, before.lost.water, before.lost.concentrate
    days = days_between(start, now.at)
    if days < 1.0:
        return 1.0, told
    return days, Losses(
        window_h=24.0 * days,
        water=_per_day(total.water, water, now.water_loss, days),
        concentrate=_per_day(total.concentrate, concentrate, now.concentrate_loss, days),
        evaporation=None,
        carry_off=None,
    )


def _per_day(end: Estimate, start: Estimate, daily: Estimate | None, days: float) -> Estimate:
    """Mean of what a total gained. [L/d]"""
    gained = max(end.sd**2 - start.sd**2, 0.0) ** 0.5 / days
    least = 0.0 if daily is None else daily.sd / days**0.5
    return Estimate((end.value - start.value) / days, max(gained, least))


def _idle(database: Database, plan: SumpPlan) -> Idle | None:
    """What is lost with the pumps stopped, from the newest belief that was kept. [L/d]"""
    row = database.row(
        "SELECT body FROM checkpoint WHERE sump = ? ORDER BY at DESC LIMIT 1", plan.id
    )
    if row is None:
        return None
    body: bytes = row[0]
    try:
        belief = belief_codec().validate_json(body if body[:1] == b"{" else decompress(body))
    except ValueError:  # another version of millpond kept it
        return None
    return idle_losses(belief, plan) if belief.schema == SCHEMA else None


def _salts_measured(database: Database, sump: str) -> dict[str, float]:
    """Newest checks of the fluid's salts. [mg/L]"""
    found: dict[str, float] = {}
    for logged in Logbook(database).entries(sump, 0, FOREVER, CHECKS_READ):
        check = logged.entry
        if isinstance(check, Check) and check.kind in _SALTS and not logged.is_replaced:
            found.setdefault(_SALTS[check.kind], check.value)
    return found


def _stock(
    database: Database, plant: Plant, found: Mapping[str, Expected | str]
) -> dict[str, Stock]:
    """What is left of each supply that somebody counted. [L]"""
    rows = database.rows("SELECT supply, volume, at FROM stock ORDER BY at, rowid")
    counted = {name: (volume, at) for name, volume, at in rows if name in plant.supplies}
    uses: dict[str, Use] = {
        name: e.outlook.use
        for name, e in found.items()
        if isinstance(e, Expected) and e.outlook.use is not None
    }
    left = {name: volume for name, (volume, _) in counted.items()}
    days = supply_days(plant.supplies, left, plant.sumps, uses)
    return {
        name: Stock(
            supply=name,
            name=plant.supplies[name].name or name,
            volume=volume,
            at=at,
            days=_since(days.get(name), at, found),
        )
        for name, (volume, at) in counted.items()
    }


def _since(
    days: Estimate | None, at: Instant, found: Mapping[str, Expected | str]
) -> Estimate | None:
    """Time that is left now, of one that was left when somebody looked. [d]"""
    if days is None:
        return None
    now = max((e.outlook.at for e in found.values() if isinstance(e, Expected)), default=at)
    passed = max(days_between(at, now), 0.0)
    return Estimate(max(days.value - passed, 0.0), days.sd)


def _taken_from(stock: Mapping[str, Stock], plant: Plant, sump: str | None) -> tuple[Stock, ...]:
    """Supplies of the plant, or those that one sump takes from."""
    if sump is None:
        return tuple(stock.values())
    used = {supply.id for supply in plant.sumps[sump].supplies}
    return tuple(left for name, left in stock.items() if name in used)
