"""What a reading costs from a recording's line to the published messages, store included."""

import io
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from random import Random

from agent.arrival import Arrival
from agent.plant.load import load_plant
from agent.recording import line_of, read_recording
from agent.replay import replay
from agent.store.ledger import Ledger
from tests.bench.plants import ten_sumps

START = 1_772_431_200_000
ROUNDS = 3


def measure() -> Iterator[tuple[str, str]]:
    """Ten sumps with level and Brix, from a reading a second to one in five minutes.

    Each sump's state is told and kept once a minute, whatever comes: that costs as much as a
    few readings, so that the sparser the readings are, the more of it each of them bears.
    """
    for interval_s, hours in ((1, 1), (5, 4), (10, 6), (60, 24), (300, 24 * 4)):
        lines = _recording(interval_s, hours)
        best = min(_run(lines) for _ in range(ROUNDS))
        parse = min(_parse(lines) for _ in range(ROUNDS))
        each, alone = best * 1e6 / len(lines), parse * 1e6 / len(lines)
        yield (
            f"replay, a reading each {interval_s} s, {len(lines)} readings",
            f"{each:.1f} µs a reading, of which reading the line {alone:.1f} µs",
        )


def _recording(interval_s: int, hours: int) -> list[bytes]:
    """Lines of ten sumps that lose a little, with the noise that sensors have."""
    noise = Random(7)
    lines = []
    for step in range(hours * 3600 // interval_s):
        at = START + 1000 * interval_s * step
        days = interval_s * step / 86400
        for sump in range(10):
            level = 380.0 - 18.0 * days % 150 + noise.gauss(0.0, 1.0)
            brix = 6.4 + 0.05 * days + noise.gauss(0.0, 0.05)
            lines.append(_line(at + 17 * sump, f"bench/{sump}/level", level))
            lines.append(_line(at + 17 * sump + 5, f"bench/{sump}/brix", brix))
    return lines


def _line(at: int, topic: str, value: float) -> bytes:
    """One bare reading."""
    return line_of(Arrival(at, topic, f"{value:.2f}".encode()))


def _run(lines: list[bytes]) -> float:
    """Seconds of the processor for the whole recording."""
    with tempfile.TemporaryDirectory() as folder:
        plant = load_plant(ten_sumps(Path(folder), 1883))
        ledger = Ledger.open(None)
        began = time.process_time()
        replay(plant, ledger, read_recording(lines), io.BytesIO())
        took = time.process_time() - began
        ledger.close()
    return took


def _parse(lines: list[bytes]) -> float:
    """Seconds of the processor for reading the lines alone."""
    began = time.process_time()
    for _ in read_recording(lines):
        pass
    return time.process_time() - began
