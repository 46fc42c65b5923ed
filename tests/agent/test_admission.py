"""Which samples and reports count, by their times."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.plan import SignalPlan
from advisor.words import DAY, HOUR, MINUTE, Addition, Instant, Reading, Signal
from agent.admission import (
    FUTURE_MAX,
    GENERATION,
    Accepted,
    Admission,
    Keep,
    Repeat,
    Take,
    Verdict,
)
from agent.arrival import Arrival
from agent.decode.results import Reason, Refusal, Report, Sample
from tests.bindings import NOW, a_plant, bound

SECOND: Instant = 1000
LATENESS = 10 * MINUTE
BACKLOG = 7 * DAY
SUMP = "mill-07"
ALL = tuple(bound(signal, str(signal)) for signal in Signal)


def nothing(_sump: str, _signal: Signal, _at: Instant) -> bool:
    """A store with nothing in it."""
    return False


def unasked(_sump: str, _signal: Signal, _at: Instant) -> bool:
    """A store that must not be asked."""
    pytest.fail("the store was asked")


def an_admission(
    newest: dict[tuple[str, Signal], Instant] | None = None,
    seen: Callable[[str, Signal, Instant], bool] = nothing,
    **plant: object,
) -> Admission:
    """Admission of a plant with every signal of mill-07 bound."""
    return Admission(a_plant(*ALL, **plant), newest or {}, seen)


def admit(
    admission: Admission,
    at: Instant | None,
    arrived: Instant = NOW,
    signal: Signal = Signal.LEVEL,
    **how: bool,
) -> Verdict:
    """Judge one sample."""
    return admission.admit(Sample(SUMP, signal, at, 1.0), Arrival(arrived, "t", b"1", **how))


def taken(verdict: Verdict) -> Instant:
    """Time at which a reading counts."""
    assert isinstance(verdict, Take)
    assert verdict.sump == SUMP
    return verdict.reading.at


def refused(verdict: Verdict | Accepted) -> Reason:
    """Reason of a refusal, which says in whose sump and why."""
    assert isinstance(verdict, Refusal)
    assert verdict.sump == SUMP
    assert verdict.detail
    return verdict.reason


# --- dated and undated readings ------------------------------------------------------------------


def test_a_dated_reading_holds_for_its_own_time():
    """The payload's time goes before that of arrival."""
    assert taken(admit(an_admission(), NOW - 90 * SECOND)) == NOW - 90 * SECOND


def test_an_undated_reading_holds_for_its_arrival():
    """Without a time in the payload the time of arrival is taken."""
    assert taken(admit(an_admission(), None)) == NOW


def test_undated_readings_of_one_millisecond_follow_one_another():
    """In a burst none of them passes for a repeat of another."""
    admission = an_admission()

    assert [taken(admit(admission, None)) for _ in range(3)] == [NOW, NOW + 1, NOW + 2]


def test_an_undated_reading_does_not_hide_behind_a_dated_one():
    """A dated reading of the very millisecond leaves the undated one its own."""
    admission = an_admission()
    admit(admission, NOW)

    assert taken(admit(admission, None)) == NOW + 1


@pytest.mark.parametrize("ahead", [0, 1, FUTURE_MAX])
def test_up_to_five_minutes_ahead_is_taken(ahead):
    """A clock in the plant may be five minutes ahead of the agent's, to the millisecond."""
    assert taken(admit(an_admission(), NOW + ahead)) == NOW + ahead


def test_more_than_five_minutes_ahead_is_refused():
    """One millisecond more is the future."""
    assert refused(admit(an_admission(), NOW + FUTURE_MAX + 1)) is Reason.FUTURE


def test_backlog_in_order_is_taken():
    """An old reading that is the newest of its signal is backlog, up to its limit."""
    admission = an_admission()

    assert taken(admit(admission, NOW - BACKLOG)) == NOW - BACKLOG
    assert taken(admit(admission, NOW - 3 * DAY)) == NOW - 3 * DAY


def test_what_is_older_than_the_backlog_is_refused():
    """One millisecond more than the backlog is too old."""
    assert refused(admit(an_admission(), NOW - BACKLOG - 1)) is Reason.TOO_OLD


@pytest.mark.parametrize("at", [-(10**15), 10**18])
def test_times_off_the_calendar_are_refused_like_others(at):
    """A time that no calendar can write does not break the wording of its refusal."""
    assert refused(admit(an_admission(), at)) in {Reason.FUTURE, Reason.TOO_OLD}


