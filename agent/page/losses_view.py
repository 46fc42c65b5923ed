"""What days and shifts took and got, and the account since the last charge."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from advisor.words import HOUR, Account, Estimate, Instant, SumpEvent, days_between
from agent.instants import instant_of
from agent.page.cards import Card
from agent.page.live import Body
from agent.page.office import Office
from agent.page.speech import Speech
from agent.store.history import Snapshot

DAYS = 7
SHIFTS = 6
SHIFT_HOURS = (6, 14, 22)
"""When shifts begin on the plant's clocks, *common practice* of three shifts. [h]"""


@dataclass(frozen=True, slots=True)
class Loss:
    """What a day or a shift took and got. [L]"""

    at: Instant
    until: Instant
    water: Estimate | None
    concentrate: Estimate | None
    poured: Estimate | None
    """`None`: something was poured, and nobody knows how much."""


@dataclass(frozen=True, slots=True)
class Balance:
    """Since a moment: what went in, what went, and what is in the sump. [L]"""

    since: Instant
    added: Account | None
    lost: Account | None
    drained: Account | None
    water: Estimate | None
    concentrate: Estimate | None
    cost: Estimate | None
    """Of the concentrate lost, in the plant's currency."""
    weekly_cost: Estimate | None
    """Of a week that goes on like the last day."""


def day_losses(office: Office, sump: str, speech: Speech, now: Instant) -> list[Loss]:
    """The last days of the plant's calendar, newest first; today so far is left out.

    Where no one account covers a day, as on that of a charge, it is the mean of the 24 hours before
    its end.
    """
    ends = [speech.midnight(now, -back) for back in range(DAYS + 1)]
    days = _between(office, sump, ends)
    return [_or_mean(day, _at(office, sump, day.until)) for day in days]


def shift_losses(office: Office, sump: str, speech: Speech, now: Instant) -> list[Loss]:
    """The last whole shifts, newest first."""
    begins = [
        speech.midnight(now, -back) + hour * HOUR
        for back in range(SHIFTS)
        for hour in reversed(SHIFT_HOURS)
    ]
    return _between(office, sump, [at for at in begins if at <= now][: SHIFTS + 1])


def _between(office: Office, sump: str, ends: Sequence[Instant]) -> list[Loss]:
    """Losses between moments, which come newest first. [ms]"""
    states = [_at(office, sump, end) for end in ends]
    events = office.told.events(sump, ends[-1], ends[0])
    found = []
    for place in range(len(ends) - 1):
        start, end = ends[place + 1], ends[place]
        water, concentrate = lost_between(states[place + 1], states[place])
        within = [e for e in events if e.kind == "addition" and start <= e.at < end]
        found.append(Loss(start, end, water, concentrate, _poured(within)))
    return found


def _or_mean(day: Loss, end: Snapshot | None) -> Loss:
    """A day, with the mean of its end where the account tells nothing."""
    if end is None or day.water is not None or day.concentrate is not None:
        return day
    return replace(day, water=end.water_loss, concentrate=end.concentrate_loss)


def _at(office: Office, sump: str, moment: Instant) -> Snapshot | None:
    """State told for a moment; nothing where the newest is older than an hour. [ms]"""
    state = office.history.at(sump, moment)
    return state if state is not None and state.at > moment - HOUR - 1 else None


def lost_between(
    before: Snapshot | None, after: Snapshot | None
) -> tuple[Estimate | None, Estimate | None]:
    """Water and concentrate lost between two states; nothing where no one account covers both. [L]

    The sd is that of what the total gained: errors made before are in both ends. It is at least
    what the loss of a day leaves open, taken as gathered at random.
    """
    if before is None or after is None or before.lost is None or after.lost is None:
        return None, None
    if before.lost.since != after.lost.since or before.at >= after.at:
        return None, None
    days = days_between(before.at, after.at)
    return (
        _gained(before.lost.water, after.lost.water, after.water_loss, days),
        _gained(before.lost.concentrate, after.lost.concentrate, after.concentrate_loss, days),
    )


def _gained(start: Estimate, end: Estimate, daily: Estimate | None, days: float) -> Estimate:
    """What a total gained. [L]"""
    least = 0.0 if daily is None else daily.sd * days**0.5
    own = max(end.sd**2 - start.sd**2, 0.0) ** 0.5
    return Estimate(end.value - start.value, max(own, least))


def _poured(events: Sequence[SumpEvent]) -> Estimate | None:
    """All that was poured. [L]"""
    volumes = [event.volume for event in events if event.volume is not None]
    if len(volumes) < len(events):
        return None
    return Estimate(sum(v.value for v in volumes), sum(v.sd**2 for v in volumes) ** 0.5)


def balance(card: Card) -> Balance | None:
    """Account of a sump, from the state that was told."""
    state = card.now.state
    if state is None or state["lost_total"] is None:
        return None
    lost = _account(state["lost_total"])
    water, concentrate = _inside(card)
    price = card.plan.fluid.price
    losses = state["losses"]
    daily = None if losses is None else losses["concentrate_l_per_day"]
    return Balance(
        since=0 if lost is None else lost.since,
        added=_account(state["added_total"]),
        lost=lost,
        drained=_account(state["drained_total"]),
        water=water,
        concentrate=concentrate,
        cost=None if lost is None else _priced(lost.concentrate, price),
        weekly_cost=None
        if daily is None
        else _priced(Estimate(7.0 * daily["value"], 7.0 * daily["sd"]), price),
    )


def _inside(card: Card) -> tuple[Estimate | None, Estimate | None]:
    """Water and concentrate that are in the sump. [L]"""
    volume, share = card.level.estimate, card.concentration.estimate
    if volume is None or share is None:
        return None, None
    pure = volume.value * share.value
    # The errors of volume and concentration are taken as independent: their correlation is not
    # told.
    pure_sd = ((volume.value * share.sd) ** 2 + (share.value * volume.sd) ** 2) ** 0.5
    return (
        Estimate(volume.value - pure, (volume.sd**2 + pure_sd**2) ** 0.5),
        Estimate(pure, pure_sd),
    )


def _priced(loss: Estimate, price: float | None) -> Estimate | None:
    """What a loss costs, not less than nothing; `price` of a litre. [1/L]"""
    if price is None:
        return None
    return Estimate(price * max(loss.value, 0.0), price * loss.sd)


def _account(body: Body | None) -> Account | None:
    """Total that a state tells. [L]"""
    if body is None:
        return None
    return Account(
        since=instant_of(body["since"]),
        water=Estimate(**body["water_l"]),
        concentrate=Estimate(**body["concentrate_l"]),
    )
