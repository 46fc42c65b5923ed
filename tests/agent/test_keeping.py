"""Readings become fewer with age, charts lose no peak, records stay."""

import random
import sqlite3
import statistics
import threading
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.words import DAY, HOUR, MINUTE, Check, CheckKind, Instant, Signal
from agent.plant.plant import Keeping
from agent.store.batch import Batch, StoredEntry
from agent.store.ledger import Ledger
from agent.store.series import POINTS, Point

SUMP = "mill-07"
START: Instant = 1_772_431_200_000 // DAY * DAY
SHORT = Keeping(raw=2 * DAY, minutes=4 * DAY, hours=8 * DAY, records=1827 * DAY)


def a_ledger(path: Path | None = None, keeping: Keeping = SHORT) -> Ledger:
    """A store that forgets within days."""
    return Ledger.open(path, backlog_max=DAY // 2, keeping=keeping)


def fill(ledger: Ledger, times: range, value: float | None = None) -> None:
    """A reading at each of the times; its value is its place, unless told."""
    ledger.commit(
        Batch(
            readings=[
                (SUMP, Signal.LEVEL, START + at, float(at) if value is None else value, True)
                for at in times
            ],
            clock=START + times[-1],
        )
    )


def count(ledger: Ledger, table: str) -> int:
    """Rows of a table."""
    [(rows,)] = ledger._database.rows(f"SELECT count(*) FROM {table}")  # noqa: S608  a table of ours
    return int(rows)


def chart(ledger: Ledger, begin: Instant, end: Instant, **how: int) -> list[Point]:
    """Points of a range counted from the start."""
    return ledger.series.points(SUMP, Signal.LEVEL, START + begin, START + end, **how)


def test_readings_age_into_minutes_and_hours_and_go() -> None:
    """Nine days, a reading each half minute: two days of each, four of minutes, eight of hours."""
    ledger = a_ledger()
    fill(ledger, range(0, 9 * DAY, 30_000))
    ledger.housekeep()

    assert count(ledger, "reading") == pytest.approx(2 * 2880, abs=2)
    assert count(ledger, "reading_minute") == pytest.approx(4 * 1440 - 60, abs=60)
    assert count(ledger, "reading_hour") == pytest.approx(8 * 24, abs=2)


def test_a_day_of_readings_is_kept_beyond_what_may_still_come() -> None:
    """Whatever the file says: what is folded again for a late report must be there."""
    ledger = Ledger.open(None, backlog_max=5 * DAY, keeping=SHORT)
    fill(ledger, range(0, 9 * DAY, MINUTE))
    ledger.housekeep()

    assert count(ledger, "reading") == pytest.approx(6 * 1440, abs=2)


def test_minutes_and_hours_say_what_their_readings_said() -> None:
    """Count, lowest, highest and mean against Python's own statistics of the same readings."""
    noise = random.Random(7)
    values = [noise.gauss(380.0, 2.0) for _ in range(4 * 360)]
    ledger = a_ledger()
    rows = [(SUMP, Signal.LEVEL, START + 10_000 * n, v, True) for n, v in enumerate(values)]
    ledger.commit(Batch(readings=rows, clock=rows[-1][2]))
    ledger.housekeep()

    [minute] = ledger._database.rows(
        "SELECT count, low, high, mean FROM reading_minute WHERE at = ?", START + MINUTE
    )
    [hour] = ledger._database.rows(
        "SELECT count, low, high, mean FROM reading_hour WHERE at = ?", START + HOUR
    )
    for found, part in ((minute, values[6:12]), (hour, values[360:720])):
        assert found[:3] == (len(part), min(part), max(part))
        assert found[3] == pytest.approx(statistics.fmean(part), rel=1e-12)


def test_what_comes_late_is_summed_up_again() -> None:
    """A peak that a gateway's buffer brings hours later stands in the chart."""
    ledger = a_ledger()
    fill(ledger, range(0, DAY, MINUTE), 1.0)
    ledger.housekeep()
    late = (SUMP, Signal.LEVEL, START + 2 * HOUR + 30_000, 99.0, True)
    ledger.commit(Batch(readings=[late], clock=START + DAY))
    ledger.housekeep()

    [(high,)] = ledger._database.rows(
        "SELECT high FROM reading_hour WHERE at = ?", START + 2 * HOUR
    )
    assert high == 99.0
    assert count(ledger, "unsummed") == 0


def test_unused_readings_stand_in_no_chart() -> None:
    """What came too late to be used is kept as it is, and drawn nowhere."""
    ledger = a_ledger()
    fill(ledger, range(0, 6 * HOUR, MINUTE), 1.0)
    unused = (SUMP, Signal.LEVEL, START + 30_000, 99.0, False)
    ledger.commit(Batch(readings=[unused], clock=START + 6 * HOUR))
    ledger.housekeep()

    assert {p.high for p in chart(ledger, 0, 6 * HOUR)} == {1.0}
    assert {p.high for p in chart(ledger, 0, 3 * DAY)} == {1.0}


def test_a_few_readings_stand_each_for_itself() -> None:
    """No stretch, no mean: the readings."""
    ledger = a_ledger()
    fill(ledger, range(0, HOUR, MINUTE))

    found = chart(ledger, 10 * MINUTE, 12 * MINUTE)
    assert found == [
        Point(START + at, 1, float(at), float(at), float(at))
        for at in range(10 * MINUTE, 12 * MINUTE + 1, MINUTE)
    ]
    assert chart(ledger, -HOUR, -1) == []
    assert ledger.series.points("mill-08", Signal.LEVEL, START, START + HOUR) == []


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.integers(0, 6 * DAY), st.floats(-1e3, 1e3)), min_size=1, max_size=60),
    st.integers(0, 6 * DAY),
    st.integers(1, 6 * DAY),
    st.integers(3, 50),
    st.booleans(),
)
def test_a_chart_keeps_every_peak_and_never_more_points(
    readings: list[tuple[int, float]], begin: int, length: int, points: int, housekept: bool
) -> None:
    """Lowest and highest of any range are those of its readings, at its ends to the hour."""
    ledger = Ledger.open(None, backlog_max=DAY, keeping=Keeping())
    ledger.commit(Batch(readings=[(SUMP, Signal.LEVEL, START + at, v, True) for at, v in readings]))
    if housekept:
        ledger.housekeep()
    end = begin + length
    found = chart(ledger, begin, end, points=points)
    first = dict(reversed([(at, v) for at, v in readings]))
    surely = [v for at, v in first.items() if begin <= at <= end]
    perhaps = [
        v for at, v in first.items() if begin // HOUR * HOUR <= at <= end // HOUR * HOUR + HOUR
    ]

    assert len(found) <= points
    assert [p.at for p in found] == sorted(p.at for p in found)
    if surely:
        assert min(perhaps) <= min(p.low for p in found) <= min(surely)
        assert max(perhaps) >= max(p.high for p in found) >= max(surely)
    assert all(p.low <= p.mean + 1e-9 and p.mean <= p.high + 1e-9 for p in found)
    ledger.close()


