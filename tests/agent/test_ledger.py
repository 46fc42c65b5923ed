"""The embedded store: what went in comes out, once, and survives what files go through."""

import dataclasses
import json
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.words import (
    DAY,
    HOUR,
    MINUTE,
    Addition,
    Charge,
    Check,
    CheckKind,
    Delivery,
    Drain,
    Entry,
    Reading,
    Service,
    Signal,
)
from agent.arrival import Outgoing
from agent.decode.results import Reason, Refusal, StockReport
from agent.errors import StoreError, StoreUnavailable
from agent.store.batch import Batch, StoredEntry, entry_id, evidence_order
from agent.store.ledger import Ledger
from agent.store.lock import held_alone
from agent.store.migrations import MIGRATIONS, migrate
from agent.store.patience import Patience
from agent.store.writing import REFUSALS_KEPT

SUMP = "mill-07"
ENTRIES: list[Entry] = [
    Addition(at=1000, id="a", water=20.0, concentrate=1.6, by="Ann", supply="drum-1"),
    Drain(at=2000, id="b", everything=True, to="tote"),
    Charge(at=3000, id="c", stage="begun", water=1.0 / 3.0),
    Check(at=4000, id="d", kind=CheckKind.TITRATION, value=0.081, sample="filtered"),
    Service(at=5000, id="e", kind="prism-cleaned", note="Öl und Späne"),
    Delivery(at=6000, setpoint="s1", water=3.0, concentrate=0.25, finished=False, fault=None),
]


@pytest.fixture
def ledger() -> Ledger:
    """An empty one in memory."""
    return Ledger.open(None)


def readings(*values: tuple[int, float], signal: Signal = Signal.LEVEL, used: bool = True) -> Batch:
    """A batch of readings of one signal."""
    return Batch(readings=[(SUMP, signal, at, value, used) for at, value in values])


def entries(*reported: Entry) -> Batch:
    """A batch of entries."""
    return Batch(entries=[StoredEntry(SUMP, entry, entry.at) for entry in reported])


def checkpoints(*times: int) -> Batch:
    """A batch of checkpoints, each saying its own time."""
    return Batch(checkpoints=[(SUMP, at, str(at).encode()) for at in times])


