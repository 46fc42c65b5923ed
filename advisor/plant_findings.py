"""What is wrong with the plant as a whole or with a supply, found from plain inputs.

Each function gives the finding, or nothing; `advisor.alarms.assess_findings` makes alarms of them.
"""

from collections.abc import Iterable
from typing import NamedTuple

from advisor.alarm_conditions import stale_after
from advisor.alarm_texts import amount, duration
from advisor.plan import SumpPlan, Supply
from advisor.words import MINUTE, Finding, Instant, Signal, SumpState

LOST_SHARE = 0.5
"""Share of the sumps that must be silent before the feed counts as lost. [1]"""

LOW_SHARE = 0.2
"""Of a full supply; below it is low, where the plant says nothing, *common practice*. [1]"""

BEHIND_AFTER: Instant = 30 * MINUTE
"""Age of what waits for the historian at which it is behind, *common practice*. [ms]"""


NEVER: Instant = 1 << 62
"""Longer than anything. [ms]"""


class Heard(NamedTuple):
    """When a sump was last heard of, and after how long it is missed. [ms]"""

    last: Instant
    missed_after: Instant


def heard_of(state: SumpState, plan: SumpPlan) -> Heard | None:
    """When anything of a sump was last heard, `running` aside; `None`: never yet."""
    last, missed = -1, NEVER
    signals, intervals = plan.signals, state.intervals
    for signal, heard in state.last_seen.items():
        if signal is not Signal.RUNNING and signal in signals:
            last = max(last, heard)
            missed = min(missed, stale_after(signals[signal], intervals))
    return None if last < 0 else Heard(last, missed)


def feed_lost(
    sumps: Iterable[Heard | None], now: Instant, *, disconnected_since: Instant | None = None
) -> Finding | None:
    """Find that sumps fall silent together: the broker, a gateway or the network is the cause.

    Parameters
    ----------
    sumps : Iterable[Heard or None]
        Of each sump; those never heard of do not count.
    now : Instant
        The clock. [ms]
    disconnected_since : Instant or None
        Since when the agent itself has no broker; `None` while it has one.

    Returns
    -------
    Finding or None
        Lost when the broker is gone, or when half of the sumps and at least two are silent; a
        single sump that is silent is an alarm of its own. `since` is when so many had fallen
        silent, which is what `advisor.alarms.Outage` wants.
    """
    if disconnected_since is not None:
        gone = duration((now - disconnected_since) / 1000)
        return _finding("feed-lost", disconnected_since, f"no broker for {gone}.")
    heard = [sump for sump in sumps if sump is not None]
    silent = sorted(
        (sump.last for sump in heard if now - sump.last > sump.missed_after), reverse=True
    )
    needed = max(2, -(-len(heard) * LOST_SHARE // 1))
    if len(silent) < needed:
        return None
    since = silent[int(needed) - 1]
    said = f"{len(silent)} of {len(heard)} sumps silent, for {duration((now - since) / 1000)}."
    return _finding("feed-lost", since, said)


def historian_behind(waiting: int, oldest: Instant | None, now: Instant) -> Finding | None:
    """Find that the historian does not take what is written.

    Parameters
    ----------
    waiting : int
        Records that wait on disk. [1]
    oldest : Instant or None
        When the oldest of them was to be written; `None`: nothing waits. [ms]
    now : Instant
        The clock. [ms]
    """
    if oldest is None or waiting <= 0 or now - oldest <= BEHIND_AFTER:
        return None
    age, limit = (now - oldest) / 1000, BEHIND_AFTER / 1000
    said = f"{waiting} records wait for the historian, the oldest for {duration(age)}."
    return Finding(
        name="historian-behind",
        signal=None,
        since=oldest,
        detail=said,
        value=age,
        limit=limit,
        unit="s",
    )


def stock_low(
    supply: Supply, volume: float, at: Instant, *, reorder: float | None = None
) -> Finding | None:
    """Find that a supply runs out.

    Parameters
    ----------
    supply : Supply
        A drum or tote; a water line has no stock.
    volume : float
        What is left. [L]
    at : Instant
        When that was seen. [ms]
    reorder : float or None
        Volume at which it is ordered; a fifth of the full one where nobody says. [L]
    """
    if reorder is None:
        if supply.volume is None:
            return None
        reorder = LOW_SHARE * supply.volume
    if volume > reorder:
        return None
    said = f"{amount(volume, 'L')} are left, it is to be ordered at {amount(reorder, 'L')}."
    return Finding(
        name="stock-low",
        signal=None,
        since=at,
        detail=said,
        value=volume,
        limit=reorder,
        unit="L",
    )


def expired(lot: str, expires: Instant | None, now: Instant) -> Finding | None:
    """Find that the concentrate in use is older than its label allows. Times in ms.

    Concentrates keep 6 to 12 months as a rule (DGUV Information 209-051, 2006); the label decides.
    """
    if expires is None or now < expires:
        return None
    named = f"lot {lot}" if lot else "the lot in use"
    said = f"{named} expired {duration((now - expires) / 1000)} ago."
    return _finding("expired", expires, said)


def _finding(name: str, since: Instant, detail: str) -> Finding:
    """Say something of the whole plant or of a supply, without a number to compare."""
    return Finding(name=name, signal=None, since=since, detail=detail)
