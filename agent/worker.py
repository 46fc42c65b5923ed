"""The one thread that takes items in: pipeline, transaction, and only then the acknowledgement."""

import logging
import threading
from collections.abc import Callable, Sequence
from typing import Protocol

from agent.arrival import Arrival, Tick
from agent.deliveries import Deliveries
from agent.inbox import Inbox, Item, Token
from agent.recording import RecordingWriter
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from agent.store.patience import Patience

LOG = logging.getLogger("millpond.worker")

ITEMS_A_BATCH = 500
LONGEST_WAIT_S = 1.0
"""How long the worker waits for items before it looks after the other threads."""


class Intake(Protocol):
    """What takes items in: `agent.pipeline.Pipeline`."""

    filters: tuple[str, ...]
    """Topic filters of all that it wants."""

    def take(self, item: Arrival | Tick) -> None:
        """Take in one item; bad input never raises."""

    def seal(self) -> Batch:
        """Give what is to be stored since the last call."""


class Worker:
    """Takes items from the inbox until stopped, or until something fails.

    Nothing is acknowledged before it is stored, so whatever ends the thread loses nothing: the
    broker brings again what was not acknowledged.

    Parameters
    ----------
    inbox : Inbox
        Where items come from.
    pipeline : Intake
        Takes them in.
    ledger : Ledger
        Stores what came of them.
    patience : Patience
        Waits for a disk that is full.
    """

    def __init__(self, inbox: Inbox, pipeline: Intake, ledger: Ledger, patience: Patience) -> None:
        self._inbox = inbox
        self._pipeline = pipeline
        self._ledger = ledger
        self._patience = patience
        self._stopping = threading.Event()
        self._deliveries = Deliveries(ledger.deliveries())
        self.recorder: RecordingWriter | None = None
        self.acknowledge: Callable[[Sequence[Token]], None] = lambda _tokens: None
        self.on_stored: Callable[[], None] = lambda: None
        """Called after each transaction."""
        self.on_committed: Callable[[Batch], None] = lambda _batch: None
        """Called with what each transaction wrote, after `on_stored`; it must not raise."""
        self.count: Callable[[Batch], None] = lambda _batch: None
        """Called with the same, to count it."""
        self.check: Callable[[], None] = lambda: None
        """Called at least every second; what it raises ends the worker."""
        self.failure: BaseException | None = None
        """What ended the thread, if something did."""
        self.on_end: Callable[[], None] = lambda: None
        self._thread = threading.Thread(target=self._run, name="millpond-worker", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, timeout: float) -> bool:
        """End the thread after the batch it is at; whether it ended within `timeout` [s]."""
        self._stopping.set()
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def _run(self) -> None:
        """Work; a failure is left where the main thread sees it."""
        try:
            while not self._stopping.is_set():
                items = self._inbox.take(ITEMS_A_BATCH, LONGEST_WAIT_S)
                if items:
                    self.process(items)
                self.check()
        except BaseException as error:  # noqa: BLE001  told to the main thread, which ends the process
            self.failure = error
        finally:
            self.on_end()

    def replace_intake(self, intake: Intake) -> None:
        """Take items in by another one from now on; on the worker's thread, between batches."""
        self._pipeline = intake

    def process(self, items: Sequence[Item]) -> None:
        """Take items in, store what came of them, then acknowledge them."""
        new = [item for item, token in items if not self._is_repeat(item, token)]
        if self.recorder is not None:
            self.recorder.add(new)
            self._patience.insist(self.recorder.flush)
        for item in new:
            self._pipeline.take(item)
        batch = self._pipeline.seal()
        batch.deliveries = self._deliveries.fresh()
        self._ledger.commit(batch)
        self.acknowledge([token for _, token in items if token is not None])
        self.count(batch)
        self.on_stored()
        self.on_committed(batch)

    def _is_repeat(self, item: Arrival | Tick, token: Token | None) -> bool:
        """Whether this very delivery is stored already: its acknowledgement was lost."""
        return (
            token is not None
            and isinstance(item, Arrival)
            and self._deliveries.is_repeat(item, token)
        )
