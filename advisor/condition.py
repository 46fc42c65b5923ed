"""What is remembered of a fluid's condition: checks, fills, inline pH and conductivity, the pumps.

Bounded, and independent of the order in which evidence comes, as far as it comes within what is
kept: late evidence takes its place by its own time. Sums are of whole numbers, so that they do not
depend on the order of adding.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple, TypeAlias

from advisor.words import (
    DAY,
    HOUR,
    MINUTE,
    Charge,
    Check,
    CheckKind,
    Evidence,
    Instant,
    Reading,
    Service,
    Signal,
)

KEPT = 3
"""Newest checks that are kept of each kind: the rule on nitrite asks for three in a row. [1]"""

BUCKET: Instant = 10 * MINUTE
"""Inline readings are summed over so long. [ms]"""

TREND: Instant = HOUR
"""... and so many of these sums are told as one mean: foam and bubbles pass. [ms]"""

ONE_CHARGE: Instant = 3 * DAY
"""Stages of a charge are no further apart than this. [ms]"""

MIXED: Instant = HOUR
"""A fresh charge is mixed after so long, *common practice*. [ms]"""

FIRST_UNTIL: Instant = 5 * HOUR
"""Inline pH counts as that of the first fill for so long after the charge. [ms]"""

SWITCHES = 4
"""Switches of the pumps that are kept: two standstills. [1]"""

MICRO = 1e6
"""Inline readings are summed in millionths of their unit."""

NOTED: frozenset[Signal] = frozenset({Signal.PH, Signal.CONDUCTIVITY, Signal.RUNNING})
"""Signals whose readings are noted here."""


class Noted(NamedTuple):
    """A check that was entered; its value in the kind's internal unit."""

    kind: CheckKind
    at: Instant
    id: str
    value: float


class Sum(NamedTuple):
    """Inline readings from `begin` on, for `BUCKET`; their sum in `MICRO`."""

    begin: Instant
    readings: int
    total: int

    @property
    def mean(self) -> float:
        """In the signal's unit."""
        return self.total / self.readings / MICRO


Trend: TypeAlias = tuple[Sum, ...]
"""Of one inline signal, oldest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What is remembered of one sump. All times in ms."""

    since: Instant | None = None
    """From when on the sump has been watched."""
    filled_at: Instant | None = None
    """When the newest charge began: what was measured before is of another fluid."""
    done_at: Instant | None = None
    """When it was done: what sensors said before is not of this fluid."""
    checks: tuple[Noted, ...] = ()
    """Of each kind the newest, by kind and time."""
    first_ph: Noted | None = None
    """First check of the pH of this fluid."""
    first_inline: Sum | None = None
    """Inline pH of the hours after the charge."""
    skimmed_at: Instant | None = None
    ph: Trend = ()
    conductivity: Trend = ()
    pumps: tuple[tuple[Instant, bool], ...] = ()
    """Switches of the pumps, oldest first, and the newest report."""


EMPTY = Condition()


# --- taking in ------------------------------------------------------------------------------------


def note(condition: Condition, evidence: Evidence) -> Condition:
    """Take in one piece of evidence, whenever it comes; what says nothing here is passed over.

    Parameters
    ----------
    condition : Condition
        What is remembered so far.
    evidence : Evidence
        A reading of a signal of `NOTED`, or what somebody entered. Times in ms.
    """
    match evidence:
        case Reading():
            return _note_reading(condition, evidence)
        case Check():
            return _note_check(condition, evidence)
        case Charge():
            return _note_charge(condition, evidence)
        case Service(kind="skimmed"):
            return replace(condition, skimmed_at=_later(condition.skimmed_at, evidence.at))
        case _:
            return condition


def withdrawn(condition: Condition, entry: str) -> Condition:
    """Forget a check that a later entry replaces."""
    checks = tuple(noted for noted in condition.checks if noted.id != entry)
    first = condition.first_ph
    if first is not None and first.id == entry:
        first = _first_of(checks, condition.filled_at)
    if len(checks) == len(condition.checks) and first is condition.first_ph:
        return condition
    return replace(condition, checks=checks, first_ph=first)


def _later(one: Instant | None, other: Instant) -> Instant:
    """Later of two moments, the first of which may be unknown. [ms]"""
    return other if one is None else max(one, other)


def _note_check(condition: Condition, check: Check) -> Condition:
    """Keep a check in its place among those of its kind."""
    noted = Noted(check.kind, check.at, check.id, check.value)
    same = sorted((*(old for old in condition.checks if old.kind is check.kind), noted), key=_time)
    others = (old for old in condition.checks if old.kind is not check.kind)
    checks = tuple(sorted((*others, *same[-KEPT:]), key=_place))
    first = condition.first_ph
    filled = condition.filled_at
    if check.kind is CheckKind.PH and filled is not None and check.at >= filled:
        first = noted if first is None else min(first, noted, key=_time)
    return replace(condition, checks=checks, first_ph=first)


def _time(noted: Noted) -> tuple[Instant, str]:
    """Order of checks of one kind."""
    return noted.at, noted.id