# --- late readings -------------------------------------------------------------------------------


@pytest.mark.parametrize("late", [1, LATENESS - 1, LATENESS])
def test_late_within_the_lateness_takes_its_place(late):
    """Older than the newest of its signal, by no more than the lateness: it counts."""
    admission = an_admission()
    admit(admission, NOW)

    assert taken(admit(admission, NOW - late)) == NOW - late


def test_later_than_the_lateness_is_kept_and_not_used():
    """One millisecond more: stored, with the reason why it is not used."""
    admission = an_admission()
    admit(admission, NOW)

    verdict = admit(admission, NOW - LATENESS - 1)

    assert isinstance(verdict, Keep)
    assert verdict.reading == Reading(NOW - LATENESS - 1, Signal.LEVEL, 1.0)
    assert "late" in verdict.why


def test_lateness_is_by_signal():
    """A signal's own lateness goes before the plant's, and other signals make none late."""
    plant = a_plant(bound(lateness_ms=HOUR), bound(Signal.BRIX))
    admission = Admission(plant, {}, nothing)
    admit(admission, NOW)
    admit(admission, NOW - DAY, signal=Signal.BRIX)

    assert taken(admit(admission, NOW - HOUR)) == NOW - HOUR
    assert taken(admit(admission, NOW - HOUR, signal=Signal.BRIX)) == NOW - HOUR


def test_what_is_kept_makes_nothing_late():
    """Lateness counts from the newest reading taken; one kept does not move it."""
    admission = an_admission()
    admit(admission, NOW)
    admit(admission, NOW - HOUR)

    assert taken(admit(admission, NOW - LATENESS)) == NOW - LATENESS


# --- repeats -------------------------------------------------------------------------------------


@pytest.mark.parametrize("late", [0, MINUTE, HOUR])
def test_a_signal_and_time_count_once(late):
    """The same reading again, in order, late, or too late, is a repeat."""
    admission = an_admission()
    admit(admission, NOW)
    admit(admission, NOW - late)

    assert admit(admission, NOW - late) == Repeat()


def test_readings_of_before_a_restart_are_asked_of_the_store():
    """What was accepted by an earlier run is a repeat, what was not counts."""
    stored = {NOW, NOW - MINUTE, NOW - HOUR}
    admission = an_admission(
        {(SUMP, Signal.LEVEL): NOW},
        lambda sump, signal, at: (sump, signal) == (SUMP, Signal.LEVEL) and at in stored,
    )

    assert all(admit(admission, at) == Repeat() for at in stored)
    assert taken(admit(admission, NOW - 2 * MINUTE)) == NOW - 2 * MINUTE
    assert taken(admit(admission, NOW + 1)) == NOW + 1


def test_the_store_is_not_asked_about_what_is_remembered():
    """A run that began with an empty store knows all times itself, as long as they are few."""
    admission = an_admission(seen=unasked)
    for second in range(GENERATION - 1):
        admit(admission, NOW + second * SECOND, NOW + second * SECOND)

    late = NOW + (GENERATION - 60) * SECOND

    assert admit(admission, late, late) == Repeat()
    assert taken(admit(admission, late + 1, late)) == late + 1


def test_memory_is_bounded_and_nothing_counts_twice_for_it():
    """Of a long run only the newest times are remembered; the store is asked about the others."""
    stored: set[Instant] = set()
    admission = an_admission(seen=lambda _sump, _signal, at: at in stored)
    times = [NOW + second * SECOND for second in range(5 * GENERATION)]
    for at in times:
        admit(admission, at, at)
        stored.add(at)
    track = admission.tracks[SUMP, Signal.LEVEL]

    assert len(track.young) + len(track.older) <= 2 * GENERATION
    assert all(admit(admission, at, times[-1]) == Repeat() for at in times)


# --- retained and redelivered --------------------------------------------------------------------


def test_a_retained_reading_without_a_time_is_none():
    """Nobody knows when it held."""
    assert refused(admit(an_admission(), None, retain=True)) is Reason.RETAINED


def test_a_retained_reading_that_is_dated_and_new_counts():
    """It is newer than the newest of its signal, so that it tells something."""
    admission = an_admission({(SUMP, Signal.LEVEL): NOW - HOUR})

    assert taken(admit(admission, NOW - MINUTE, retain=True)) == NOW - MINUTE


