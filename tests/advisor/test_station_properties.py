"""Whatever a station says, in whatever order, and whenever the agent restarts: limits hold.

The account that is kept here is of its own: what was asked for counts from its issue until the
station has refused it, or has said that it finished with less.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.effects import Effect, PublishLease, PublishSetpoint, Setpoint
from advisor.words import DAY, HOUR, MINUTE, Estimate, Instant, Quality, Signal
from tests.station_watch import BAD, STATION, Bench, a_dosed_sump, an_advice

PLAN = a_dosed_sump(station=replace(STATION, max_dose=25.0, max_hour=30.0, max_day=70.0))
ROOM = 435.75
"""Volume at the brim less the headroom. [L]"""

STATES: tuple[dict[str, Any], ...] = (
    {},
    {},
    {},
    {"running": False},
    {"running": None},
    {"volume_l": 415.0},
    {"volume_l": 430.0},
    {"volume_sd": 9.0},
    {"volume_sd": 30.0},
    {"strength": None},
    {"qualities": BAD},
    {"qualities": dict.fromkeys(Signal, Quality.GOOD) | {Signal.BRIX: Quality.SUSPECT}},
    {"holdup": Estimate(35.0, 30.0)},
    {"last_seen": {}},
)

advices = st.tuples(st.floats(0.0, 60.0), st.floats(0.0, 15.0))
skews = st.sampled_from([0, 0, 0, 0, MINUTE, -MINUTE, 10 * MINUTE, -10 * MINUTE, -400 * DAY])
which = st.integers(0, 3)
"""How many setpoints back a message is about."""
totals = st.tuples(st.floats(0.0, 40.0), st.floats(0.0, 10.0))

actions = st.one_of(
    st.tuples(st.just("minutes"), st.sampled_from([1, 1, 2, 7, 16, 31, 70, 400])),
    st.tuples(st.just("minutes"), st.sampled_from([1, 1, 31, 31, 61])),
    st.tuples(st.just("state"), st.sampled_from(range(len(STATES)))),
    st.tuples(st.just("advice"), advices),
    st.tuples(st.just("obey"), st.just(None)),
    st.tuples(st.just("answer"), st.tuples(st.booleans(), which, skews)),
    st.tuples(
        st.just("report"),
        st.tuples(totals, st.booleans(), st.sampled_from([None, "flow lost"]), which, skews),
    ),
    st.tuples(st.just("foreign"), st.sampled_from(["s-1", "s-99999999999", "x"])),
    st.tuples(st.just("reset"), st.just(None)),
    st.tuples(st.just("restart"), st.sampled_from([0, 3, 30])),
)


@dataclass
class Account:
    """What has been authorised, told from the messages alone."""

    asked: dict[str, Setpoint] = field(default_factory=dict)
    reported: dict[str, float] = field(default_factory=dict)
    finished: dict[str, Instant] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)
    leases: dict[str, Instant] = field(default_factory=dict)

    def volume(self, ident: str) -> float:
        """What one setpoint may have poured. [L]"""
        reported = self.reported.get(ident, 0.0)
        if ident in self.finished or ident in self.refused:
            return reported
        return max(reported, self.asked[ident].mix.volume)

    def since(self, moment: Instant) -> float:
        """What all setpoints issued since then may have poured. [L]"""
        recent = [s.id for s in self.asked.values() if s.issued_at > moment]
        return sum(map(self.volume, recent))


def pass_time(bench: Bench, account: Account, minutes: int) -> None:
    """Let minutes pass, each judged; many at once where nobody listens in between."""
    for _ in range(minutes if minutes <= 20 else 1):
        bench.now += 0 if minutes <= 20 else (minutes - 1) * MINUTE
        bench.minutes(1)
        check(bench, account)


def obey(bench: Bench, account: Account, _nothing: None) -> None:
    """The station does what it was asked."""
    if bench.desk.open is None:
        return
    asked = bench.desk.open.setpoint
    bench.answer(ident=asked.id)
    note_report(account, asked.id, asked.mix.volume, bench.now)
    bench.deliver(asked.mix.water, asked.mix.concentrate, ident=asked.id)


def answer(bench: Bench, account: Account, what: tuple[bool, int, Instant]) -> None:
    """The station says yes or no to one of the last setpoints."""
    accepted, back, late = what
    if not account.asked:
        return
    ident = list(account.asked)[-1 - back % len(account.asked)]
    if not accepted and ident not in account.finished:
        account.refused.add(ident)
    bench.answer(accepted, ident=ident, late=late)


def report(bench: Bench, account: Account, what: tuple[Any, ...]) -> None:
    """The station says anything about one of the last setpoints."""
    (water, concentrate), finished, fault, back, late = what
    if not account.asked:
        return
    ident = list(account.asked)[-1 - back % len(account.asked)]
    note_report(account, ident, water + concentrate, bench.now if finished else None)
    bench.deliver(water, concentrate, finished=finished, fault=fault, ident=ident, late=late)


def be_foreign(bench: Bench, _account: Account, ident: str) -> None:
    """Somebody speaks of setpoints that were never issued."""
    bench.answer(ident=ident)
    bench.deliver(3.0, 0.3, ident=ident)


def restart(bench: Bench, _account: Account, minutes: int) -> None:
    """The agent is away for a while."""
    bench.now += minutes * MINUTE
    bench.restart()


def act(bench: Bench, account: Account, action: tuple[str, Any], number: int) -> None:
    """Let one thing happen."""
    kind, what = action
    if kind == "state":
        bench.fields = STATES[what]
    elif kind == "advice":
        bench.advice = an_advice(*what, number=number)
    elif kind == "reset":
        bench.reset()
    else:
        DEEDS[kind](bench, account, what)


DEEDS: Mapping[str, Callable[[Bench, Account, Any], None]] = {
    "minutes": pass_time,
    "obey": obey,
    "answer": answer,
    "report": report,
    "foreign": be_foreign,
    "restart": restart,
}


def note_report(account: Account, ident: str, volume: float, finished: Instant | None) -> None:
    """Keep the largest total, and when it was first said to be all."""
    account.reported[ident] = max(account.reported.get(ident, 0.0), volume)
    if finished is not None:
        account.finished.setdefault(ident, finished)


def check(bench: Bench, account: Account) -> None:
    """Hold everything that was published since the last look against the limits."""
    effects, bench.told = bench.told, []
    for effect in effects:
        check_effect(bench, account, effect)


def check_effect(bench: Bench, account: Account, effect: Effect) -> None:
    """Hold one message against the limits."""
    now = bench.now
    if isinstance(effect, PublishLease):
        assert effect.until <= now + 10 * MINUTE
        account.leases[effect.setpoint] = max(account.leases.get(effect.setpoint, 0), effect.until)
    if not isinstance(effect, PublishSetpoint):
        return
    asked = effect.setpoint
    for ident in account.asked:
        closed = ident in account.finished or ident in account.refused
        assert closed or account.leases.get(ident, 0) < now, "two setpoints are open"
    assert asked.id not in account.asked
    account.asked[asked.id] = asked
    account.leases[asked.id] = asked.expires_at
    assert asked.expires_at <= now + 10 * MINUTE
    assert 0.0 < asked.mix.volume <= 25.0 + 1e-6
    assert account.since(now - HOUR) <= 30.0 + 1e-6
    assert account.since(now - DAY) <= 70.0 + 1e-6
    assert asked.mix.strength <= 0.20 + 1e-9
    assert asked.max_strength <= 0.20 + 1e-9
    volume = bench.state().volume
    assert volume is not None
    assert volume.value + 2.0 * volume.sd + asked.mix.volume <= ROOM + 1e-6
    assert bench.desk.paused == ""


@settings(max_examples=200)
@given(st.lists(actions, max_size=60))
def test_no_order_of_messages_breaks_a_limit_or_opens_two_setpoints(happenings):
    """Per dose, hour and day, level and strength, one at a time, no lease beyond ten minutes."""
    bench, account = Bench(plan=PLAN, advice=None), Account()
    for number, action in enumerate(happenings, start=1):
        act(bench, account, action, number)
        check(bench, account)


BUSY = st.one_of(
    st.tuples(st.just("advice"), st.tuples(st.floats(4.0, 22.0), st.floats(0.0, 3.0))),
    st.tuples(st.just("minutes"), st.sampled_from([1, 2, 31, 31, 61])),
    st.tuples(st.just("obey"), st.just(None)),
    st.tuples(st.just("answer"), st.tuples(st.booleans(), st.just(0), st.just(0))),
    st.tuples(
        st.just("report"),
        st.tuples(totals, st.booleans(), st.just(None), st.integers(0, 1), st.just(0)),
    ),
    st.tuples(st.just("reset"), st.just(None)),
)


@settings(max_examples=100)
@given(st.lists(BUSY, min_size=20, max_size=80))
def test_a_busy_day_stays_within_its_limits(happenings):
    """Good evidence and people who reset at once: as much as ever is asked for."""
    bench, account = Bench(plan=PLAN, advice=None), Account()
    for number, action in enumerate(happenings, start=1):
        act(bench, account, action, number)
        check(bench, account)


@settings(max_examples=50)
@given(st.lists(actions, max_size=40), st.sets(st.integers(0, 39)))
def test_a_restart_changes_nothing_but_what_time_does(happenings, places):
    """What is stored and restored is the same value, in every situation that messages lead to."""
    bench, account = Bench(plan=PLAN, advice=None), Account()
    for number, action in enumerate(happenings):
        act(bench, account, action, number + 1)
        check(bench, account)
        if number in places:
            before = bench.desk
            since = bench.since
            bench.restart()
            bench.since = since
            assert bench.desk == before