class TestEvidence:
    """Readings and entries."""

    def test_the_same_reading_counts_once(self, ledger: Ledger) -> None:
        """One signal has one value at one time: the first that came."""
        ledger.commit(readings((1000, 1.0), (1000, 2.0)))
        ledger.commit(readings((1000, 3.0), (2000, 4.0)))

        assert ledger.evidence(SUMP, 0) == [
            Reading(1000, Signal.LEVEL, 1.0),
            Reading(2000, Signal.LEVEL, 4.0),
        ]

    def test_readings_that_are_not_used_are_kept_but_are_no_evidence(self, ledger: Ledger) -> None:
        """What came too late is stored: it counts as a duplicate, not for the balance."""
        ledger.commit(readings((1000, 1.0), used=False))

        assert ledger.has_reading(SUMP, Signal.LEVEL, 1000)
        assert ledger.evidence(SUMP, 0) == []
        assert ledger.newest() == {}

    def test_the_newest_is_by_signal_and_of_used_readings(self, ledger: Ledger) -> None:
        """A newer reading that is not used does not count."""
        ledger.commit(readings((1000, 1.0), (3000, 1.0)))
        ledger.commit(readings((5000, 1.0), used=False))
        ledger.commit(readings((2000, 1.0), signal=Signal.BRIX))

        assert ledger.newest() == {(SUMP, Signal.LEVEL): 3000, (SUMP, Signal.BRIX): 2000}

    @pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: type(entry).__name__)
    def test_every_kind_of_entry_comes_back_equal(self, ledger: Ledger, entry: Entry) -> None:
        """Nothing is lost or rounded on the way through the file."""
        ledger.commit(entries(entry))

        assert ledger.evidence(SUMP, 0) == [entry]
        assert ledger.has_entry(SUMP, entry_id(entry))
        assert not ledger.has_entry("mill-08", entry_id(entry))

    def test_an_entry_counts_once(self, ledger: Ledger) -> None:
        """The same id again is passed over, whatever it says."""
        ledger.commit(entries(Addition(at=1000, id="a", water=1.0, concentrate=0.0)))
        ledger.commit(entries(Addition(at=2000, id="a", water=9.0, concentrate=0.0)))

        assert [entry.at for entry in ledger.evidence(SUMP, 0)] == [1000]

    def test_a_replaced_entry_is_no_evidence_and_stays_in_the_records(self, ledger: Ledger) -> None:
        """The correction stands, wherever in time it is, and whichever of the two came first."""
        first = Addition(at=5000, id="a", water=1.0, concentrate=0.0)
        second = Addition(at=1000, id="b", water=2.0, concentrate=0.0, replaces="a")
        third = Addition(at=2000, id="c", water=3.0, concentrate=0.0, replaces="b")
        ledger.commit(entries(third, first))
        ledger.commit(entries(second))

        assert ledger.evidence(SUMP, 0) == [third]
        assert ledger.has_entry(SUMP, "a")

    def test_of_two_that_replace_each_other_the_last_one_stands(self, ledger: Ledger) -> None:
        """A mistake of people's must not make both of them vanish."""
        ledger.commit(entries(Service(at=1000, id="a", kind="other", replaces="b")))
        ledger.commit(entries(Service(at=1000, id="b", kind="other", replaces="a")))

        assert [entry_id(e) for e in ledger.evidence(SUMP, 0) if not isinstance(e, Reading)] == [
            "b"
        ]

    def test_a_correction_does_not_reach_into_another_sump(self, ledger: Ledger) -> None:
        """Ids are of one sump."""
        entry = Service(at=1000, id="a", kind="other")
        other = Service(at=1000, id="b", kind="other", replaces="a")
        ledger.commit(entries(entry))
        ledger.commit(Batch(entries=[StoredEntry("mill-08", other, 1000)]))

        assert ledger.evidence(SUMP, 0) == [entry]

    def test_evidence_after_a_time_leaves_that_time_out(self, ledger: Ledger) -> None:
        """`after` is what a checkpoint holds already."""
        ledger.commit(readings((1000, 1.0), (2000, 2.0)))
        ledger.commit(entries(ENTRIES[0], ENTRIES[1]))

        assert [item.at for item in ledger.evidence(SUMP, 1000)] == [2000, 2000]

    @given(
        st.lists(
            st.tuples(
                st.sampled_from([Signal.LEVEL, Signal.BRIX, Signal.RUNNING]),
                st.integers(0, 50),
                st.floats(-1e6, 1e6),
            ),
            max_size=60,
        ),
        st.integers(1, 7),
    )
    def test_batches_and_order_of_arrival_do_not_matter(
        self, samples: list[tuple[Signal, int, float]], size: int
    ) -> None:
        """The evidence is the first value of each signal and time, in the one order there is."""
        ledger = Ledger.open(None)
        rows = [(SUMP, signal, at, value, True) for signal, at, value in samples]
        for start in range(0, len(rows), size):
            ledger.commit(Batch(readings=rows[start : start + size]))
        first: dict[tuple[Signal, int], float] = {}
        for signal, at, value in samples:
            first.setdefault((signal, at), value)
        expected = [Reading(at, signal, value) for (signal, at), value in first.items()]
        expected.sort(key=evidence_order)

        assert ledger.evidence(SUMP, -1) == expected
        ledger.close()


