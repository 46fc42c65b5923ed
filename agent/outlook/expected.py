"""What is told of one sump and of the supplies: values that a sheet or JSON is made of."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from advisor.forecast import Outlook
from advisor.makeup import WaterOutlook
from advisor.plan import SumpPlan
from advisor.words import Estimate, Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """One sump."""

    plan: SumpPlan
    outlook: Outlook
    losses_d: float | None
    """Days over which the losses were measured; `None`: they were typed."""
    water: WaterOutlook | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What is left of a supply, and for how long."""

    supply: str
    name: str
    volume: float
    """[L]"""
    at: Instant
    """When somebody looked."""
    days: Estimate | None
    """`None` where nothing is taken from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """All that was asked for."""

    title: str
    sumps: tuple[Expected, ...]
    supplies: tuple[Stock, ...] = ()
    untold: Mapping[str, str] = field(default_factory=dict)
    """Why nothing can be said of a sump, by its id."""
    units: str = "metric"
    timezone: str = "UTC"
