"""Automatic dosing by time and evidence: one setpoint at a time, from its issue to its end.

Refused, unanswered, late, or delivered otherwise than asked, a setpoint raises ``delivery-differs``
and automatic dosing pauses until a person resets that alarm. When the evidence goes bad its lease
is ended at once; that alone pauses nothing.

Nothing here waits, and nothing is asked of the station that it could do twice.
"""

from dataclasses import dataclass, replace

from advisor import setpoint as may
from advisor.effects import Advice, Mix, PublishLease, PublishSetpoint
from advisor.plan import SumpPlan
from advisor.setpoint import LEASE, Poured
from advisor.station_desk import Dose, StationDesk, Step, closed, ending, paused
from advisor.sump_findings import DELIVERY_LEAST, DELIVERY_SHARE
from advisor.words import DAY, MINUTE, Instant, SumpState

RENEW: Instant = 5 * MINUTE
"""A lease is renewed this long after it was given. [ms]"""

GRACE: Instant = 2 * MINUTE
"""A message may be under way for so long. [ms]"""

BACK: Instant = 5 * MINUTE
"""So long after its start the agent waits for what was said meanwhile. [ms]"""

REST: Instant = 30 * MINUTE
"""From the end of one dose to the next: it circulates meanwhile; *common practice*. [ms]"""

DRAINED: Instant = 40 * MINUTE
"""After a stop of the pumps all has drained back within this; *common practice*. [ms]"""

REMEMBERED = 8
"""Setpoints that are remembered although they count in no day any more. [1]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What a step looks at."""

    state: SumpState
    advice: Advice | None
    plan: SumpPlan
    now: Instant
    """The clock. [ms]"""
    since: Instant | None = None
    """When the agent began to listen. [ms]"""
    trouble: str = ""
    """Why the evidence is not good enough to pour by."""

    @property
    def is_back(self) -> bool:
        """Whether the agent has listened for long enough to know what was said meanwhile."""
        return self.since is None or self.now >= self.since + BACK


def step(desk: StationDesk, scene: Scene) -> Step:
    """Go on: issue a setpoint, renew or end its lease, miss a word from the station.

    Called at each judgement of the sump, and every minute while a setpoint is open.
    """
    desk = _watched(desk, scene)
    if desk.open is not None:
        return _attended(desk, desk.open, scene)
    mix = _due(desk, scene)
    if mix is None or scene.advice is None:
        return desk, ()
    return _issued(desk, mix, scene.advice, scene)


def _watched(desk: StationDesk, scene: Scene) -> StationDesk:
    """Note whether the pumps stand or run, and forget what counts no more."""
    running, now = scene.state.running, scene.now
    since = None if running is not False else now if desk.stood_since is None else desk.stood_since
    stirred = desk.stirred or running is not False
    past = tuple(p for p in desk.past[:-REMEMBERED] if now - p.at < DAY) + desk.past[-REMEMBERED:]
    if (since, stirred, len(past)) == (desk.stood_since, desk.stirred, len(desk.past)):
        return desk
    return replace(desk, stood_since=since, stirred=stirred, past=past)


def _due(desk: StationDesk, scene: Scene) -> Mix | None:
    """Tell what may be asked for now; `None`: nothing. [L]"""
    advice, plan, now = scene.advice, scene.plan, scene.now
    if scene.trouble or desk.paused or plan.station is None or not scene.is_back:
        return None
    if advice is None or advice.kind != "top-up" or advice.mix is None or now >= advice.valid_until:
        return None
    rested = not desk.past or now - desk.past[-1].at >= REST
    if advice.id == desk.carried_out or not rested or not desk.stirred:
        return None
    if not _counters_are_known(desk, scene):
        return None
    poured = tuple(Poured(past.at, past.counted) for past in desk.past)
    mix = may.within(advice.mix, may.allowance(plan.station, poured, now), plan)
    return mix if mix is not None and mix.volume <= may.room(scene.state, plan) else None


