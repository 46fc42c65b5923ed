"""The embedded store: a log of accepted evidence, checkpoints, and an outbox, in SQLite."""

from collections.abc import Sequence
from pathlib import Path
from typing import Self

from advisor.words import Evidence, Instant, Signal
from agent.arrival import Outgoing
from agent.decode.results import Reason, Refusal
from agent.store.batch import Batch


class Ledger:
    """Signatures; the inside follows."""

    @classmethod
    def open(cls, path: Path | None, *, belief_schema: int = 1, backlog_max: Instant = 7 * 86_400_000) -> Self:
        raise NotImplementedError
    def commit(self, batch: Batch) -> None:
        raise NotImplementedError
    def newest(self) -> dict[tuple[str, Signal], Instant]:
        raise NotImplementedError
    def has_reading(self, sump: str, signal: Signal, at: Instant) -> bool:
        raise NotImplementedError
    def has_entry(self, sump: str, id: str) -> bool:
        raise NotImplementedError
    def evidence(self, sump: str, after: Instant) -> list[Evidence]:
        raise NotImplementedError
    def checkpoint(self, sump: str, at: Instant) -> tuple[Instant, bytes] | None:
        raise NotImplementedError
    def drop_checkpoints(self, sump: str, after: Instant) -> None:
        raise NotImplementedError
    def standings(self) -> dict[str, bytes]:
        raise NotImplementedError
    def clock(self) -> Instant | None:
        raise NotImplementedError
    def unsent(self, limit: int) -> list[tuple[int, Outgoing]]:
        raise NotImplementedError
    def mark_sent(self, numbers: Sequence[int]) -> None:
        raise NotImplementedError
    def refusals(self, limit: int) -> list[tuple[Instant, Refusal]]:
        raise NotImplementedError
    def refusal_counts(self) -> dict[Reason, int]:
        raise NotImplementedError
    def close(self) -> None:
        raise NotImplementedError