def test_a_retained_reading_that_counted_before_is_a_repeat():
    """With every connection it comes again, and is not worth a refusal each time."""
    admission = an_admission()
    admit(admission, NOW)

    assert admit(admission, NOW, NOW + HOUR, retain=True) == Repeat()


def test_a_retained_reading_that_is_not_new_is_refused():
    """Older than the newest of its signal, and never seen: not a reading."""
    admission = an_admission()
    admit(admission, NOW)

    assert refused(admit(admission, NOW - MINUTE, retain=True)) is Reason.RETAINED


def test_a_retained_running_gives_the_present_state():
    """Without a time it holds from its arrival."""
    verdict = admit(an_admission(), None, signal=Signal.RUNNING, retain=True)

    assert taken(verdict) == NOW


def test_a_retained_running_of_long_ago_gives_the_present_state():
    """Pumps that were switched two weeks ago, and never since, are as they were."""
    verdict = admit(an_admission(), NOW - 2 * BACKLOG, signal=Signal.RUNNING, retain=True)

    assert taken(verdict) == NOW


def test_a_running_of_long_ago_is_too_old_where_more_is_known():
    """With a newer state known, or not retained, it is refused like any other reading."""
    known = an_admission({(SUMP, Signal.RUNNING): NOW - HOUR})
    at = NOW - 2 * BACKLOG

    assert refused(admit(known, at, signal=Signal.RUNNING, retain=True)) is Reason.TOO_OLD
    assert refused(admit(an_admission(), at, signal=Signal.RUNNING)) is Reason.TOO_OLD


def test_an_undated_reading_delivered_again_is_kept_and_not_used():
    """It may have counted before, and nobody knows when it held."""
    verdict = admit(an_admission(), None, redelivered=True)

    assert isinstance(verdict, Keep)
    assert verdict.reading.at == NOW


def test_an_undated_reading_that_waited_at_the_broker_is_kept_and_not_used():
    """It came with the session's queue: it held at some time while the agent was away."""
    admission = an_admission()

    assert isinstance(admit(admission, None, queued=True), Keep)
    assert taken(admit(admission, NOW - HOUR, queued=True)) == NOW - HOUR
    assert taken(admit(admission, None)) == NOW + 1


def test_an_undated_report_that_waited_at_the_broker_is_kept_and_not_used():
    """A report with a time counts whenever it comes, one delivered again counts as it came."""
    said = Addition(at=NOW, id="a", water=1.0, concentrate=0.0)
    waited = Arrival(NOW, "t", b"{}", queued=True)
    again = Arrival(NOW, "t", b"{}", redelivered=True, queued=True)

    def used(dated: bool, arrival: Arrival) -> bool:
        verdict = an_admission().admit_report(Report(SUMP, said, dated), arrival)
        assert isinstance(verdict, Accepted)
        return verdict.used

    assert not used(False, waited)
    assert used(True, waited)
    assert used(False, again)


@pytest.mark.parametrize("signal", [Signal.RUNNING, Signal.CUTTING])
def test_on_and_off_delivered_again_count(signal):
    """A state that was switched once may come in no other message."""
    assert taken(admit(an_admission(), None, signal=signal, redelivered=True)) == NOW


def test_a_part_counter_delivered_again_is_no_state():
    """Counting parts, `cutting` is a reading like others."""
    plant = a_plant(bound(Signal.CUTTING), plans=(SignalPlan(signal=Signal.CUTTING, counter=True),))

    verdict = admit(Admission(plant, {}, nothing), None, signal=Signal.CUTTING, redelivered=True)

    assert isinstance(verdict, Keep)


def test_a_dated_reading_delivered_again_counts_once():
    """Its time tells whether it counted; the broker's mark is not needed."""
    admission = an_admission()

    assert taken(admit(admission, NOW, redelivered=True)) == NOW
    assert admit(admission, NOW, redelivered=True) == Repeat()


# --- any order -----------------------------------------------------------------------------------

TIMES = st.lists(st.integers(0, 40).map(lambda tens: NOW + 30 * SECOND * tens), max_size=60)


@given(TIMES)
def test_whatever_the_order_no_time_is_taken_twice(times):
    """Of every time exactly one reading is taken or kept; all others are repeats."""
    admission = an_admission()
    arrived = NOW + HOUR

    verdicts = [admit(admission, at, arrived) for at in times]

    stored = [v.reading.at for v in verdicts if isinstance(v, Take | Keep)]
    assert sorted(stored) == sorted(set(times))
    assert len(stored) + verdicts.count(Repeat()) == len(times)


