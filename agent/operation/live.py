"""What the running process knows of itself beside the store."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from advisor.words import Instant
from agent.operation.pulse import Pulse
from agent.store.batch import Batch


@dataclass(slots=True)
class Live:
    """Read by any thread; the counters are the worker's."""

    started: Instant
    """When this run began, by the machine's clock. [ms]"""
    is_connected: Callable[[], bool]
    """Whether the broker can be reached."""
    in_queue: Callable[[], int]
    """Messages that wait for the worker. [1]"""
    pulse: Pulse = field(default_factory=Pulse)
    transactions: int = 0
    readings: int = 0
    unused: int = 0
    reports: int = 0
    published: int = 0
    """Since the start. [1]"""
    cpu_seconds: Callable[[], float] = time.process_time

    def count(self, batch: Batch) -> None:
        """Count what a transaction wrote; on the worker's thread."""
        self.transactions += 1
        self.readings += len(batch.readings)
        self.unused += sum(not used for *_, used in batch.readings)
        self.reports += len(batch.entries)
        self.published += len(batch.outgoing)
