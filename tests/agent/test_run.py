"""The worker, and how the parts of the live process are put together."""

import threading
from pathlib import Path

import pytest

from agent.arrival import Arrival, Tick
from agent.cli import main
from agent.clock import ManualClock
from agent.errors import StoreUnavailable
from agent.inbox import Inbox, Item, Token
from agent.recording import RecordingWriter, read_recording
from agent.resources import shipped
from agent.store.batch import Batch
from agent.store.lock import held_alone
from agent.store.patience import Patience
from agent.worker import ITEMS_A_BATCH, Worker
from tests.waiting import wait_until


class Notebook:
    """An intake, a ledger and a recorder that note in which order they are used."""

    filters = ("in/#",)

    def __init__(self) -> None:
        self.notes: list[str] = []
        self.trouble: Exception | None = None

    def take(self, item: Arrival | Tick) -> None:
        """One item."""
        self.notes.append(f"take {item.at}")

    def seal(self) -> Batch:
        """What came of them."""
        self.notes.append("seal")
        return Batch(clock=1)

    def commit(self, _batch: Batch) -> None:
        """Store it."""
        if self.trouble is not None:
            raise self.trouble
        self.notes.append("commit")

    def deliveries(self) -> list[bytes]:
        """None yet."""
        return []

    def add(self, items: object) -> None:
        """Put down for the recording."""
        self.notes.append(f"record {len(list(items))}")  # type: ignore[call-overload]  # an iterable

    def flush(self) -> None:
        """Write the recording."""
        self.notes.append("flush")


@pytest.fixture
def notebook() -> Notebook:
    """An empty one."""
    return Notebook()


@pytest.fixture
def worker(notebook: Notebook) -> Worker:
    """One around the notebook, not started."""
    worker = Worker(
        Inbox(ManualClock(1000)),
        notebook,
        notebook,  # type: ignore[arg-type]  # what it uses of a ledger
        Patience(threading.Event()),
    )
    worker.acknowledge = lambda tokens: notebook.notes.append(f"ack {[t.mid for t in tokens]}")
    worker.on_stored = lambda: notebook.notes.append("stored")
    return worker


def items(*numbers: int) -> list[Item]:
    """Messages with these numbers, at these times."""
    return [(Arrival(number, "t", b""), Token(1, number)) for number in numbers]


def test_everything_is_stored_before_anything_is_acknowledged(
    notebook: Notebook, worker: Worker
) -> None:
    """Recording, pipeline, transaction, and only then the acknowledgement and the outbox."""
    worker.recorder = notebook  # type: ignore[assignment]  # what it uses of a recorder
    worker.process([*items(1, 2), (Tick(3), None)])

    assert notebook.notes == [
        "record 3",
        "flush",
        "take 1",
        "take 2",
        "take 3",
        "seal",
        "commit",
        "ack [1, 2]",
        "stored",
    ]


def test_what_could_not_be_stored_is_not_acknowledged(notebook: Notebook, worker: Worker) -> None:
    """The broker brings it again."""
    notebook.trouble = StoreUnavailable(Path("x"), "gone")
    with pytest.raises(StoreUnavailable):
        worker.process(items(1))

    assert notebook.notes == ["take 1", "seal"]


def test_batches_are_bounded(notebook: Notebook, worker: Worker) -> None:
    """A backlog goes in by transactions of a few hundred items."""
    for number in range(ITEMS_A_BATCH + 1):
        worker._inbox.put(Arrival(0, "t", b""), Token(1, number))
    worker.start()
    wait_until(lambda: notebook.notes.count("stored") == 2, "both batches")
    assert worker.stop(10.0)

    assert notebook.notes.index("seal") == ITEMS_A_BATCH
    assert notebook.notes.count("commit") == 2


@pytest.mark.parametrize("place", ["check", "acknowledge", "take"])
def test_whatever_fails_ends_the_worker_and_is_kept(
    notebook: Notebook, worker: Worker, place: str
) -> None:
    """The main thread is told once, and finds what it was."""
    trouble = RuntimeError(place)

    def fail(*_: object) -> None:
        raise trouble

    setattr(notebook if place == "take" else worker, place, fail)
    ended: list[bool] = []
    worker.on_end = lambda: ended.append(True)
    worker._inbox.put(Arrival(0, "t", b""), Token(1, 1))
    worker.start()
    wait_until(lambda: ended, "the worker's end")

    assert ended == [True]
    assert worker.failure is trouble


def test_a_full_disk_under_the_recording_is_waited_for(
    worker: Worker, notebook: Notebook, tmp_path: Path
) -> None:
    """Nothing is taken in, and so nothing acknowledged, before it is recorded."""
    writer = RecordingWriter(tmp_path / "record.jsonl")
    real, tries = writer.flush, 0

    def flush() -> None:
        nonlocal tries
        tries += 1
        if tries < 3:
            raise StoreUnavailable(tmp_path / "record.jsonl", "No space left on device")
        real()

    writer.flush = flush  # type: ignore[method-assign]  # a disk that is full twice
    worker.recorder = writer
    worker.process(items(1))
    writer.close()

    assert tries == 3
    assert notebook.notes[-2:] == ["ack [1]", "stored"]
    with (tmp_path / "record.jsonl").open("rb") as file:
        assert list(read_recording(file)) == [Arrival(1, "t", b"")]


def test_a_filter_is_no_clock_topic(capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong usage is exit code 2, with what was expected."""
    with pytest.raises(SystemExit) as caught:
        main(["run", "north.toml", "--clock-topic", "demo/#"])

    assert caught.value.code == 2
    assert "expected one topic" in capsys.readouterr().err


def test_a_plant_file_that_is_missing_is_wrong_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, and the file's name."""
    assert main(["run", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err


def test_a_store_that_another_agent_holds_is_a_failure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 1: the plant file is right, the moment is wrong."""
    plant_file = tmp_path / "north.toml"
    plant_file.write_bytes(shipped("plant.example.toml").read_bytes())

    with held_alone(tmp_path / "north.db"):
        assert main(["run", str(plant_file)]) == 1
    assert "is millpond running for this plant already?" in capsys.readouterr().err
