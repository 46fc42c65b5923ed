"""One alarm: what is remembered of it, and how it moves on with each judgement of its condition."""

from dataclasses import dataclass, replace

from advisor.alarm_conditions import Judgement, Verdict
from advisor.alarm_definitions import Definition, alarm_key
from advisor.alarm_machine import Happening, after, is_acknowledged, is_active, shown
from advisor.effects import AlarmState
from advisor.words import MINUTE, Instant, Signal

STANDS_MIN: Instant = MINUTE
"""No alarm clears sooner by the clock, whatever the plant file says: so none can chatter. [ms]"""

UNWATCHED: Instant = 5 * MINUTE
"""Longer between two judgements, and nobody was looking: delays on the clock begin anew. [ms]"""

RELEASE: Instant = 10 * MINUTE
"""An alarm suppressed by design stays so this long after its reason is gone. [ms]

Signals come back one after another when an outage ends, and a consequence must not outlive its
cause on the screen.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """What is remembered of one alarm. All times in ms."""

    name: str
    signal: Signal | None
    beneath: AlarmState = AlarmState.NORMAL
    """One of the states A to F, which go on whatever is laid over them."""
    told: bool = False
    """This occurrence has been shown to people as unacknowledged."""
    held: Instant = 0
    """For so long the condition has been other than the state."""
    judged_at: Instant | None = None
    """Moment up to which `held` counts; `None`: nothing is being counted."""
    raised_at: Instant | None = None
    """Moment of data time, or of the clock where its delays run on that."""
    clock_raised: Instant | None = None
    """What the clock said then."""
    acknowledged_at: Instant | None = None
    value: float | None = None
    """As it was when the alarm was raised."""
    limit: float | None = None
    unit: str = ""
    detail: str = ""
    because_of: str | None = None
    """The alarm from which this one follows, as at the end of its topic."""
    designed: bool = False
    """Suppressed by design: a charge is under way, or it follows from another alarm."""
    release_at: Instant | None = None
    """When the designed suppression ends, its reason being gone."""
    suppressed: bool = False
    """Suppressed by an order."""
    suppressed_until: Instant | None = None
    shelved_until: Instant | None = None
    """`None`: not shelved; shelving always ends."""
    out_of_service: bool = False
    in_service_at: Instant | None = None
    """When it returns to service by itself."""
    by: str | None = None
    """Who gave the last order."""

    @property
    def key(self) -> str:
        """Name and signal, as at the end of its topic."""
        return alarm_key(self.name, self.signal)

    @property
    def active(self) -> bool:
        """Whether the condition stands."""
        return is_active(self.beneath)

    @property
    def acknowledged(self) -> bool:
        """Whether nobody needs to acknowledge it."""
        return is_acknowledged(self.beneath)

    @property
    def state(self) -> AlarmState:
        """The state that people see. Suppression by design of a normal alarm is not worth one."""
        return shown(
            self.beneath,
            out_of_service=self.out_of_service,
            shelved=self.shelved_until is not None,
            suppressed=self.suppressed or (self.designed and self.beneath is not AlarmState.NORMAL),
        )

    @property
    def until(self) -> Instant | None:
        """When what was laid over it ends, where that is known. [ms]"""
        if self.out_of_service:
            return self.in_service_at
        return self.suppressed_until if self.shelved_until is None else self.shelved_until

    @property
    def is_pristine(self) -> bool:
        """Whether nothing need be remembered of it."""
        return self.state is AlarmState.NORMAL and self.held == 0 and self.judged_at is None


def face(alarm: Alarm) -> tuple[object, ...]:
    """Gather what people see: an alarm is told again when this changes; normal ones are alike."""
    state = alarm.state
    if state is AlarmState.NORMAL:
        return (state,)
    return (
        state,
        alarm.active,
        alarm.acknowledged,
        alarm.raised_at,
        alarm.because_of,
        alarm.by,
        alarm.until,
    )


def happened(alarm: Alarm, happening: Happening, rule: Definition) -> Alarm:
    """Move on by one arrow of the diagram; where there is none, nothing happens."""
    to = after(alarm.beneath, happening, latching=rule.latching)
    return alarm if to is None else replace(alarm, beneath=to, held=0, judged_at=None)


def progressed(alarm: Alarm, judgement: Judgement, rule: Definition, now: Instant) -> Alarm:
    """Take in one judgement of the alarm's condition: count its delay, and move on once it is over.

    Time between two judgements counts when both say the same; without evidence the count waits,
    and a value that comes back ends it. A backlog that is worked off in seconds cannot make it
    flicker: it stands for a minute of the clock at least.

    Parameters
    ----------
    alarm : Alarm
        The alarm as it was.
    judgement : Judgement
        What the evidence says now.
    rule : Definition
        The alarm's settings.
    now : Instant
        The clock. [ms]

    Returns
    -------
    Alarm
        The alarm as it is.
    """
    if judgement.verdict is Verdict.UNKNOWN:
        return alarm if alarm.judged_at is None else replace(alarm, judged_at=None)
    awaited = Verdict.WITHIN if alarm.active else Verdict.BEYOND
    if judgement.verdict is not awaited:
        settled = alarm.held == 0 and alarm.judged_at is None
        return alarm if settled else replace(alarm, held=0, judged_at=None)
    held = _counted(alarm, judgement.at, rule)
    if alarm.active:
        if held >= rule.off_delay and not _is_young(alarm, now):
            return _cleared(alarm, rule)
    elif held >= rule.on_delay:
        return _raised(alarm, judgement, rule, now)
    return replace(alarm, held=held, judged_at=judgement.at)


def _is_young(alarm: Alarm, now: Instant) -> bool:
    """Whether the alarm was raised only just now; a clock that was set back does not count."""
    return alarm.clock_raised is not None and 0 <= now - alarm.clock_raised < STANDS_MIN


def _counted(alarm: Alarm, at: Instant, rule: Definition) -> Instant:
    """How long the condition has been other than the state, up to now. [ms]"""
    if alarm.judged_at is None:
        return alarm.held
    step = max(0, at - alarm.judged_at)
    return 0 if rule.clocked and step > UNWATCHED else alarm.held + step


def _raised(alarm: Alarm, judgement: Judgement, rule: Definition, now: Instant) -> Alarm:
    """Raise it: the condition has stood for the on-delay."""
    return replace(
        happened(alarm, Happening.OCCURS, rule),
        told=False,
        raised_at=judgement.at,
        clock_raised=now,
        acknowledged_at=None,
        value=judgement.value,
        limit=judgement.limit,
        unit=judgement.unit,
        detail=judgement.detail,
    )


def _cleared(alarm: Alarm, rule: Definition) -> Alarm:
    """Clear it: the condition has been gone for the off-delay.

    An occurrence that nobody was shown leaves nothing to acknowledge.
    """
    if not alarm.told:
        alarm = happened(alarm, Happening.ACKNOWLEDGED, rule)
    return happened(alarm, Happening.CLEARS, rule)


def expired(alarm: Alarm, now: Instant) -> Alarm:
    """End what was laid over the alarm until a moment that has come."""
    if alarm.shelved_until is not None and now >= alarm.shelved_until:
        alarm = replace(alarm, shelved_until=None)
    if alarm.suppressed_until is not None and now >= alarm.suppressed_until:
        alarm = replace(alarm, suppressed=False, suppressed_until=None)
    if alarm.in_service_at is not None and now >= alarm.in_service_at:
        alarm = replace(alarm, out_of_service=False, in_service_at=None)
    return alarm


def asked_again(alarm: Alarm, rule: Definition, now: Instant) -> Alarm:
    """Ask for acknowledgement again once the re-alarm time has passed."""
    if rule.re_alarm is None or alarm.acknowledged_at is None:
        return alarm
    if alarm.beneath is not AlarmState.ACKNOWLEDGED or now - alarm.acknowledged_at < rule.re_alarm:
        return alarm
    return replace(happened(alarm, Happening.ASKS_AGAIN, rule), told=False, acknowledged_at=None)


def designed(alarm: Alarm, *, because_of: str | None, suppress: bool, now: Instant) -> Alarm:
    """Suppress by design, or let go some time after the reason is gone.

    Parameters
    ----------
    alarm : Alarm
        The alarm as it is.
    because_of : str or None
        The alarm from which this one follows now.
    suppress : bool
        Whether it is to be suppressed now.
    now : Instant
        The clock. [ms]
    """
    if suppress:
        return _with_design(alarm, because_of, suppressed=True, release_at=None)
    if not alarm.designed:
        return _with_design(alarm, because_of, suppressed=False, release_at=None)
    release_at = now + RELEASE if alarm.release_at is None else alarm.release_at
    if now >= release_at:
        return _with_design(alarm, because_of, suppressed=False, release_at=None)
    return _with_design(alarm, alarm.because_of, suppressed=True, release_at=release_at)


def _with_design(
    alarm: Alarm, because_of: str | None, *, suppressed: bool, release_at: Instant | None
) -> Alarm:
    """Note the design; where nothing is new, a quiet alarm stays the same object."""
    if (alarm.because_of, alarm.designed, alarm.release_at) == (because_of, suppressed, release_at):
        return alarm
    return replace(alarm, because_of=because_of, designed=suppressed, release_at=release_at)


def shown_to_people(alarm: Alarm) -> Alarm:
    """Note that the occurrence is on the screen as unacknowledged, once it is."""
    if alarm.told or alarm.state is not AlarmState.UNACKNOWLEDGED:
        return alarm
    return replace(alarm, told=True)