class TestCheckpoints:
    """Beliefs kept for going back."""

    def test_the_newest_one_not_later_is_given(self, ledger: Ledger) -> None:
        """`at` itself counts."""
        ledger.commit(checkpoints(1000, 2000, 3000))

        assert ledger.checkpoint(SUMP, 2500) == (2000, b"2000")
        assert ledger.checkpoint(SUMP, 2000) == (2000, b"2000")
        assert ledger.checkpoint(SUMP, 999) is None
        assert ledger.checkpoint("mill-08", 9999) is None

    def test_those_that_a_late_report_made_wrong_are_forgotten(self, ledger: Ledger) -> None:
        """Everything later than the time given, of that sump."""
        ledger.commit(checkpoints(1000, 2000, 3000))
        ledger.drop_checkpoints(SUMP, 1000)

        assert ledger.checkpoint(SUMP, 9999) == (1000, b"1000")

    def test_a_day_is_kept_whole_and_one_in_six_hours_before(self, ledger: Ledger) -> None:
        """A late report finds a checkpoint nearby, and the store does not grow by all of them."""
        days = range(0, 3 * DAY, 10 * MINUTE)
        for at in days:
            ledger.commit(checkpoints(at))
        newest = days[-1]
        found = {ledger.checkpoint(SUMP, at) for at in days}
        times = sorted(pair[0] for pair in found if pair is not None)

        dense = [at for at in times if at >= newest - DAY]
        assert dense == list(range(newest - DAY, newest + 1, 10 * MINUTE))
        # seven whole stretches before the last day: of each, its last one
        assert times[:7] == [n * 6 * HOUR + 6 * HOUR - 10 * MINUTE for n in range(7)]

    def test_on_disk_they_are_compressed_and_come_back_equal(self, tmp_path: Path) -> None:
        """A belief is a hundred kilobytes of digits: in the file it is half at most."""
        body = b"{%s}" % b",".join(b"%.17g" % (n / 7.0) for n in range(5_000))
        ledger = Ledger.open(tmp_path / "store.db")
        ledger.commit(Batch(checkpoints=[(SUMP, 1000, body)]))

        assert ledger.checkpoint(SUMP, 1000) == (1000, body)
        [(size,)] = ledger._database.rows("SELECT length(body) FROM checkpoint")
        assert size < len(body) / 2
        ledger.close()

    def test_beyond_the_backlog_one_is_kept(self) -> None:
        """A report of `backlog_max` ago needs the checkpoint before it, and none before that."""
        ledger = Ledger.open(None, backlog_max=DAY)
        for at in range(0, 3 * DAY, HOUR):
            ledger.commit(checkpoints(at))

        oldest = 3 * DAY - HOUR - DAY
        assert ledger.checkpoint(SUMP, oldest) == (oldest, str(oldest).encode())
        assert ledger.checkpoint(SUMP, oldest - 1) is None

    def test_those_of_another_version_are_passed_over(self, tmp_path: Path) -> None:
        """A belief of another shape is not read; the evidence is folded anew."""
        path = tmp_path / "store.db"
        old = Ledger.open(path, belief_schema=1)
        old.commit(Batch(checkpoints=[(SUMP, 1000, b"old")], standings={SUMP: b"stands"}))
        old.close()
        new = Ledger.open(path, belief_schema=2)

        assert new.checkpoint(SUMP, 9999) is None
        assert new.standings() == {SUMP: b"stands"}
        new.commit(Batch(checkpoints=[(SUMP, 1000, b"new")], standings={SUMP: b"new"}))
        assert new.checkpoint(SUMP, 9999) == (1000, b"new")
        assert new.standings() == {SUMP: b"new"}
        new.close()