def _place(noted: Noted) -> tuple[str, Instant, str]:
    """Order of all checks."""
    return noted.kind.value, noted.at, noted.id


def _first_of(checks: tuple[Noted, ...], filled: Instant | None) -> Noted | None:
    """First pH of this fluid that is still remembered."""
    if filled is None:
        return None
    of_fluid = (noted for noted in checks if noted.kind is CheckKind.PH and noted.at >= filled)
    return min(of_fluid, key=_time, default=None)


def _note_charge(condition: Condition, charge: Charge) -> Condition:
    """Begin anew with fresh fluid; the stages of one charge are one beginning."""
    filled, done, at = condition.filled_at, condition.done_at, charge.at
    if filled is None:
        filled = at
    elif abs(at - filled) <= ONE_CHARGE:
        filled = min(at, filled)
    else:
        filled = max(at, filled)
    if charge.stage != "begun":
        done = _later(done, at)
    if (filled, done) == (condition.filled_at, condition.done_at):
        return condition
    return replace(
        condition,
        filled_at=filled,
        done_at=done,
        first_ph=_first_of(condition.checks, filled),
        first_inline=None,
        ph=(),
        conductivity=(),
    )


def _note_reading(condition: Condition, reading: Reading) -> Condition:
    """Add an inline reading to its sum, or a switch of the pumps to those that are kept."""
    if reading.signal is Signal.RUNNING:
        pumps = _switched(condition.pumps, reading.at, reading.value > 0.5)
        return condition if pumps is condition.pumps else replace(condition, pumps=pumps)
    done = condition.done_at
    if done is not None and reading.at < done:
        return condition
    if reading.signal is Signal.CONDUCTIVITY:
        return replace(condition, conductivity=_added(condition.conductivity, reading))
    if reading.signal is not Signal.PH:
        return condition
    first = condition.first_inline
    if done is not None and MIXED <= reading.at - done < FIRST_UNTIL:
        first = _plus(first or Sum(done + MIXED, 0, 0), reading)
    return replace(condition, ph=_added(condition.ph, reading), first_inline=first)


def _plus(one: Sum, reading: Reading) -> Sum:
    """Add a reading to a sum."""
    return Sum(one.begin, one.readings + 1, one.total + round(reading.value * MICRO))


def _added(trend: Trend, reading: Reading) -> Trend:
    """Add a reading to the sum of its ten minutes; only those of the last hour are kept."""
    begin = reading.at - reading.at % BUCKET
    if trend and trend[-1].begin == begin:
        return (*trend[:-1], _plus(trend[-1], reading))
    sums = {one.begin: one for one in trend}
    sums[begin] = _plus(sums.get(begin) or Sum(begin, 0, 0), reading)
    oldest = max(sums) - TREND
    return tuple(sums[key] for key in sorted(sums) if key > oldest)


def _switched(
    pumps: tuple[tuple[Instant, bool], ...],
    at: Instant,
    running: bool,  # noqa: FBT001  a state, as read
) -> tuple[tuple[Instant, bool], ...]:
    """Put a report of the pumps in its place; of reports that say the same the first is kept.

    The newest report is kept too, to within ten minutes, so that what comes late between the two
    does not hide it.
    """
    if len(pumps) >= 2 and at > pumps[-1][0] and running is pumps[-1][1] is pumps[-2][1]:
        return pumps if at - pumps[-1][0] < BUCKET else (*pumps[:-1], (at, running))
    every = sorted({*pumps, (at, running)})
    kept = [every[0]]
    kept += [now for before, now in pairwise(every) if now[1] is not before[1]]
    if kept[-1] != every[-1]:
        kept.append(every[-1])
    return tuple(kept[-SWITCHES - 1 :])


# --- what is known --------------------------------------------------------------------------------


def newest(condition: Condition) -> dict[CheckKind, Noted]:
    """Newest check of each kind that was made of the fluid that is in the sump now."""
    filled = condition.filled_at or 0
    return {noted.kind: noted for noted in condition.checks if noted.at >= filled}


def run(condition: Condition, kind: CheckKind) -> tuple[Noted, ...]:
    """Newest checks of a kind, of the fluid that is in the sump now, oldest first."""
    filled = condition.filled_at
    return tuple(
        noted
        for noted in condition.checks
        if noted.kind is kind and (filled is None or noted.at >= filled)
    )


def mean(trend: Trend) -> tuple[Instant, float] | None:
    """Mean of an inline signal over the last hour [its unit], and when its newest part began."""
    if not trend:
        return None
    readings = sum(one.readings for one in trend)
    return trend[-1].begin, sum(one.total for one in trend) / readings / MICRO


def standstills(condition: Condition) -> tuple[tuple[Instant, Instant | None], ...]:
    """When the pumps stopped and when they ran again; `None`: they still stand. [ms]"""
    switches = [
        now for before, now in pairwise(((0, None), *condition.pumps)) if now[1] is not before[1]
    ]
    ends = [at for at, _ in switches[1:]] + [None]
    return tuple(
        (at, end) for (at, running), end in zip(switches, ends, strict=False) if not running
    )