@given(TIMES, st.data())
def test_within_the_lateness_order_and_repeats_do_not_matter(times, data):
    """Delayed by less than the lateness and repeated at will, the same readings are taken."""
    in_order = sorted(set(times))
    delays = data.draw(
        st.lists(st.integers(0, LATENESS), min_size=len(in_order), max_size=len(in_order))
    )
    shuffled = [
        at for _, at in sorted((at + d, at) for at, d in zip(in_order, delays, strict=True))
    ]
    again = data.draw(st.lists(st.sampled_from(shuffled), max_size=9)) if shuffled else []
    admission = an_admission()

    verdicts = [admit(admission, at, NOW + HOUR) for at in shuffled + again]

    assert sorted(v.reading.at for v in verdicts if isinstance(v, Take)) == in_order
    assert not any(isinstance(v, Keep) for v in verdicts)


@given(TIMES, st.integers(0, 60))
def test_a_restart_changes_no_verdict(times, stop):
    """Stopped anywhere and started again on what the store has, it judges as if it had not."""
    arrived = NOW + HOUR
    whole = an_admission()
    expected = [admit(whole, at, arrived) for at in times]

    first = an_admission()
    before = [admit(first, at, arrived) for at in times[:stop]]
    used = [v.reading.at for v in before if isinstance(v, Take)]
    stored = {v.reading.at for v in before if isinstance(v, Take | Keep)}
    second = an_admission(
        {(SUMP, Signal.LEVEL): max(used)} if used else {},
        lambda _sump, _signal, at: at in stored,
    )
    after = [admit(second, at, arrived) for at in times[stop:]]

    assert before + after == expected


# --- reports -------------------------------------------------------------------------------------


def report(
    admission: Admission, at: Instant, arrived: Instant = NOW, name: str = "a", **how: bool
) -> Accepted | Refusal:
    """Judge an addition."""
    entry = Addition(at=at, id=name, water=10.0, concentrate=1.0)
    arrival = Arrival(arrived, "millpond/north/mill-07/addition", b"{}", **how)
    return admission.admit_report(Report(SUMP, entry), arrival)


@pytest.mark.parametrize("at", [NOW - BACKLOG, NOW - DAY, NOW, NOW + FUTURE_MAX])
def test_reports_may_be_about_the_past(at):
    """As far back as the backlog goes, and no more than five minutes ahead."""
    accepted = report(an_admission(), at)

    assert isinstance(accepted, Accepted)
    assert accepted.entry.at == at


@pytest.mark.parametrize(
    ("at", "reason"),
    [(NOW + FUTURE_MAX + 1, Reason.FUTURE), (NOW - BACKLOG - 1, Reason.TOO_OLD)],
)
def test_reports_from_elsewhere_in_time_are_refused(at, reason):
    """Beyond either limit a report is a mistake."""
    assert refused(report(an_admission(), at)) is reason


def test_a_retained_report_is_refused():
    """It would be said again with every connection."""
    assert refused(report(an_admission(), NOW, retain=True)) is Reason.RETAINED


def test_a_redelivered_report_is_the_one_that_came_first():
    """Without id and time of its own a report would be another one when it comes again."""
    admission = an_admission()
    first = report(admission, NOW, NOW, "h-1")

    again = report(admission, NOW + MINUTE, NOW + MINUTE, "h-2", redelivered=True)

    assert again == first


def test_the_same_words_said_again_are_another_report():
    """Not redelivered, or more than an hour later, the same message is news."""
    admission = an_admission()
    report(admission, NOW, NOW, "h-1")

    said_again = report(admission, NOW + MINUTE, NOW + MINUTE, "h-2")
    much_later = report(admission, NOW + DAY, NOW + DAY, "h-3", redelivered=True)

    assert isinstance(said_again, Accepted)
    assert isinstance(much_later, Accepted)
    assert [said_again.entry.at, much_later.entry.at] == [NOW + MINUTE, NOW + DAY]


def test_reports_remembered_are_bounded():
    """However many different reports come, a bounded number is remembered."""
    admission = an_admission()
    for number in range(2 * GENERATION):
        entry = Addition(at=NOW, id=str(number), water=1.0, concentrate=0.0)
        arrival = Arrival(NOW, "t", str(number).encode())
        admission.admit_report(Report(SUMP, entry), arrival)

    assert len(admission._reports) <= GENERATION
