"""What a dose costs, and what an exchange costs beside waiting.

Money is in the plant's currency, which nobody names. Both ways of putting a sump right are
reckoned to the same end: the moment at which waiting has brought it there too, full both times. An
exchange pays for its concentrate and for getting rid of what is drained, and from then on for what
holds the target; waiting pays for the concentrate of what is filled up meanwhile.
"""

from dataclasses import dataclass
from math import inf

from advisor.drift import days_kept_full, rates_of
from advisor.effects import Mix
from advisor.plan import Fluid
from advisor.wording import litres, percent
from advisor.words import Estimate, Losses

FARTHEST = 365.0
"""Waiting that takes longer leads nowhere. [d]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A way to the target by filling up what is lost with a mix of strength `fresh`. [1]"""

    fresh: float
    into_band: float
    """Until it is in the band; 0 where it is. [d]"""
    days: float
    """Until it is there; infinite where it never is. [d]"""
    concentrate: float
    """Poured meanwhile. [L]"""
    holding: float
    """Concentrate that would have held the target meanwhile. [L]"""


def money(mix: Mix | None, drained: float, fluid: Fluid) -> float | None:
    """Cost of a mix and of getting rid of what is drained [L]; `None` without any price."""
    if fluid.price is None and fluid.disposal is None:
        return None
    concentrate = 0.0 if mix is None else mix.concentrate
    return concentrate * (fluid.price or 0.0) + drained * (fluid.disposal or 0.0)


def waiting(volume: Estimate, strength: Estimate, losses: Losses, fluid: Fluid) -> Waiting | None:
    """Foresee how a full sump comes to its target by what fills up its losses.

    `None` where the losses are not known, or it is there already. Volume in [L], strength in [1].
    """
    now, target = strength.value, fluid.target
    rates = rates_of(losses, now)
    if volume.value <= 0.0 or rates is None or rates.total <= 0.0 or now == target:
        return None
    fresh = fluid.weak_mix if now > target else fluid.premix_max
    days = days_kept_full(volume.value, now, target, fresh, rates)
    edge = min(max(now, fluid.band_low), fluid.band_high)
    into_band = days_kept_full(volume.value, now, edge, fresh, rates)
    if days > FARTHEST:
        return Waiting(fresh=fresh, into_band=into_band, days=inf, concentrate=0.0, holding=0.0)
    return Waiting(
        fresh=fresh,
        into_band=into_band,
        days=days,
        concentrate=fresh * rates.total * days,
        holding=target * rates.carry_off * days,
    )


def for_dose(mix: Mix | None, drained: float, fluid: Fluid) -> tuple[str, ...]:
    """Say what a dose costs. Volumes in [L]."""
    cost = money(mix, drained, fluid)
    parts = []
    if mix is not None and mix.concentrate > 0.0:
        parts.append((f"{litres(mix.concentrate, 2)} of concentrate", fluid.price, mix.concentrate))
    if drained > 0.0:
        parts.append((f"{litres(drained)} to dispose of", fluid.disposal, drained))
    if cost is None or not parts:
        return ()
    said = " and ".join(_part(*part, alone=len(parts) == 1) for part in parts)
    return (f"Costs {amount(cost)}: {said}.",)


def for_exchange(mix: Mix, drained: float, wait: Waiting | None, fluid: Fluid) -> tuple[str, ...]:
    """Set an exchange against waiting: how long that takes, and what both cost. Volumes in [L]."""
    cost = money(mix, drained, fluid)
    alone = () if cost is None else (f"The exchange alone costs {amount(cost)}.",)
    if wait is None:
        return alone
    way = f"topped up with {percent(wait.fresh)} as it loses fluid"
    if wait.days == inf:
        return (f"Waiting does not lead there: {way}, it never comes to the target.", *alone)
    band = f"into the band in {duration(wait.into_band)}, " if wait.into_band > 0.0 else ""
    said = f"Waiting instead: {way}, it comes {band}to the target in {duration(wait.days)}."
    if cost is None:
        return (said,)
    price = fluid.price or 0.0
    both = amount(cost + price * wait.holding), amount(price * wait.concentrate)
    until = f"With what is topped up until then the exchange costs {both[0]}, waiting {both[1]}."
    return (f"{said} {until}",)


def amount(cost: float) -> str:
    """A sum of money, as said, in the plant's currency.

    >>> amount(20.1)
    '20.10'
    """
    return f"{cost:.2f}"


def duration(days: float) -> str:
    """A time to come, as said. [d]

    >>> duration(0.2), duration(1.4), duration(8.7)
    ('less than a day', 'about 1 day', 'about 9 days')
    """
    whole = round(days)
    if days < 0.5:
        return "less than a day"
    return "about 1 day" if whole == 1 else f"about {whole} days"


def _part(said: str, price: float | None, volume: float, *, alone: bool) -> str:
    """Say a part [L] of a cost, with what it costs where there are several."""
    if price is None:
        return f"{said} (price not known)"
    return said if alone else f"{said} ({amount(price * volume)})"