def test_a_year_comes_in_two_thousand_points() -> None:
    """By hours, however long ago."""
    ledger = a_ledger(keeping=Keeping())
    fill(ledger, range(0, 365 * DAY, 20 * MINUTE))
    ledger.housekeep()
    found = chart(ledger, 0, 365 * DAY)

    assert 1000 < len(found) <= POINTS
    assert max(p.high for p in found) == 365 * DAY - 20 * MINUTE


def test_what_people_said_stays_five_years() -> None:
    """Readings go after weeks, records after the years that the plant file says."""
    ledger = a_ledger()
    check = Check(at=START, id="a", kind=CheckKind.PH, value=9.0)
    ledger.commit(
        Batch(
            entries=[StoredEntry(SUMP, check, START)],
            clock=START,
        )
    )
    fill(ledger, range(1826 * DAY, 1827 * DAY, HOUR))
    ledger.housekeep()
    assert count(ledger, "entry") == 1
    fill(ledger, range(1828 * DAY, 1829 * DAY, HOUR))
    ledger.housekeep()

    assert count(ledger, "entry") == 0


def test_the_file_does_not_grow_once_readings_go(tmp_path: Path) -> None:
    """The room of what is forgotten is used again."""
    path = tmp_path / "store.db"
    ledger = a_ledger(path, Keeping(raw=2 * DAY, minutes=2 * DAY, hours=3 * DAY))
    sizes = []
    for day in range(12):
        fill(ledger, range(day * DAY, (day + 1) * DAY, 60_000))
        ledger.housekeep()
        sizes.append(path.stat().st_size)
    ledger.close()

    assert sizes[-1] <= 1.1 * sizes[6]


def test_housekeeping_beside_a_writer_loses_nothing(tmp_path: Path) -> None:
    """It works in short transactions of its own while the worker goes on."""
    ledger = a_ledger(tmp_path / "store.db", Keeping())
    done = threading.Event()

    def keep_house() -> None:
        while not done.is_set():
            ledger.housekeep()

    keeper = threading.Thread(target=keep_house)
    keeper.start()
    for hour in range(60):
        fill(ledger, range(hour * HOUR, (hour + 1) * HOUR, MINUTE))
    done.set()
    keeper.join()
    ledger.housekeep()

    assert count(ledger, "reading") == 3600
    assert ledger._database.rows("SELECT sum(count) FROM reading_hour") == [(58 * 60,)]
    ledger.close()
    with closing(sqlite3.connect(tmp_path / "store.db")) as store:
        assert store.execute("PRAGMA integrity_check").fetchone() == ("ok",)
