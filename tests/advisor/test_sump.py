"""What is told of events: once, again when it is better known, and taken back when it was none."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.event_names import as_told
from advisor.sump import event_news, materially_other
from advisor.words import HOUR, MINUTE, Estimate, SumpEvent

BUCKET = SumpEvent(
    id="e1",
    at=1_000_000,
    kind="addition",
    source="inferred",
    volume=Estimate(16.0, 2.0),
    strength=None,
)


def test_an_event_is_told_once():
    """What was told already is no news."""
    told, news = event_news((), (BUCKET,), 0)
    assert news == (BUCKET,)

    again, more = event_news(told, (BUCKET,), 0)

    assert more == ()
    assert again == told


def test_a_better_account_is_told_under_the_same_id():
    """The strength once it is mixed, or the report of what had been inferred."""
    reported = replace(BUCKET, source="report", volume=Estimate(15.0, 0.3))
    mixed = replace(BUCKET, strength=Estimate(0.05, 0.01))

    assert event_news((BUCKET,), (reported,), 0) == ((reported,), (reported,))
    assert event_news((BUCKET,), (mixed,), 0) == ((mixed,), (mixed,))


def test_what_wanders_within_its_sd_is_no_news():
    """A tenth of an sd is not worth a message, and what was told stays what is compared with."""
    wandered = replace(BUCKET, volume=Estimate(16.2, 1.9))

    assert event_news((BUCKET,), (wandered,), 0) == ((BUCKET,), ())


def test_small_steps_add_up_to_news():
    """The comparison is with what was told, so a slow creep is told in the end."""
    told: tuple[SumpEvent, ...] = (BUCKET,)
    news_count = 0
    for step in range(1, 11):
        crept = replace(BUCKET, volume=Estimate(16.0 + 0.2 * step, 2.0))
        told, news = event_news(told, (crept,), 0)
        news_count += len(news)

    assert 2 <= news_count <= 4


def test_an_event_that_was_none_is_withdrawn_once():
    """It is told as withdrawn, without an account, and then no more."""
    told, news = event_news((BUCKET,), (), 0)

    assert news == (replace(BUCKET, kind="withdrawn", volume=None, strength=None),)
    assert event_news(told, (), 0) == ((), ())


def test_events_before_the_records_beginning_are_not_withdrawn():
    """An event that merely left the memory was one all the same."""
    told, news = event_news((BUCKET,), (), BUCKET.at + 1)

    assert told == ()
    assert news == ()


def test_a_newcomer_takes_the_id_of_what_vanished_beside_it():
    """A report of what had been inferred, and the same event begun a little earlier."""
    reported = replace(BUCKET, id="addition-a1", at=BUCKET.at + 5 * MINUTE, source="report")

    names, events = as_told((), (BUCKET,), (reported,))
    again, later = as_told(names, events, (reported,))

    assert events == later == (replace(reported, id="e1"),)
    assert again == names == (("addition-a1", "e1"),)


@pytest.mark.parametrize(
    "other",
    [
        pytest.param({"at": BUCKET.at + HOUR}, id="an hour later"),
        pytest.param({"kind": "drain"}, id="of another kind"),
    ],
)
def test_another_event_has_an_id_of_its_own(other):
    """Only what lies near and is of the same kind is the same event."""
    stranger = replace(BUCKET, id="e2", **other)

    assert as_told((), (BUCKET,), (stranger,)) == ((), (stranger,))
    assert as_told((), (BUCKET,), (BUCKET, stranger)) == ((), (BUCKET, stranger))


@given(st.lists(st.lists(st.integers(0, 40), max_size=6, unique=True), max_size=5))
def test_no_two_events_ever_share_an_id(folds):
    """Whatever folding again brings and takes, ids told are one each, and what stays keeps its."""
    names, told = (), ()
    for minutes in folds:
        events = tuple(
            replace(BUCKET, id=f"own-{n}", at=BUCKET.at + n * MINUTE) for n in sorted(minutes)
        )
        before = {event.at: event.id for event in told}
        names, told = as_told(names, told, events)
        assert len({event.id for event in told}) == len(told) == len(minutes)
        assert all(before.get(event.at, event.id) == event.id for event in told)


@given(
    st.lists(st.tuples(st.integers(0, 9), st.floats(1.0, 50.0)), max_size=8),
    st.lists(st.tuples(st.integers(0, 9), st.floats(1.0, 50.0)), max_size=8),
)
def test_after_any_news_the_listener_knows_what_stands(before, after):
    """Whoever applies the news to what was told has all that stands, to within what is material."""

    def events(pairs):
        named = {f"e{number}": volume for number, volume in pairs}
        return tuple(
            replace(BUCKET, id=name, volume=Estimate(volume, 2.0))
            for name, volume in sorted(named.items())
        )

    told, _ = event_news((), events(before), 0)
    heard = {event.id: event for event in told}
    _, news = event_news(told, events(after), 0)
    for event in news:
        heard[event.id] = event

    standing = {name: event for name, event in heard.items() if event.kind != "withdrawn"}
    assert standing.keys() == {event.id for event in events(after)}
    assert not any(materially_other(standing[event.id], event) for event in events(after))
