"""A plant as the agent works with it, every unit already converted."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from advisor.plan import AlarmPlan, SumpPlan, Supply, Vessel
from advisor.words import Signal
from agent.alarms.rules import Rule


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """How long the store keeps each thing. [ms]"""

    raw: int = 35 * 86_400_000
    minutes: int = 92 * 86_400_000
    hours: int = 1830 * 86_400_000
    records: int = 3660 * 86_400_000
    """Of what people said, of events and of alarms."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sparkplug:
    """Where a signal stands in Sparkplug B."""

    group: str
    edge: str
    device: str
    metric: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding:
    """Where a signal comes from, and how its payload is read."""

    sump: str
    signal: Signal
    topic: str | None
    sparkplug: Sparkplug | None = None
    value_pointer: str | None = None
    time_pointer: str | None = None
    unit_pointer: str | None = None
    name: str | None = None
    """Picks the SenML record where a pack holds several names."""
    unit: str = ""
    """Unit of a payload that carries none."""
    true_values: frozenset[str] = frozenset()
    """Of on/off signals, in lower case."""
    low: float | None = None
    high: float | None = None
    """Values outside are refused. [internal unit]"""
    lateness_ms: int | None = None
    """Allowed lateness of this signal; the plant's where absent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSettings:
    """How to reach the broker. Secrets are read when connecting, never kept here."""

    host: str
    port: int
    tls: bool
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    client_id: str = "millpond"


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSettings:
    """Where the page listens, and for whom."""

    host: str
    port: int
    title: str
    hosts: tuple[str, ...] = ()
    """Further names by which browsers reach it."""
    language: str = "en"
    users: Path | None = None
    """Who may sign in; `None`: nobody is asked."""
    session_ms: int = 12 * 3_600_000
    cert_file: Path | None = None
    key_file: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationSettings:
    """Where the agent tells how it does, and how it writes its log."""

    host: str = ""
    """Empty: nowhere."""
    port: int = 0
    log: Literal["plain", "json"] = "plain"


@dataclass(frozen=True, slots=True, kw_only=True)
class HistorianSettings:
    """How to reach the plant's time-series database. Its token is read when it is needed."""

    url: str
    org: str
    bucket: str
    ca_file: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """The whole plant."""

    id: str
    name: str
    units: str
    """What people read and write: `metric` or `us`."""
    timezone: str
    prefix: str
    broker: BrokerSettings
    store: Path
    sumps: Mapping[str, SumpPlan]
    bindings: tuple[Binding, ...]
    supplies: Mapping[str, Supply]
    vessels: Mapping[str, Vessel]
    lateness_ms: int = 10 * 60_000
    backlog_max_ms: int = 7 * 86_400_000
    historian: HistorianSettings | None = None
    keeping: Keeping = field(default_factory=Keeping)
    """How long the store keeps what."""
    page: PageSettings | None = None
    """`None`: no page is served."""
    operation: OperationSettings = field(default_factory=OperationSettings)
    alarms: Mapping[str, AlarmPlan] = field(default_factory=lambda: MappingProxyType({}))
    """What is wanted otherwise of alarms of the plant and of supplies."""
    notify: tuple[Rule, ...] = ()
    """Whom alarms are told outside the broker."""