class TestMessages:
    """Outbox, clock, refusals, subscriptions."""

    def test_the_outbox_keeps_order_until_the_broker_has_it(self, ledger: Ledger) -> None:
        """What was marked is gone, the rest stays in the order of deciding."""
        messages = [Outgoing(f"t/{n}", b"%d" % n, retain=n % 2 == 0) for n in range(5)]
        ledger.commit(Batch(outgoing=messages[:3]))
        ledger.commit(Batch(outgoing=messages[3:]))
        numbered = ledger.unsent(10)
        assert [message for _, message in numbered] == messages
        ledger.mark_sent([numbered[0][0], numbered[3][0]])

        assert [message for _, message in ledger.unsent(2)] == [messages[1], messages[2]]
        assert ledger.unsent_after(numbered[2][0], 10) == [numbered[4]]

    def test_a_number_is_never_given_twice(self, ledger: Ledger) -> None:
        """A sender that remembers numbers is not misled when the outbox was empty in between."""
        ledger.commit(Batch(outgoing=[Outgoing("t", b"1", retain=False)]))
        [(first, _)] = ledger.unsent(10)
        ledger.mark_sent([first])
        ledger.commit(Batch(outgoing=[Outgoing("t", b"2", retain=False)]))
        [(second, _)] = ledger.unsent(10)

        assert second > first

    def test_the_clock_never_goes_back(self, ledger: Ledger) -> None:
        """Timers that have run do not run again."""
        assert ledger.clock() is None
        for at in (2000, 1000):
            ledger.commit(Batch(clock=at))

        assert ledger.clock() == 2000

    def test_the_newest_standing_wins(self, ledger: Ledger) -> None:
        """One for each sump."""
        ledger.commit(Batch(standings={SUMP: b"1", "mill-08": b"x"}))
        ledger.commit(Batch(standings={SUMP: b"2"}))

        assert ledger.standings() == {SUMP: b"2", "mill-08": b"x"}

    def test_refusals_are_bounded_and_all_are_counted(self, ledger: Ledger) -> None:
        """A person reads the newest; the counters know them all."""
        for start in range(0, REFUSALS_KEPT + 500, 1000):
            ledger.commit(
                Batch(
                    refusals=[
                        (at, Refusal("t", Reason.RANGE, str(at), "ab", sump=SUMP))
                        for at in range(start, start + 1000)
                    ]
                )
            )
        ledger.commit(Batch(refusals=[(77, Refusal("t" * 2000, Reason.UNIT, "", ""))]))

        everything = ledger.refusals(2 * REFUSALS_KEPT)
        assert len(everything) == REFUSALS_KEPT
        assert everything[0] == (77, Refusal("t" * 1000, Reason.UNIT, "", ""))
        assert everything[1] == (10_999, Refusal("t", Reason.RANGE, "10999", "ab", sump=SUMP))
        assert ledger.refusal_counts() == {Reason.RANGE: 11_000, Reason.UNIT: 1}

    def test_stock_reports_are_kept_once(self, ledger: Ledger) -> None:
        """By supply and id."""
        report = StockReport(supply="drum-1", at=1000, id="a", volume=120.0, lot="L7", by="Ann")
        ledger.commit(Batch(stock=[report, report]))
        ledger.commit(Batch(stock=[report]))

        rows = ledger._database.rows("SELECT supply, id, volume, lot FROM stock")
        assert rows == [("drum-1", "a", 120.0, "L7")]

    def test_filters_take_the_former_ones_place(self, ledger: Ledger) -> None:
        """What the session at the broker is subscribed to."""
        ledger.keep_filters(["a/#", "b/#"])
        ledger.keep_filters(["b/#", "c/#"])

        assert ledger.filters() == {"b/#", "c/#"}


