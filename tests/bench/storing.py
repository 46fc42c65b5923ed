"""A year of readings in the store: its size, what keeping it costs, and how fast charts come.

One sump with two signals is stored reading by reading for the whole year, forgetting as it goes; a
plant of fifty is fifty times that, since every table is ordered by signal first. What is measured
and what is reckoned from it is said in each line.
"""

import math
import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from advisor.words import DAY, HOUR, MINUTE, Estimate, Losses, Signal, SumpState
from agent.plant.plant import Keeping
from agent.store.batch import Batch
from agent.store.history import History, history_row
from agent.store.ledger import Ledger

START = 1_772_409_600_000
INTERVAL = 10_000
DAYS = 365
SUMPS = 50
SUMP = "mill-07"


def measure() -> Iterator[tuple[str, str]]:
    """Store a year, ask for charts."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "store.db"
        ledger = Ledger.open(path, keeping=Keeping())
        began, keeping, readings = time.perf_counter(), 0.0, 0
        for day in range(DAYS):
            for batch in _day(START + day * DAY):
                readings += len(batch.readings)
                ledger.commit(batch)
            start = time.perf_counter()
            ledger.housekeep()
            keeping += time.perf_counter() - start
        took = time.perf_counter() - began - keeping
        size = path.stat().st_size / 1e6
        yield (
            f"{readings / 1e6:.1f} million readings stored, with the states of minutes",
            f"{readings / took:,.0f} readings/s",
        )
        yield (
            "housekeeping for a day's readings of one sump",
            f"{1000 * keeping / DAYS:.0f} ms; of {SUMPS} (reckoned) {SUMPS * keeping / DAYS:.1f} s",
        )
        yield "file after a year, one sump, measured", f"{size:.1f} MB"
        yield f"file after a year, {SUMPS} sumps, reckoned", f"{SUMPS * size / 1000:.2f} GB"
        yield from _charts(ledger)
        ledger.close()


def _day(start: int) -> Iterator[Batch]:
    """A day's readings and states, an hour at a time."""
    for hour in range(start, start + DAY, HOUR):
        readings = []
        for at in range(hour, hour + HOUR, INTERVAL):
            wave = math.sin(at / 7e5)
            readings.append((SUMP, Signal.LEVEL, at, round(380.0 + 20.0 * wave, 2), True))
            readings.append((SUMP, Signal.BRIX, at + 5, round(6.4 + 0.2 * wave, 3), True))
        history = [
            (SUMP, row)
            for at in range(hour, hour + HOUR, MINUTE)
            if (row := history_row(_state(at))) is not None
        ]
        yield Batch(readings=readings, history=history, clock=hour + HOUR)


def _state(at: int) -> SumpState:
    """A state with every number told."""
    known = Estimate(312.4 + math.sin(at / 1e6), 1.9)
    losses = Losses(
        window_h=24.0, water=known, concentrate=known, evaporation=known, carry_off=known
    )
    return SumpState(
        at=at,
        volume=known,
        concentration=Estimate(0.0762, 0.0008),
        correlation=0.0,
        rest_depth=None,
        holdup=None,
        running=True,
        losses=losses,
        lost=None,
        added=None,
        drained=None,
        qualities={},
        last_seen={},
        charging=False,
        events=(),
        events_since=at,
    )


def _charts(ledger: Ledger) -> Iterator[tuple[str, str]]:
    """How long a chart's data takes, from its range to its points."""
    end = START + DAYS * DAY
    history = History(ledger._database)
    for name, length in (
        ("an hour", HOUR),
        ("a day", DAY),
        ("a week", 7 * DAY),
        ("14 days", 14 * DAY),
        ("16 days", 16 * DAY),
        ("a month", 31 * DAY),
        ("a quarter", 92 * DAY),
        ("a year", 365 * DAY),
    ):
        for what, points in (
            ("readings", lambda b: ledger.series.points(SUMP, Signal.LEVEL, b, end)),
            ("states", lambda b: history.series(SUMP, b, end)),
        ):
            took, used, count = [], [], 0
            for _ in range(7):
                start, cpu = time.perf_counter(), time.process_time()
                count = len(points(end - length))
                took.append(time.perf_counter() - start)
                used.append(time.process_time() - cpu)
            clock, cpu = (1000.0 * statistics.median(times) for times in (took, used))
            yield (
                f"chart of {name} of {what}, {count} points, medians of 7",
                f"{clock:.1f} ms, processor time {cpu:.1f} ms",
            )
