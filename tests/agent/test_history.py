"""What is kept for charts: every minute, every hour, and no more points than were asked for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.words import DAY, HOUR, MINUTE, Account, Estimate, Losses, SumpEvent, SumpState
from agent.store.batch import Batch
from agent.store.database import Database
from agent.store.history import MINUTES_KEPT, POINTS, History, history_row
from agent.store.ledger import Ledger
from agent.store.migrations import migrate
from agent.store.told import Told

SUMP = "mill-07"


def state(at: int, volume: float | None = 312.41, concentration: float = 0.07621) -> SumpState:
    """A state whose volume is told or not."""
    total = Account(since=5, water=Estimate(21.37, 1.18), concentrate=Estimate(0.41, 0.2))
    rate = Estimate(19.004, 1.234)
    return SumpState(
        at=at,
        volume=None if volume is None else Estimate(volume, 1.93),
        concentration=Estimate(concentration, 0.00083),
        correlation=0.0,
        rest_depth=None,
        holdup=None,
        running=True,
        losses=Losses(
            window_h=24.0, water=rate, concentrate=None, evaporation=None, carry_off=None
        ),
        lost=total,
        added=total,
        drained=None,
        qualities={},
        last_seen={},
        charging=False,
        events=(),
        events_since=0,
    )


class Store:
    """A ledger in memory, and the readers on the same tables."""

    def __init__(self) -> None:
        database = Database(None)
        migrate(database.writer, None)
        self.ledger = Ledger(database, belief_schema=1, backlog_max=7 * DAY)
        self.history = History(database)
        self.told = Told(database)

    def tell(self, *states: SumpState, sump: str = SUMP) -> None:
        """Commit states as one batch."""
        rows = [(sump, row) for s in states if (row := history_row(s)) is not None]
        self.ledger.commit(Batch(history=rows))


@pytest.fixture
def store() -> Store:
    """An empty one."""
    return Store()


def test_a_state_comes_back_to_the_digits_that_were_told(store: Store) -> None:
    """Volumes to 0.01 L, concentrations to 0.001 %, rates to 0.001 L/day; what was null is none."""
    store.tell(state(MINUTE))

    (found,) = store.history.series(SUMP, 0, HOUR)

    assert found.at == MINUTE
    assert found.volume == Estimate(312.41, 1.93)
    assert found.concentration == Estimate(0.07621, 0.00083)
    assert found.water_loss == Estimate(19.004, 1.234)
    assert found.concentrate_loss is None
    assert found.lost == Account(
        since=5, water=Estimate(21.37, 1.18), concentrate=Estimate(0.41, 0.2)
    )
    assert found.drained is None
    assert found.running is True
    assert found.volume_range == (312.41, 312.41)


def test_only_whole_minutes_are_kept(store: Store) -> None:
    """A state between two minutes, told because of an event, is no point of a chart."""
    store.tell(state(MINUTE + 1), state(2 * MINUTE))

    assert [s.at for s in store.history.series(SUMP, 0, HOUR)] == [2 * MINUTE]


def test_a_minute_told_again_replaces_itself(store: Store) -> None:
    """What was told last of a minute stands."""
    store.tell(state(MINUTE, 300.0))
    store.tell(state(MINUTE, 310.0))

    (found,) = store.history.series(SUMP, 0, HOUR)

    assert found.volume == Estimate(310.0, 1.93)


def test_an_unknown_volume_is_no_zero(store: Store) -> None:
    """Where nothing tells, the series has no value, and the range passes over it."""
    store.tell(state(MINUTE, None), state(2 * MINUTE, 300.0))

    first, _ = store.history.series(SUMP, 0, HOUR)
    hour = store.history.series(SUMP, 0, 30 * DAY)[0]

    assert first.volume is None
    assert hour.volume_range == (300.0, 300.0)


def test_sumps_do_not_mix(store: Store) -> None:
    """Each sump has its own series."""
    store.tell(state(MINUTE, 100.0), sump="a")
    store.tell(state(MINUTE, 200.0), sump="b")

    assert [s.volume.value for s in store.history.series("a", 0, HOUR) if s.volume] == [100.0]
    assert store.history.series("c", 0, HOUR) == []


@given(
    volumes=st.lists(st.floats(0.0, 5000.0), min_size=1, max_size=200),
    cut=st.integers(0, 200),
    points=st.integers(1, 50),
)
def test_lowest_and_highest_survive_every_thinning(
    volumes: list[float], cut: int, points: int
) -> None:
    """However few points are asked for, however the batches fell: extremes are among them."""
    store = Store()
    states = [state(index * MINUTE, value) for index, value in enumerate(volumes)]
    for part in (states[:cut], states[cut:]):
        if part:
            store.tell(*part)
    told = [round(value, 2) for value in volumes]

    for end in (DAY, 30 * DAY):
        found = store.history.series(SUMP, 0, end, points=points)
        assert len(found) <= points
        ranges = [s.volume_range for s in found if s.volume_range is not None]
        assert min(low for low, _ in ranges) == pytest.approx(min(told))
        assert max(high for _, high in ranges) == pytest.approx(max(told))
        assert found[-1].volume is not None
        assert found[-1].volume.value == pytest.approx(told[-1])


def test_a_week_of_minutes_keeps_to_the_points(store: Store) -> None:
    """The finest range of all, read by minutes, is within the 2,000 points of a chart."""
    store.tell(*(state(index * MINUTE, float(index)) for index in range(7 * 24 * 60)))

    found = store.history.series(SUMP, 0, 7 * DAY)

    assert POINTS // 2 < len(found) <= POINTS


def test_old_minutes_go_and_their_hours_stay(store: Store) -> None:
    """Housekeeping leaves the hours, and a short range in the past is then told by them."""
    store.tell(state(MINUTE, 300.0), state(2 * MINUTE, 310.0), state(3 * MINUTE, 305.0))
    store.tell(state(MINUTES_KEPT + HOUR))
    store.ledger.housekeep()

    (hour,) = store.history.series(SUMP, 0, HOUR)

    assert hour.at == 3 * MINUTE
    assert hour.volume_range == (300.0, 310.0)
    assert store.history.span(SUMP) == (3 * MINUTE, MINUTES_KEPT + HOUR)


def test_the_state_at_a_moment_is_the_newest_before_it(store: Store) -> None:
    """Accounts from one day to another begin at what was told last before it."""
    store.tell(state(MINUTE, 300.0), state(5 * MINUTE, 310.0))

    before, after = store.history.at(SUMP, 4 * MINUTE), store.history.at(SUMP, DAY)

    assert before is not None
    assert before.at == MINUTE
    assert after is not None
    assert after.at == 5 * MINUTE
    assert store.history.at(SUMP, 0) is None


class TestTold:
    """Retained messages and events."""

    def test_the_newest_retained_message_of_a_topic_stands(self, store: Store) -> None:
        """A later one takes its place, and an empty one takes it back."""
        store.ledger.commit(Batch(retained={"p/a/state": b"1", "p/a/advice": b"2"}))
        store.ledger.commit(Batch(retained={"p/a/state": b"3", "p/a/advice": b""}))

        assert store.told.retained() == [("p/a/state", b"3")]

    def test_an_event_is_kept_as_it_was_last_told(self, store: Store) -> None:
        """A better account replaces the first; one that was none is left out."""
        for kind, volume in (("addition", 20.0), ("addition", 21.0)):
            store.ledger.commit(Batch(events=[(SUMP, event("e1", kind, volume))]))
        store.ledger.commit(Batch(events=[(SUMP, event("e2", "withdrawn", None))]))

        assert store.told.events(SUMP, 0, 2000) == [event("e1", "addition", 21.0)]
        assert store.told.events(SUMP, 0, 999) == []


def event(name: str, kind: str, volume: float | None) -> SumpEvent:
    """An event at 1 s."""
    return SumpEvent(
        id=name,
        at=1000,
        kind=kind,
        source="inferred",
        volume=None if volume is None else Estimate(volume, 1.0),
        strength=None,
    )
