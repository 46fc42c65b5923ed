"""The live process around an intake that only counts: for tests that kill it.

``python -m tests.failure.counting_agent PORT STORE [OPTIONS]``. Every message on ``in/...`` is a
text ``NUMBER TIME`` and becomes one dated reading; ``PREFIX/seen`` tells its number. ``bug ...`` is
a mistake of the program's own. For ``--plant north`` it listens to ``north/#`` instead.
"""

import argparse
import logging
import sys
from pathlib import Path
from types import MappingProxyType

from advisor.words import Signal
from agent.arrival import Arrival, Outgoing, Tick
from agent.decode.results import Reason, Refusal
from agent.errors import MillpondError
from agent.logs import log_to_stderr
from agent.plant.plant import BrokerSettings, Plant
from agent.run import run_plant
from agent.store.batch import Batch
from agent.store.ledger import Ledger

PREFIX = "millpond/test"
SUMP = "mill-07"


class MistakeError(Exception):
    """Stands for one in the pipeline."""


class Counting:
    """Stores each message as a reading and tells it on."""

    def __init__(self, plant: Plant, _ledger: Ledger) -> None:
        self.filters = ("in/#",) if plant.prefix == PREFIX else ("north/#",)
        self._prefix = plant.prefix
        self._batch = Batch()

    def take(self, item: Arrival | Tick) -> None:
        """One reading, one message."""
        self._batch.clock = item.at
        if isinstance(item, Tick):
            return
        if item.payload.startswith(b"bug"):
            raise MistakeError
        try:
            number, at = map(int, item.payload.split())
        except ValueError:
            refusal = Refusal(item.topic, Reason.NOT_A_NUMBER, "expected NUMBER TIME", "")
            self._batch.refusals.append((item.at, refusal))
            return
        self._batch.readings.append((SUMP, Signal.LEVEL, at, float(number), True))
        self._batch.outgoing.append(Outgoing(f"{self._prefix}/seen", b"%d" % number, retain=False))

    def seal(self) -> Batch:
        """What came since."""
        batch, self._batch = self._batch, Batch()
        return batch


def a_plant(name: str, settings: BrokerSettings, store: Path) -> Plant:
    """A plant without sumps: the intake knows what to do."""
    return Plant(
        id=name,
        name=name,
        units="metric",
        timezone="UTC",
        prefix=f"millpond/{name}",
        broker=settings,
        store=store,
        sumps=MappingProxyType({}),
        bindings=(),
        supplies=MappingProxyType({}),
        vessels=MappingProxyType({}),
    )


def main() -> int:
    """Run; the exit code."""
    parser = argparse.ArgumentParser()
    parser.add_argument("port", type=int)
    parser.add_argument("store", type=Path)
    parser.add_argument("--clock-topic")
    parser.add_argument("--record", type=Path)
    parser.add_argument("--plant", default="test")
    parser.add_argument("--ca", type=Path)
    options = parser.parse_args()
    settings = BrokerSettings(
        host="localhost" if options.ca else "127.0.0.1",
        port=options.port,
        tls=options.ca is not None,
        ca_file=options.ca,
        client_id="millpond-test",
    )
    log_to_stderr()
    try:
        return run_plant(
            a_plant(options.plant, settings, options.store),
            clock_topic=options.clock_topic,
            record=options.record,
            make_intake=Counting,
        )
    except MillpondError as error:
        logging.error("%s", error)  # noqa: LOG015, TRY400  the test reads it as the person would
        return 2


if __name__ == "__main__":
    sys.exit(main())
