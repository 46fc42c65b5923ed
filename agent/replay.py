"""A recording through the same path as live messages, with its own times as the clock."""

import gc
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import BinaryIO

from advisor.words import HOUR, Instant
from agent.arrival import Arrival, Tick
from agent.pipeline import Pipeline
from agent.plant.plant import Plant
from agent.recording import line_of
from agent.store.ledger import Ledger

COMMIT_EVERY = 1000
"""Lines between two transactions: nothing waits for an acknowledgement here. Housekeeping, hourly
in the live agent, runs at the first of them in each hour of the recording."""
SWEPT_AFTER = 50_000
"""New objects between two looks for rubbish in cycles. [1]"""


def replay(
    plant: Plant, ledger: Ledger, items: Iterable[Arrival | Tick], out: BinaryIO
) -> Pipeline:
    """Write what the agent would have published, in the form of a recording.

    The agent's own messages in the recording are passed over. At a tick the output is flushed and
    the tick echoed, so that a simulator at the other end of a pipe knows that it has everything.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    ledger : Ledger
        Where to begin: an empty one, unless the replay goes on from a stored state.
    items : iterable of Arrival or Tick
        The recording, in order of arrival.
    out : binary file
        Takes the lines.

    Returns
    -------
    pipeline : Pipeline
        As it stands at the end, everything committed to `ledger`.
    """
    pipeline = Pipeline(plant, ledger)
    housekept: Instant = 0
    with _seldom_swept():
        for number, item in enumerate(items, start=1):
            pipeline.take(item)
            if pipeline.published:
                _write(pipeline, out)
            if isinstance(item, Tick):
                out.write(line_of(item))
                out.flush()
            if number % COMMIT_EVERY == 0:
                ledger.commit(pipeline.seal())
                if item.at >= housekept + HOUR:
                    housekept = item.at
                    ledger.housekeep()
    ledger.commit(pipeline.seal())
    out.flush()
    return pipeline


@contextmanager
def _seldom_swept() -> Iterator[None]:
    """Look for rubbish in cycles less often: a replay makes hardly any, and much that stays."""
    usual = gc.get_threshold()
    gc.set_threshold(SWEPT_AFTER, *usual[1:])
    try:
        yield
    finally:
        gc.set_threshold(*usual)


def _write(pipeline: Pipeline, out: BinaryIO) -> None:
    """Write what was decided since the last item, each with the clock at which it was."""
    out.writelines(
        line_of(Arrival(at, message.topic, message.payload, message.retain))
        for at, message in pipeline.published
    )
    pipeline.published.clear()