class TestFile:
    """What happens to files."""

    def test_what_was_committed_is_there_after_a_restart(self, tmp_path: Path) -> None:
        """All of it: nothing lives in memory alone."""
        path = tmp_path / "store.db"
        first = Ledger.open(path)
        first.commit(readings((1000, 1.0)))
        first.commit(Batch(clock=5000, outgoing=[Outgoing("t", b"x", retain=True)]))
        first.close()
        second = Ledger.open(path)

        assert second.evidence(SUMP, 0) == [Reading(1000, Signal.LEVEL, 1.0)]
        assert second.newest() == {(SUMP, Signal.LEVEL): 1000}
        assert second.clock() == 5000
        assert [message for _, message in second.unsent(9)] == [Outgoing("t", b"x", retain=True)]
        second.close()

    def test_commits_are_synced_to_the_disk(self, tmp_path: Path) -> None:
        """Write-ahead log with `synchronous=FULL`, on every connection that writes."""
        ledger = Ledger.open(tmp_path / "store.db")

        assert ledger._database.writer.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert ledger._database.writer.execute("PRAGMA synchronous").fetchone() == (2,)
        ledger.close()

    def test_a_batch_is_written_whole_or_not_at_all(self, ledger: Ledger) -> None:
        """A value that no table takes leaves nothing of its batch behind."""
        bad = readings((1000, 1.0), (2000, 2.0))
        bad.standings["mill-08"] = None  # type: ignore[assignment]  # what must fail
        with pytest.raises(StoreError):
            ledger.commit(bad)
        ledger.commit(Batch(clock=1))

        assert ledger.evidence(SUMP, 0) == []
        assert ledger.clock() == 1

    def test_a_full_disk_is_said_and_passes(self, tmp_path: Path) -> None:
        """SQLite's own limit on pages stands for the disk's end; freed, the same batch goes in."""
        ledger = Ledger.open(tmp_path / "store.db")
        large = readings(*((at, 1.0) for at in range(50_000)))
        ledger.commit(readings((-1, 0.0)))
        ledger._database.writer.execute("PRAGMA max_page_count = 40")
        with pytest.raises(StoreUnavailable, match="free some space"):
            ledger.commit(large)
        assert len(ledger.evidence(SUMP, -2)) == 1
        ledger._database.writer.execute("PRAGMA max_page_count = 1000000")
        ledger.commit(large)

        assert len(ledger.evidence(SUMP, -2)) == 50_001
        ledger.close()

    def test_patience_waits_until_the_store_is_free(self, tmp_path: Path) -> None:
        """Another program holds it: the commit goes in as soon as that one lets go."""
        path = tmp_path / "store.db"
        ledger = Ledger.open(path)
        ledger.commit(readings((1000, 1.0)))
        ledger.wait_with(Patience(threading.Event()))
        with closing(sqlite3.connect(path, isolation_level=None, check_same_thread=False)) as other:
            other.execute("BEGIN IMMEDIATE")
            release = threading.Timer(1.5, other.execute, ["ROLLBACK"])
            release.start()
            ledger.commit(readings((2000, 2.0)))
            release.join()

        assert len(ledger.evidence(SUMP, 0)) == 2
        ledger.close()

    def test_patience_ends_with_the_process(self, tmp_path: Path) -> None:
        """Asked to stop, nobody waits for a store any longer."""
        path = tmp_path / "store.db"
        ledger = Ledger.open(path)
        stopping = threading.Event()
        stopping.set()
        ledger.wait_with(Patience(stopping))
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(StoreUnavailable, match="another program holds it"):
                ledger.commit(Batch(clock=1))
        ledger.close()

    def test_threads_read_while_one_writes(self, tmp_path: Path) -> None:
        """The outbox has connections of its own: it sees what is committed, whenever it looks."""
        ledger = Ledger.open(tmp_path / "store.db")
        sent: list[int] = []

        def send() -> None:
            while len(sent) < 300:
                numbers = [number for number, _ in ledger.unsent(50)]
                ledger.mark_sent(numbers)
                sent.extend(numbers)

        sender = threading.Thread(target=send)
        sender.start()
        for at in range(300):
            ledger.commit(Batch(clock=at, outgoing=[Outgoing("t", b"", retain=False)]))
        sender.join(10.0)

        assert sent == sorted(set(sent))
        assert len(sent) == 300
        assert ledger.unsent(1) == []
        ledger.close()

    def test_a_file_of_another_program_is_left_alone(self, tmp_path: Path) -> None:
        """A database that is not ours, or no database at all."""
        foreign = tmp_path / "foreign.db"
        with closing(sqlite3.connect(foreign)) as other:
            other.execute("CREATE TABLE people (name TEXT)")
        text = tmp_path / "text.db"
        text.write_text("this is a text, and longer than a header would be" * 10)

        with pytest.raises(StoreError, match="some other program's database"):
            Ledger.open(foreign)
        with pytest.raises(StoreError, match="this is no store"):
            Ledger.open(text)
        assert text.read_text().startswith("this is a text")

    def test_a_folder_that_is_missing_is_said(self, tmp_path: Path) -> None:
        """With what to look at."""
        with pytest.raises(StoreUnavailable, match="is its folder there"):
            Ledger.open(tmp_path / "none" / "store.db")

    def test_one_process_holds_a_store(self, tmp_path: Path) -> None:
        """The second one is refused; when the first one is gone it may."""
        path = tmp_path / "store.db"
        with held_alone(path), pytest.raises(StoreError, match="running"), held_alone(path):
            pass
        with held_alone(path):
            pass


