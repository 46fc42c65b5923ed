"""Whom alarms are told outside the broker, and how: as the plant file says it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from advisor.words import Instant, Priority

Way: TypeAlias = Literal["always", "hours", "digest", "never"]
"""``always``: at once, day and night; ``hours``: at once within the hours, else when they begin;
``digest``: once a day; ``never``: not this one."""

EVERY_DAY = frozenset(range(7))


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One target, and what it is told when. Times of day in minutes since local midnight."""

    id: str
    variable: str
    """Environment variable that holds its address, or with _FILE names a file that does."""
    ways: Mapping[Priority, Way]
    hours: tuple[int, int]
    """Begin and end; the rest of the day are the quiet hours. May go across midnight."""
    days: frozenset[int] = EVERY_DAY
    """Monday is 0; on other days all hours are quiet."""
    digest_at: int
    after: Instant = 0
    """Only what nobody has acknowledged for so long. [ms]"""
    most_per_hour: int = 6
    """Messages, however many alarms each tells. [1]"""
    returned: bool = False
    """Whether it is told too that an alarm of which it was told is over."""
    sumps: frozenset[str] | None = None
    """Of which sumps it is told; `None`: of all. Of plant and supplies it always is."""
