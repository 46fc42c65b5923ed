"""An outlook as people read it: plain text, in the units and on the clocks of the plant."""

import textwrap
from collections.abc import Iterator
from math import inf

from advisor.costs import amount, duration, money
from advisor.dose import DosePlan
from advisor.effects import After
from advisor.makeup import Case, WaterOutlook
from advisor.plan import Fluid
from advisor.rhythm import Rhythm
from advisor.standstill import Standstill
from advisor.startup import start_up
from advisor.units import GALLON
from advisor.wording import NEGLIGIBLE, number, percent, percent_sd, sd_digits
from advisor.words import DAY, Estimate, Instant
from agent.outlook.expected import Expected, Foreseen, Stock
from agent.outlook.times import said, said_day
from agent.quantities import for_people

WIDTH = 80
"""Columns of a sheet."""

INDENT = 18
"""Columns before what is said of a subject."""

NEVER = "never"

YEARS = 730.0
"""Longer nobody wants to know how long a drum lasts. [d]"""

FAR: Instant = 14 * DAY
"""From here on only the day of a moment is said. [ms]"""


class Sheet:
    """Writes the lines of a sheet.

    Parameters
    ----------
    foreseen : Foreseen
        Whose units and clocks are used.
    """

    def __init__(self, foreseen: Foreseen) -> None:
        self._units = foreseen.units
        self._zone = foreseen.timezone

    def lines(self, foreseen: Foreseen) -> Iterator[str]:
        """All lines of it."""
        if foreseen.title:
            yield from _headed(foreseen.title, "=")
        for expected in foreseen.sumps:
            yield from self._sump(expected)
        for name, why in foreseen.untold.items():
            yield from ("", f"{name}: {why}")
        yield from self._supplies(foreseen.supplies)

    # --- one sump --------------------------------------------------------------------------------

    def _sump(self, expected: Expected) -> Iterator[str]:
        """Lines about one sump."""
        outlook, plan = expected.outlook, expected.plan
        if plan.name:
            yield ""
            yield from _headed(plan.id if plan.name == plan.id else f"{plan.id}, {plan.name}", "-")
        at = said(outlook.at, self._zone)
        yield from _about("it holds", f"{self._state(outlook.now)}, {at}")
        yield from _about("it loses", self._losses(expected))
        yield from self._coming(expected)
        if outlook.standstill is not None:
            yield from self._standstill(outlook.standstill, plan.fluid)
        yield from self._idle(expected)
        yield from self._rhythms(outlook.rhythms)
        if expected.water is not None:
            yield from ("", "Make-up water")
            yield from water_lines(expected.water)

    def _coming(self, expected: Expected) -> Iterator[str]:
        """Lines about the next top-up and about a week."""
        outlook = expected.outlook
        due, use = outlook.next, outlook.use
        if due is not None:
            spread = (
                "" if due.sd_h < 0.05 else f" (sd {number(due.sd_h, 0 if due.sd_h > 2 else 1)} h)"
            )
            yield from _about("next top-up", f"{self._when(due.at, outlook.at)}{spread}")
        if outlook.holding is not None:
            yield from _about("it is held by", f"{percent(outlook.holding)} in what is topped up")
        if use is not None:
            cost = "" if use.cost is None else f"; costs {amount(use.cost)}"
            water, pure = self._volume(use.water), self._volume(use.concentrate)
            yield from _about("a week takes", f"{water} of water, {pure} of concentrate{cost}")

    def _losses(self, expected: Expected) -> str:
        """Losses a day, and over how long they were measured."""
        losses = expected.outlook.losses
        if losses.water is None or losses.concentrate is None:
            return "not known yet"
        days = expected.losses_d
        mean = "" if days is None else f" (mean of {number(days, 1)} d)"
        water, pure = self._volume(losses.water), self._volume(losses.concentrate)
        return f"{water} of water, {pure} of concentrate a day{mean}"

    def _standstill(self, still: Standstill, fluid: Fluid) -> Iterator[str]:
        """Lines about a time without pumps."""
        begin, end = said(still.begin, self._zone), said(still.end, self._zone)
        yield from ("", f"Standstill, {begin} to {end}")
        yield from _about("before it", self._dose(still.before, fluid))
        yield from _about("in it then", self._state(still.before.after))
        yield from _about("at the start", self._state(still.after))
        yield from _about("level and band", self._kept(still))
        yield "  start-up"
        again = still.restart
        stages = start_up(again.mix, again.how, again.circulate)
        for count, stage in enumerate(stages, start=1):
            yield from _item(f"{count}.", stage.text)
            for caution in stage.cautions:
                yield from _item("  !", caution)

    def _kept(self, still: Standstill) -> str:
        """Say whether level and band are kept."""
        said_of = []
        if still.leaves_band is not None:
            said_of.append(f"the band is left {said(still.leaves_band, self._zone)}")
        if still.falls_low is not None:
            said_of.append(f"the level is too low from {said(still.falls_low, self._zone)} on")
        return "; ".join(said_of) or "both are kept"

    def _dose(self, dose: DosePlan, fluid: Fluid) -> str:
        """Say what to pour."""
        if dose.mix is None and dose.drain <= 0.0:
            return "nothing to pour"
        drain = f"drain {for_people(dose.drain, self._units)}; then " if dose.drain > 0.0 else ""
        cost = money(dose.mix, dose.drain, fluid)
        return f"{drain}{dose.how}" + ("" if cost is None else f" Costs {amount(cost)}.")

    def _idle(self, expected: Expected) -> Iterator[str]:
        """Lines about a sump that stands idle from now on."""
        outlook, fluid = expected.outlook, expected.plan.fluid
        if outlook.idle is None:
            return
        assumed = " (assumed)" if outlook.is_idle_assumed else ""
        yield from ("", "Idle from now on")
        yield from _about("it loses", f"{self._volume(outlook.idle.water)} of water a day{assumed}")
        alone = self._or_never(outlook.dries_out, outlook.at)
        yield from _about("nothing poured", f"leaves its band: {alone}")
        if fluid.weak_mix > 0.0:
            crept = self._or_never(outlook.creeps_out, outlook.at)
            weak = percent(fluid.weak_mix)
            yield from _about("kept full", f"with {weak} alone leaves its band: {crept}")

    def _or_never(self, at: Instant | None, now: Instant) -> str:
        """A moment to come, if it comes."""
        return NEVER if at is None else self._when(at, now)

    def _rhythms(self, rhythms: tuple[Rhythm, ...]) -> Iterator[str]:
        """Table of little and often against once a week."""
        if not rhythms:
            return
        weeks = number(rhythms[0].every * (rhythms[0].rounds - 1) / 7.0, 0)
        yield from ("", f"Little and often, or once a week: {weeks} weeks of either")
        yield (
            f"  {'topped up':<14}{'rounds':>7}{'buckets':>8}{'lowest':>9}{'highest':>9}"
            f"{'concentrate':>13}{'cost':>9}"
        )
        for rhythm in rhythms:
            yield from self._rhythm(rhythm)

    def _rhythm(self, rhythm: Rhythm) -> Iterator[str]:
        """Lines about one rhythm."""
        every = "every day" if rhythm.every == 1.0 else f"every {number(rhythm.every)} days"
        buckets = "-" if rhythm.buckets is None else str(rhythm.buckets)
        cost = "-" if rhythm.cost is None else amount(rhythm.cost)
        pure = self._volume(Estimate(rhythm.poured.concentrate, 0.0))
        yield (
            f"  {every:<14}{rhythm.rounds:>7}{buckets:>8}{percent(rhythm.lowest):>9}"
            f"{percent(rhythm.highest):>9}{pure:>13}{cost:>9}"
        )
        wrong = [
            word
            for word, holds in (
                ("leaves its band", rhythm.is_out_of_band),
                ("falls under its lowest level", rhythm.is_too_low),
            )
            if holds
        ]
        if wrong:
            yield f"  {'':<14}it {' and '.join(wrong)}"

    # --- supplies --------------------------------------------------------------------------------

    def _supplies(self, supplies: tuple[Stock, ...]) -> Iterator[str]:
        """Lines about what is left in drums."""
        if not supplies:
            return
        yield from ("", "Supplies, as last counted")
        for stock in supplies:
            left = for_people(stock.volume, self._units)
            last = _lasts(stock.days)
            yield from _about(stock.name, f"{left} {said(stock.at, self._zone)}; {last}")

    # --- words -----------------------------------------------------------------------------------

    def _state(self, after: After) -> str:
        """Volume and concentration with their sds."""
        return f"{self._volume(after.volume)} at {percent_sd(after.concentration)}"

    def _volume(self, volume: Estimate) -> str:
        """A volume with its sd."""
        per, unit = (GALLON, "gal") if self._units == "us" else (1.0, "L")
        value, sd = volume.value / per, volume.sd / per
        digits = 1 if value >= 10.0 else 2
        said_of = f"{number(value, digits)} {unit}"
        return (
            said_of
            if sd < NEGLIGIBLE
            else (f"{said_of} (sd {number(sd, sd_digits(sd, digits))} {unit})")
        )

    def _when(self, at: Instant, now: Instant) -> str:
        """A moment to come; only its day where it is far away."""
        return said(at, self._zone) if at - now < FAR else said_day(at, self._zone)