class TestMigrations:
    """How an older file becomes a newer one."""

    STEPS = (
        ("CREATE TABLE a (x INTEGER) STRICT", "INSERT INTO a VALUES (1)"),
        ("ALTER TABLE a ADD COLUMN y INTEGER",),
        ("UPDATE a SET y = x + 1",),
    )

    def test_each_step_runs_once_and_in_order(self, tmp_path: Path) -> None:
        """From any version to the newest, with a copy of the file as it was."""
        path = tmp_path / "store.db"
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            migrate(connection, path, self.STEPS[:1])
            migrate(connection, path, self.STEPS)
            migrate(connection, path, self.STEPS)

            assert connection.execute("SELECT * FROM a").fetchall() == [(1, 2)]
            assert connection.execute("PRAGMA user_version").fetchone() == (3,)
        with closing(sqlite3.connect(tmp_path / "store.db.before-2")) as copy:
            assert copy.execute("SELECT * FROM a").fetchall() == [(1,)]
            assert copy.execute("PRAGMA user_version").fetchone() == (1,)

    def test_a_step_that_fails_changes_nothing(self, tmp_path: Path) -> None:
        """The file keeps its version, and the next start tries again."""
        path = tmp_path / "store.db"
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            migrate(connection, path, self.STEPS[:1])
            broken = (self.STEPS[0], ("ALTER TABLE a ADD COLUMN y INTEGER", "NONSENSE"))
            with pytest.raises(sqlite3.OperationalError):
                migrate(connection, path, broken)
            assert connection.execute("PRAGMA user_version").fetchone() == (1,)
            migrate(connection, path, self.STEPS)

            assert connection.execute("SELECT * FROM a").fetchall() == [(1, 2)]

    def test_a_newer_file_is_not_touched(self, tmp_path: Path) -> None:
        """An older millpond does not guess at tables that it does not know."""
        path = tmp_path / "store.db"
        Ledger.open(path).close()
        with closing(sqlite3.connect(path)) as connection:
            connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")

        with pytest.raises(StoreError, match="a newer millpond wrote it"):
            Ledger.open(path)

    def test_a_store_of_the_first_version_is_taken_up_with_all_it_holds(
        self, tmp_path: Path
    ) -> None:
        """Readings, entries and outbox of an old millpond are there after the upgrade, and a copy
        of the file as it was stands beside it."""
        path = tmp_path / "store.db"
        check = Check(at=2000, id="a", kind=CheckKind.PH, value=9.1)
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            migrate(connection, path, MIGRATIONS[:1])
            connection.execute("INSERT INTO signal VALUES (1, ?, 'level')", (SUMP,))
            connection.execute("INSERT INTO reading VALUES (1, 1000, 380.5, 1)")
            connection.execute(
                "INSERT INTO entry VALUES (1, ?, 'a', 2000, 2000, 'check', NULL, ?)",
                (SUMP, json.dumps(dataclasses.asdict(check))),
            )
            connection.execute("INSERT INTO outbox VALUES (7, 't', x'78', 1)")
        ledger = Ledger.open(path)

        assert ledger.evidence(SUMP, 0) == [Reading(1000, Signal.LEVEL, 380.5), check]
        assert ledger.unsent(9) == [(7, Outgoing("t", b"x", retain=True))]
        ledger.housekeep()
        ledger.close()
        with closing(sqlite3.connect(tmp_path / "store.db.before-2")) as copy:
            assert copy.execute("PRAGMA user_version").fetchone() == (1,)
            assert copy.execute("SELECT * FROM reading").fetchall() == [(1, 1000, 380.5, 1)]
