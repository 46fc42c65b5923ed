"""What is remembered of a station, and the moves that change it.

A setpoint is *issued*, *accepted* by the station, kept alive by leases while the evidence stays
good, and closed by the report that it is finished. Withdrawn, it is *ending* until that report has
come. `advisor.station` moves it by time and evidence, `advisor.station_reports` by what the station
says.
"""

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from advisor.effects import Effect, Mix, PublishLease, Setpoint
from advisor.plan import SumpPlan
from advisor.sump_findings import DELIVERY_SHARE
from advisor.words import MINUTE, Finding, Instant

ALARM = "delivery-differs"
"""Raised whenever a station does other than it was asked."""

SILENT: Instant = 15 * MINUTE
"""A station that pours says something at least so often. [ms]"""

CLOCK_OFF: Instant = 2 * MINUTE
"""A station's clock may be wrong by so much. [ms]"""

Stage: TypeAlias = Literal["issued", "accepted", "ending"]
Outcome: TypeAlias = Literal["finished", "refused", "lost"]
"""How a setpoint closed: reported finished, refused, or without any word of its end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """The setpoint that is open. Totals as reported so far. [L], moments in [ms]"""

    setpoint: Setpoint
    stage: Stage
    lease_until: Instant
    deadline: Instant
    """By then the station must have said something, or have finished."""
    late_at: Instant | None = None
    """By then it must have finished; `None` until it has accepted."""
    behind: Instant = 0
    """How far the station's clock seems to be behind. [ms]"""
    water: float = 0.0
    concentrate: float = 0.0
    totals: tuple[float | None, float | None] = (None, None)
    """Where the counters stood when it was issued. [L]"""
    standing: bool = False
    """Its level stop holds for standing pumps alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """A setpoint that is closed. [L], [ms]"""

    id: str
    asked: Mix
    water: float
    concentrate: float
    at: Instant
    """When it closed: what it poured counts from here."""
    outcome: Outcome
    totals: tuple[float | None, float | None] = (None, None)

    @property
    def counted(self) -> float:
        """What counts in the hour and in the day: all that was asked for, where nobody knows."""
        poured = self.water + self.concentrate
        return max(poured, self.asked.volume) if self.outcome == "lost" else poured


@dataclass(frozen=True, slots=True, kw_only=True)
class StationDesk:
    """What is remembered of a station: the open setpoint, those of a day, whether it is paused."""

    open: Dose | None = None
    past: tuple[Past, ...] = ()
    """Oldest first: those of a day, and the last few."""
    number: int = 0
    """Of the last setpoint. It never falls behind the minutes of the clock, so that a new one has
    not been used even where this memory was lost."""
    carried_out: str = ""
    """Advice that the last setpoint carried out: none is carried out twice, unless the station
    reported less than was asked, or a person has looked into it since."""
    paused: str = ""
    """Why automatic dosing waits for a person; empty: it does not."""
    stirred: bool = True
    """Whether the pumps have run since the last setpoint was issued, or nobody knows: while they
    stand nothing tells how strong a dose was, so that there is only one."""
    stood_since: Instant | None = None
    """When the pumps were first seen standing. [ms]"""
    news: tuple[Finding, ...] = ()
    """Found since the last judgement; told once."""


Step: TypeAlias = tuple[StationDesk, tuple[Effect, ...]]


# --- moves ----------------------------------------------------------------------------------------


def accepted(dose: Dose, now: Instant) -> Dose:
    """Count on a station that has accepted."""
    if dose.stage != "issued":
        return dose
    return replace(dose, stage="accepted", deadline=now + SILENT)


def longest(mix: Mix, plan: SumpPlan) -> Instant:
    """How long a station may take to pour a mix. [ms]"""
    slowest = 1.0 if plan.station is None else plan.station.slowest
    return round(mix.volume / slowest * MINUTE)


def ending(desk: StationDesk, dose: Dose, now: Instant) -> Step:
    """Withdraw the open setpoint; its report is waited for until the lease has surely run out."""
    deadline = max(now, dose.lease_until) + SILENT
    ended = replace(dose, stage="ending", deadline=deadline)
    return replace(desk, open=ended), (end_of(dose, now),)


def end_of(dose: Dose, now: Instant) -> PublishLease:
    """End a lease: its end has passed by the agent's clock, and by the station's."""
    return PublishLease(dose.setpoint.id, now - dose.behind)


def closed(desk: StationDesk, dose: Dose, now: Instant, outcome: Outcome) -> StationDesk:
    """Close the open setpoint."""
    past = Past(
        id=dose.setpoint.id,
        asked=dose.setpoint.mix,
        water=dose.water,
        concentrate=dose.concentrate,
        at=now,
        outcome=outcome,
        totals=dose.totals,
    )
    poured, asked = dose.water + dose.concentrate, dose.setpoint.mix.volume
    short = outcome != "lost" and poured < (1.0 - DELIVERY_SHARE) * asked
    carried_out = "" if short else desk.carried_out
    return replace(desk, open=None, past=(*desk.past, past), carried_out=carried_out)


def paused(desk: StationDesk, detail: str, now: Instant) -> StationDesk:
    """Pause until a person has looked into it, and tell why."""
    finding = Finding(name=ALARM, signal=None, since=now, detail=detail)
    return replace(desk, paused=desk.paused or detail, news=(*desk.news, finding))


def past_of(desk: StationDesk, ident: str) -> Past | None:
    """Find a closed setpoint."""
    return next((past for past in desk.past if past.id == ident), None)


def is_old(desk: StationDesk, ident: str) -> bool:
    """Whether a setpoint was issued so long ago that nothing else is remembered of it."""
    kind, _, number = ident.partition("-")
    return kind == "s" and number.isdecimal() and int(number) <= desk.number


def behind(at: Instant, now: Instant) -> Instant:
    """How far a clock is behind that says `at` now; less than what may be is nothing. [ms]"""
    return now - at if at < now - CLOCK_OFF else 0


def clock_trouble(asked: Setpoint, at: Instant, now: Instant, *, begins: bool) -> str:
    """Say that a station's clock cannot be right; empty where it may be."""
    if at > now + CLOCK_OFF:
        return f"the station's clock is ahead by {(at - now) / MINUTE:.0f} min."
    if at < asked.issued_at - CLOCK_OFF:
        behind = (asked.issued_at - at) / MINUTE
        return f"the station's clock is behind by at least {behind:.0f} min."
    if begins and at > asked.expires_at + CLOCK_OFF:
        return f"the station begins setpoint {asked.id} after it has expired."
    return ""


def returned(desk: StationDesk) -> StationDesk:
    """Let automatic dosing go on: a person has looked into why it paused."""
    return replace(desk, paused="", carried_out="") if desk.paused else desk


def told(desk: StationDesk) -> StationDesk:
    """Forget the news, once they have been told."""
    return replace(desk, news=()) if desk.news else desk