def as_sheet(foreseen: Foreseen) -> str:
    """All that is foreseen, as text."""
    return "\n".join(Sheet(foreseen).lines(foreseen)).strip("\n") + "\n"


def water_lines(outlook: WaterOutlook) -> Iterator[str]:
    """Lines about what each water does to a sump."""
    cycles = (
        "no end: nothing is carried off" if outlook.cycles == inf else number(outlook.cycles, 2)
    )
    yield from _about("cycles", f"{cycles} (make-up over carry-off)")
    for salt in outlook.salts:
        known = "assumed, as in a fresh fill" if salt.is_assumed else "measured"
        yield from _about(
            salt.name,
            f"{number(salt.now, 0)} mg/L now ({known}), limit {number(salt.limit, 0)} mg/L",
        )
    for case in outlook.cases:
        yield from _about(case.water.name, _case(case))
    for blend in outlook.blends:
        share = percent(blend.share, 0)
        if blend.because_of:
            words = (
                f"at most {share} of it, the rest demineralised, never reaches a limit "
                f"({blend.because_of} decides)"
            )
        else:
            words = "alone never reaches a limit"
        yield from _about(f"{blend.water}, blended" if blend.because_of else blend.water, words)
    if any(salt.name == "hardness" for salt in outlook.salts):
        yield from _about("", "Hardness is an upper bound: part of it precipitates.")
    if any(case.is_nitrate_high for case in outlook.cases):
        yield from _about("", "Nitrate of make-up water: at most 50 mg/L (TRGS 611); blend it.")


