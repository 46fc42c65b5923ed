"""Each alarm's settings: the defaults, and what a plant wants otherwise.

Delays of the level alarms are longer than the fluid takes to drain back when the pumps stop (5 to
30 minutes, from memory), so that a pump stop raises nothing. Deadbands and delays of the others
are starting points, *common practice*.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from types import MappingProxyType

from advisor.plan import AlarmPlan
from advisor.words import DAY, HOUR, MINUTE, Instant, Priority, Signal

SHELVE_DEFAULT: Instant = 8 * HOUR
"""A shift: how long an alarm is shelved where nobody says until when."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """Settings of one alarm. Times in ms."""

    name: str
    priority: Priority
    on_delay: Instant
    off_delay: Instant
    limit_from: str
    """Where the limit comes from, for people."""
    limit: float | None = None
    """Set by the plant, in the quantity's internal unit; `None`: from `limit_from`."""
    deadband: float | None = None
    """In the same unit; `None`: a share of the range, see `advisor.alarm_conditions`."""
    confidence: float = 0.5
    """Probability of being beyond the limit from which the condition holds. [1]"""
    latching: bool = False
    re_alarm: Instant | None = None
    shelve_max: Instant = DAY
    enabled: bool = True
    of_signal: bool = False
    """It is about one signal."""
    clocked: bool = False
    """Its delays run on the clock; otherwise on the time of the data."""
    through_charge: bool = False
    """It stands while the sump is being charged; the others are suppressed by design."""


def _seconds(value: float) -> Instant:
    """Duration as whole milliseconds. [ms]"""
    return round(value * 1000)


def _define(definitions: Iterable[Definition]) -> Mapping[str, Definition]:
    """By name, in order."""
    return MappingProxyType({definition.name: definition for definition in definitions})


_BY_TEST = "the estimator's own sequential test"
_DRAINED = 35 * MINUTE
_LIKELY, _SURELY = 0.8, 0.95

DEFINITIONS: Mapping[str, Definition] = _define(
    [
        Definition(
            name="level-low",
            priority="medium",
            on_delay=_DRAINED,
            off_delay=10 * MINUTE,
            limit_from="`low`, or what `low_running` needs, at rest-equivalent depth",
            confidence=_LIKELY,
        ),
        Definition(
            name="level-high",
            priority="high",
            on_delay=_DRAINED,
            off_delay=10 * MINUTE,
            limit_from="the brim less the headroom, at rest-equivalent depth",
            confidence=_LIKELY,
        ),
        Definition(
            name="concentration-low",
            priority="medium",
            on_delay=30 * MINUTE,
            off_delay=10 * MINUTE,
            limit_from="lower end of the fluid's band",
            confidence=_SURELY,
        ),
        Definition(
            name="concentration-high",
            priority="low",
            on_delay=30 * MINUTE,
            off_delay=10 * MINUTE,
            limit_from="upper end of the fluid's band",
            confidence=_SURELY,
        ),
        Definition(
            name="water-loss-high",
            priority="low",
            on_delay=5 * MINUTE,
            off_delay=30 * MINUTE,
            limit_from=_BY_TEST,
        ),
        Definition(
            name="mix-loss-high",
            priority="high",
            on_delay=5 * MINUTE,
            off_delay=30 * MINUTE,
            limit_from=_BY_TEST,
        ),
        Definition(
            name="concentrate-loss-high",
            priority="low",
            on_delay=5 * MINUTE,
            off_delay=30 * MINUTE,
            limit_from=_BY_TEST,
        ),
        Definition(
            name="water-gain",
            priority="medium",
            on_delay=5 * MINUTE,
            off_delay=30 * MINUTE,
            limit_from=_BY_TEST,
        ),
        Definition(
            name="sensor-drift",
            priority="low",
            on_delay=HOUR,
            off_delay=HOUR,
            limit_from=_BY_TEST,
            of_signal=True,
        ),
        Definition(
            name="sensor-fault",
            priority="medium",
            on_delay=5 * MINUTE,
            off_delay=10 * MINUTE,
            limit_from=_BY_TEST,
            of_signal=True,
        ),
        Definition(
            name="signal-stale",
            priority="low",
            on_delay=2 * MINUTE,
            off_delay=2 * MINUTE,
            limit_from="`stale_after_s` of the signal, or ten times its usual interval",
            of_signal=True,
            clocked=True,
        ),
        Definition(
            name="advice-open",
            priority="low",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="a day after the advice was first given",
            clocked=True,
        ),
        Definition(
            name="delivery-differs",
            priority="high",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="a tenth of what the setpoint asked for, and half a litre",
            latching=True,
            clocked=True,
            through_charge=True,
        ),
        Definition(
            name="wrong-concentrate",
            priority="high",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="the sump's own concentrate",
            latching=True,
            clocked=True,
            through_charge=True,
        ),
        Definition(
            name="ph-out-of-band",
            priority="medium",
            on_delay=30 * MINUTE,
            off_delay=30 * MINUTE,
            limit_from="the fluid's pH band, or its fall since the first fill",
        ),
        Definition(
            name="conductivity-out-of-band",
            priority="low",
            on_delay=30 * MINUTE,
            off_delay=30 * MINUTE,
            limit_from="the fluid's conductivity band",
        ),
        Definition(
            name="hardness-high",
            priority="low",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="the fluid's hardness limit",
            clocked=True,
            through_charge=True,
        ),
        Definition(
            name="chloride-high",
            priority="low",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="the fluid's chloride limit",
            clocked=True,
            through_charge=True,
        ),
        Definition(
            name="stagnant",
            priority="low",
            on_delay=0,
            off_delay=10 * MINUTE,
            limit_from="three days without the pumps",
            clocked=True,
        ),
        Definition(
            name="check-overdue",
            priority="low",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="the check's interval and half a day",
            clocked=True,
            through_charge=True,
        ),
        Definition(
            name="nitrite-high",
            priority="medium",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="20 mg/L",
            clocked=True,
        ),
        Definition(
            name="bacteria-high",
            priority="medium",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="10 000 CFU/mL",
            clocked=True,
        ),
        Definition(
            name="tramp-oil-high",
            priority="low",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="2 % of the volume",
            clocked=True,
        ),
        Definition(
            name="feed-lost",
            priority="high",
            on_delay=MINUTE,
            off_delay=MINUTE,
            limit_from="half of the sumps and at least two silent, or no broker",
            clocked=True,
        ),
        Definition(
            name="historian-behind",
            priority="medium",
            on_delay=10 * MINUTE,
            off_delay=5 * MINUTE,
            limit_from="half an hour that something waits to be written",
            clocked=True,
        ),
        Definition(
            name="stock-low",
            priority="low",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="the supply's reorder volume, or a fifth of the full one",
            clocked=True,
        ),
        Definition(
            name="expired",
            priority="medium",
            on_delay=0,
            off_delay=MINUTE,
            limit_from="the date on the supply's label",
            clocked=True,
        ),
    ]
)
"""The defaults, by name."""