def _counters_are_known(desk: StationDesk, scene: Scene) -> bool:
    """Whether the meters' newest readings hold all of the last dose."""
    state, plan = scene.state, scene.plan
    last = desk.past[-1] if desk.past else None
    for place, signal in enumerate(may.METERS):
        meter, total = plan.signals.get(signal), state.totals.get(signal)
        if meter is None:
            continue
        if total is None:
            return False
        if last is None or state.last_seen.get(signal, -1) >= last.at:
            continue
        before, poured = last.totals[place], (last.water, last.concentrate)[place]
        gained = total - (before or 0.0)
        if 0.0 <= gained < poured - max(DELIVERY_SHARE * poured, DELIVERY_LEAST):
            return False
    return True


def _issued(desk: StationDesk, mix: Mix, advice: Advice, scene: Scene) -> Step:
    """Issue a setpoint."""
    now, state = scene.now, scene.state
    number = max(desk.number + 1, now // MINUTE)
    standing = desk.stood_since is not None and now - desk.stood_since >= DRAINED
    if not standing:
        state = replace(state, running=None)
    asked = may.setpoint_for(advice, mix, state, scene.plan, number=number, now=now)
    dose = Dose(
        setpoint=asked,
        stage="issued",
        lease_until=asked.expires_at,
        deadline=asked.expires_at + GRACE,
        totals=(state.totals.get(may.METERS[0]), state.totals.get(may.METERS[1])),
        standing=standing,
    )
    desk = replace(desk, open=dose, number=number, carried_out=advice.id, stirred=False)
    return desk, (PublishSetpoint(asked),)


def _attended(desk: StationDesk, dose: Dose, scene: Scene) -> Step:
    """See to the open setpoint."""
    now = scene.now
    late = dose.late_at is not None and now >= dose.late_at and dose.stage != "ending"
    if (now >= dose.deadline or late) and scene.is_back:
        return _missed(desk, dose, now, late=late and now < dose.deadline)
    if dose.stage == "ending":
        return desk, ()
    if dose.stage == "accepted" and dose.lease_until <= now:
        return ending(desk, dose, now)  # the agent was away: what has run out is not revived
    reason = scene.trouble or _hindrance(dose, scene)
    if reason:
        return ending(desk, dose, now) if scene.is_back or not _is_unheard(scene) else (desk, ())
    given_at = dose.lease_until - LEASE
    # On new evidence only: without any, nobody listens, or the agent catches up on its absence.
    if dose.stage == "accepted" and now >= given_at + RENEW and scene.state.at > given_at:
        until = now + LEASE
        dose = replace(dose, lease_until=until)
        return replace(desk, open=dose), (PublishLease(dose.setpoint.id, until),)
    return desk, ()


def _is_unheard(scene: Scene) -> bool:
    """Whether nothing of the present has come since the agent's start."""
    return scene.since is not None and scene.state.at < scene.since


def _hindrance(dose: Dose, scene: Scene) -> str:
    """Say why what is left to pour must not be poured any more; empty where it may. [L]"""
    asked = dose.setpoint.mix.volume
    left = max(asked - dose.water - dose.concentrate, 0.0)
    spare = may.room(scene.state, scene.plan) + scene.plan.margin_sd * _volume_sd(scene.state)
    if left > spare:
        return "it does not fit any more"
    if dose.standing and scene.state.running is not False:
        return "the pumps have started, its level stop was for standing ones"
    return ""


def _volume_sd(state: SumpState) -> float:
    """Sd of the volume. [L]"""
    return 0.0 if state.volume is None else state.volume.sd


def _missed(desk: StationDesk, dose: Dose, now: Instant, *, late: bool) -> Step:
    """Miss an answer, a word in between, or the end; what may still come is waited for once."""
    ident = dose.setpoint.id
    if dose.stage == "ending":
        lost = closed(desk, dose, now, "lost")
        detail = f"no report that setpoint {ident} has ended; all of it is taken as poured."
        return (lost if desk.paused else paused(lost, detail, now)), ()
    if late:
        detail = f"setpoint {ident} should have been finished by now."
    elif dose.stage == "issued":
        detail = f"the station has not answered setpoint {ident}."
    else:
        detail = f"the station says nothing more about setpoint {ident}."
    return ending(paused(desk, detail, now), dose, now)