def _lasts(days: Estimate | None) -> str:
    """Say for how long a supply lasts. [d]"""
    if days is None:
        return "nothing is taken from it"
    if days.value > YEARS:
        return "lasts for more than two years"
    spread = "" if days.sd < NEGLIGIBLE else f" (sd {number(days.sd, sd_digits(days.sd, 0))} d)"
    return f"lasts for {number(days.value, 0)} d{spread}"


def _case(case: Case) -> str:
    """Say what one water does."""
    if case.days == inf and all(course.settles == 0.0 for course in case.courses):
        return "brings no salts"
    parts = []
    for course in case.courses:
        if course.days == inf:
            parts.append(f"{course.salt} settles at {number(course.settles, 0)} mg/L")
        else:
            parts.append(f"{course.salt} reaches its limit in {duration(course.days)}")
    return "; ".join(parts)


def _headed(title: str, line: str) -> Iterator[str]:
    """A title, underlined."""
    yield from (title, line * min(len(title), WIDTH))


def _about(subject: str, text: str) -> Iterator[str]:
    """What is said of a subject, wrapped behind it."""
    lead = f"  {subject:<{INDENT - 2}}"
    if len(lead) > INDENT:
        lead = lead.rstrip() + ": "
    yield textwrap.fill(text, WIDTH, initial_indent=lead, subsequent_indent=" " * INDENT)


def _item(mark: str, text: str) -> Iterator[str]:
    """One item of a list."""
    lead = f"    {mark:<4}"
    yield textwrap.fill(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead))
