"""Numbers, amounts and moments as one person reads them: their language, units, and time zone.

An estimate is told with twice its sd, the span that holds the truth in about nineteen of twenty
cases, and with no more digits than that leaves meaning in.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import floor, isfinite, log10
from zoneinfo import ZoneInfo

from advisor.units import GALLON
from advisor.words import DAY, HOUR, MINUTE, Estimate, Instant
from agent.page.catalogue import Catalogue
from agent.quantities import for_people

NARROW = "\u202f"
"""Between a number and its unit: they stay on one line."""
SURE_SDS = 2.0
"""So many sds to either side are told: about 95 % of a normal distribution."""
INCH = 25.4
YEARS = 730.0
"""Longer than this nobody plans. [d]"""


@dataclass(frozen=True, slots=True)
class Speech:
    """How one person is spoken to."""

    text: Catalogue
    units: str
    """`metric` or `us`."""
    zone: ZoneInfo

    # --- numbers ----------------------------------------------------------------------------------

    def number(self, value: float, digits: int) -> str:
        """A number with so many decimals, in the language's own way."""
        shown = f"{value:z.{digits}f}".replace("-", "−")
        return shown.replace(".", ",") if self.text.language == "de" else shown

    def short(self, value: float) -> str:
        """A number to three digits, without zeros at the end."""
        digits = 0 if not value else max(0, 2 - floor(log10(abs(value))))
        shown = f"{value:z.{min(digits, 3)}f}"
        shown = shown.rstrip("0").rstrip(".") if "." in shown else shown
        shown = shown.replace("-", "−")
        return shown.replace(".", ",") if self.text.language == "de" else shown

    def give_or_take(self, estimate: Estimate, per: float = 1.0) -> tuple[str, str]:
        """Value and span, both to the digit that the span leaves meaning in."""
        value, span = estimate.value / per, SURE_SDS * estimate.sd / per
        digits = 2 if span < 0.095 else 1 if span < 0.95 else 0
        return self.number(value, digits), self.number(span, digits)

    # --- quantities -------------------------------------------------------------------------------

    @property
    def volume_unit(self) -> str:
        """Unit of what is in a sump."""
        return "gal" if self.units == "us" else "L"

    @property
    def litres_each(self) -> float:
        """Litres in one of `volume_unit`. [L]"""
        return GALLON if self.units == "us" else 1.0

    def volume(self, litres: float | None) -> str:
        """An amount that is in a sump, or went in or out in all. [L]"""
        if litres is None:
            return self.text("word.unknown")
        value = litres / self.litres_each
        return f"{self.short(value)}{NARROW}{self.volume_unit}"

    def volume_sure(self, estimate: Estimate | None) -> str:
        """An amount with its span. [L]"""
        return self._sure(estimate, self.litres_each, self.volume_unit)

    def size_sure(self, estimate: Estimate) -> str:
        """An amount with its span, whichever way it goes. [L]"""
        return self.volume_sure(Estimate(abs(estimate.value), estimate.sd))

    def rate_sure(self, estimate: Estimate | None) -> str:
        """A loss with its span. [L/d]"""
        unit = self.text("unit.a_day", unit=self.volume_unit)
        return self._sure(estimate, self.litres_each, unit)

    def percent_sure(self, estimate: Estimate | None) -> str:
        """A concentration with its span. [1]"""
        return self._sure(estimate, 0.01, "%")

    def volume_told(self, body: Mapping[str, float]) -> str:
        """An amount of a message with its span. [L]"""
        return self.volume_sure(Estimate(body["value"], body["sd"]))

    def percent_told(self, body: Mapping[str, float]) -> str:
        """A concentration of a message with its span. [%]"""
        return self.percent_sure(Estimate(body["value"] / 100.0, body["sd"] / 100.0))

    def pour(self, litres: float) -> str:
        """An amount to be measured out, as vessels are marked. [L]"""
        shown = for_people(litres, self.units).replace(" ", NARROW)
        return shown.replace(".", ",") if self.text.language == "de" else shown

    def percent(self, fraction: float) -> str:
        """A concentration or strength, to three digits. [1]"""
        return f"{self.short(100.0 * fraction)}{NARROW}%"

    def depth(self, millimetres: float) -> str:
        """A depth. [mm]"""
        if self.units == "us":
            return f"{self.number(millimetres / INCH, 1)}{NARROW}in"
        return f"{self.number(millimetres, 0)}{NARROW}mm"

    def brix(self, value: float) -> str:
        """A refractometer's reading. [°Brix]"""
        return f"{self.number(value, 1)}{NARROW}°Brix"

    def days_sure(self, estimate: Estimate) -> str:
        """A number of days with its span. [d]"""
        if estimate.value > YEARS:
            return self.text("time.days_many")
        value, span = self.give_or_take(estimate)
        return self.text("time.days_sure", value=value, span=span)

    def money_sure(self, estimate: Estimate) -> str:
        """An amount of money with its span, in the plant's currency."""
        value, span = self.give_or_take(estimate)
        return f"{value}{NARROW}±{NARROW}{span}"

    def _sure(self, estimate: Estimate | None, per: float, unit: str) -> str:
        """Value, span and unit in one."""
        if estimate is None or not isfinite(estimate.value):
            return self.text("word.unknown")
        value, span = self.give_or_take(estimate, per)
        return f"{value}{NARROW}±{NARROW}{span}{NARROW}{unit}"

    # --- moments ----------------------------------------------------------------------------------

    def local(self, at: Instant) -> datetime:
        """A moment on the wall clock of the plant."""
        return datetime.fromtimestamp(at / 1000.0, self.zone)

    def clock(self, at: Instant) -> str:
        """Time of day."""
        return self.local(at).strftime("%H:%M")

    def day(self, at: Instant) -> str:
        """Weekday and date."""
        when = self.local(at)
        return self.text(
            "time.date",
            weekday=self.text(f"time.weekday.{when.weekday()}"),
            day=when.day,
            month=self.text(f"time.month.{when.month}"),
            year=when.year,
        )

    def short_day(self, at: Instant) -> str:
        """Day of the month, with its weekday."""
        when = self.local(at)
        return f"{self.text(f'time.weekday.{when.weekday()}')} {when.day}"

    def month(self, at: Instant) -> str:
        """Month, in January with the year."""
        when = self.local(at)
        return str(when.year) if when.month == 1 else self.text(f"time.month_short.{when.month}")

    def whole_month(self, at: Instant) -> str:
        """Month and year."""
        when = self.local(at)
        return f"{self.text(f'time.month.{when.month}')} {when.year}"

    def moment(self, at: Instant, now: Instant | None) -> str:
        """When something was or will be, as briefly as one can say it on that day."""
        when = self.local(at)
        if now is None:
            return f"{self.day(at)}, {self.clock(at)}"
        days = (when.date() - self.local(now).date()).days
        if days == 0:
            return self.clock(at)
        if days in {-1, 1}:
            name = self.text("time.tomorrow" if days == 1 else "time.yesterday")
        elif 1 < days < 7:
            name = self.text(f"time.weekday.{when.weekday()}")
        else:
            name = self.text(
                "time.short_date", day=when.day, month=self.text(f"time.month_short.{when.month}")
            )
            if abs(days) > 300:
                name = f"{name} {when.year}"
        return f"{name} {self.clock(at)}" if abs(days) < 60 else name

    def span(self, length: Instant) -> str:
        """How long something takes or took, in its largest unit. [ms]"""
        for unit, size in (("day", DAY), ("hour", HOUR), ("minute", MINUTE)):
            count = round(length / size)
            if count >= (2 if unit == "day" else 1):
                return self.text(f"time.{unit}s", count=count)
        return self.text("time.moment")

    def input_value(self, at: Instant) -> str:
        """A moment as a date-and-time field of a form holds it."""
        return self.local(at).strftime("%Y-%m-%dT%H:%M")

    def instant(self, field: str) -> Instant:
        """Moment of such a field's value.

        Raises
        ------
        ValueError
            If it is none.
        """
        when = datetime.fromisoformat(field)
        if when.tzinfo is not None:
            raise ValueError("expected a local time")
        return round(when.replace(tzinfo=self.zone).timestamp() * 1000.0)

    def midnight(self, at: Instant, days: int = 0) -> Instant:
        """Begin of the day of a moment, or of one so many days later; days are as in the plant."""
        start = self.local(at).replace(hour=0, minute=0, second=0, microsecond=0)
        moved = (start + timedelta(days=days)).replace(tzinfo=self.zone)
        return round(moved.timestamp() * 1000.0)