def default(name: str) -> Definition:
    """Defaults of an alarm; a name that is not known here is an alarm of low priority."""
    known = DEFINITIONS.get(name)
    if known is not None:
        return known
    return Definition(
        name=name,
        priority="low",
        on_delay=5 * MINUTE,
        off_delay=30 * MINUTE,
        limit_from=_BY_TEST,
    )


def definition(
    overrides: Mapping[str, AlarmPlan], name: str, signal: Signal | None = None
) -> Definition:
    """Settle an alarm's settings: what the plant says, the defaults where it says nothing."""
    plain = default(name)
    if not overrides:
        return plain
    for key in (name, alarm_key(name, signal)):
        override = overrides.get(key)
        if override is not None:
            plain = overridden(plain, override)
        if signal is None:
            break
    return plain


def overridden(plain: Definition, plan: AlarmPlan) -> Definition:
    """Change what the plan says otherwise."""
    re_alarm = plain.re_alarm if plan.re_alarm is None else _seconds(plan.re_alarm)
    return Definition(
        name=plain.name,
        priority=plan.priority or plain.priority,
        on_delay=plain.on_delay if plan.on_delay is None else _seconds(plan.on_delay),
        off_delay=plain.off_delay if plan.off_delay is None else _seconds(plan.off_delay),
        limit_from=plain.limit_from if plan.limit is None else "the plant file",
        limit=plain.limit if plan.limit is None else plan.limit,
        deadband=plain.deadband if plan.deadband is None else plan.deadband,
        confidence=plain.confidence if plan.confidence is None else plan.confidence,
        latching=plain.latching if plan.latching is None else plan.latching,
        re_alarm=re_alarm,
        shelve_max=plain.shelve_max if plan.shelve_max is None else _seconds(plan.shelve_max),
        enabled=plain.enabled if plan.enabled is None else plan.enabled,
        of_signal=plain.of_signal,
        clocked=plain.clocked,
        through_charge=plain.through_charge,
    )


def alarm_key(name: str, signal: Signal | None) -> str:
    """How an alarm is named as a whole: as at the end of its topic.

    >>> alarm_key("signal-stale", Signal.BRIX)
    'signal-stale/brix'
    """
    return name if signal is None else f"{name}/{signal}"


@lru_cache(maxsize=64)
def sds_for(confidence: float) -> float:
    """Sds that an estimate must be beyond a limit, so that the truth is, with `confidence`. [1]

    >>> round(sds_for(0.95), 3)
    1.645
    """
    return NormalDist().inv_cdf(confidence)
