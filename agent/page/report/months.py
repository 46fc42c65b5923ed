"""Months of the plant's own calendar."""

import re
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from advisor.words import Instant

_MONTH = re.compile(r"(\d{4})-(\d\d)", re.ASCII)


@dataclass(frozen=True, slots=True, order=True)
class Month:
    """One month."""

    year: int
    number: int
    """1 to 12."""

    def __str__(self) -> str:
        return f"{self.year:04d}-{self.number:02d}"

    def moved(self, months: int) -> "Month":
        """The month so many months later."""
        place = self.year * 12 + self.number - 1 + months
        return Month(place // 12, place % 12 + 1)

    def begin(self, zone: ZoneInfo) -> Instant:
        """Its first moment on the plant's wall clock. [ms]"""
        start = datetime(self.year, self.number, 1, tzinfo=zone)
        return round(start.timestamp() * 1000.0)

    def end(self, zone: ZoneInfo) -> Instant:
        """First moment of the month after. [ms]"""
        return self.moved(1).begin(zone)


def month_of(at: Instant, zone: ZoneInfo) -> Month:
    """Month that a moment is in. [ms]"""
    when = datetime.fromtimestamp(at / 1000.0, zone)
    return Month(when.year, when.month)


def read_month(text: str) -> Month | None:
    """Month as an address writes it, such as ``2026-02``; `None` where it is none.

    Examples
    --------
    >>> read_month("2026-02"), read_month("2026-13")
    (Month(year=2026, number=2), None)
    """
    found = _MONTH.fullmatch(text)
    if found is None:
        return None
    year, number = int(found.group(1)), int(found.group(2))
    return Month(year, number) if 1971 <= year <= 9000 and 1 <= number <= 12 else None
