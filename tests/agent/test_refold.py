"""A fold that goes far back in the middle of a batch: nothing is stored before all of it is."""

from pathlib import Path

import pytest

from advisor.estimate import SCHEMA
from advisor.words import HOUR, MINUTE
from agent.arrival import Arrival
from agent.deliveries import Deliveries
from agent.inbox import Token
from agent.instants import text_of
from agent.pipeline import Pipeline
from agent.store.ledger import Ledger
from agent.store.patience import Patience
from agent.worker import Worker
from tests.e2e.alarm_recordings import PREFIX, START, SUMP, Recording, a_plant

NOW = START + 3 * HOUR


class Killed(BaseException):
    """The power is gone."""


def deliveries() -> list[tuple[Arrival, Token]]:
    """A report without time and id, then one about two hours ago, which needs the store."""
    late = f'{{"id": "late", "at": "{text_of(NOW - 2 * HOUR)}", "volume_l": 5, "strength_pct": 8}}'
    return [
        (
            Arrival(NOW, f"{PREFIX}/{SUMP}/addition", b'{"volume_l": 20, "strength_pct": 8}'),
            Token(1, 7),
        ),
        (Arrival(NOW, f"{PREFIX}/{SUMP}/addition", late.encode()), Token(1, 8)),
        (Arrival(NOW + 1, "shop/0/level", b"345.2"), Token(1, 9)),
    ]


def again(items: list[tuple[Arrival, Token]]) -> list[tuple[Arrival, Token]]:
    """The same as the broker brings them again, a minute later."""
    return [
        (Arrival(item.at + MINUTE, item.topic, item.payload, False, True), token)
        for item, token in items
    ]


def a_worker(path: Path) -> tuple[Worker, Pipeline, Ledger]:
    """An agent's inner half with a store on disk."""
    ledger = Ledger.open(path, belief_schema=SCHEMA)
    pipeline = Pipeline(a_plant(), ledger)
    import threading

    worker = Worker(None, pipeline, ledger, Patience(threading.Event()))  # type: ignore[arg-type]  # fed by hand
    return worker, pipeline, ledger


@pytest.fixture
def store(tmp_path: Path) -> Path:
    """A store that holds three hours of readings."""
    path = tmp_path / "store.db"
    _, pipeline, ledger = a_worker(path)
    for item in Recording(step=5).hours(2.9).items:
        pipeline.take(item)
    ledger.commit(pipeline.seal())
    ledger.close()
    return path


def reported(ledger: Ledger) -> list[float]:
    """Volumes of the additions that are in the store."""
    found = ledger.evidence(SUMP, 0)
    return sorted(round(e.water + e.concentrate, 3) for e in found if hasattr(e, "concentrate"))


def test_a_kill_after_the_refold_counts_nothing_twice(
    store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The report without time and id is repeated by the broker after the kill: it counts once."""
    worker, _, ledger = a_worker(store)

    def die(*_: object) -> None:
        raise Killed

    monkeypatch.setattr(ledger, "commit", die)
    with pytest.raises(Killed):
        worker.process(deliveries())
    ledger.close()
    monkeypatch.undo()

    worker, _, ledger = a_worker(store)
    assert reported(ledger) == []
    worker.process(again(deliveries()))
    assert reported(ledger) == [5.0, 20.0]
    ledger.close()


def test_a_kill_after_the_commit_counts_nothing_twice(store: Path) -> None:
    """Stored, but not acknowledged: known again by its number."""
    worker, _, ledger = a_worker(store)
    worker.process(deliveries())
    ledger.close()

    worker, _, ledger = a_worker(store)
    worker.process(again(deliveries()))
    assert reported(ledger) == [5.0, 20.0]
    assert len(Deliveries(ledger.deliveries()).fresh()) == 0
    ledger.close()


def test_a_refold_sees_what_is_not_stored_yet(store: Path) -> None:
    """The belief after the batch is that of a fold over all the evidence from the store."""
    worker, pipeline, ledger = a_worker(store)
    worker.process(deliveries())
    during = pipeline.belief(SUMP)
    ledger.close()

    _, pipeline, ledger = a_worker(store)
    assert pipeline.belief(SUMP) == during
    ledger.close()
