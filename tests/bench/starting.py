"""How long until the command line answers and the agent listens, and how much memory it takes."""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.plants import ten_sumps
from tests.brokers import a_mosquitto
from tests.clients import a_gateway
from tests.e2e.plant_north import ROOT, running_agent
from tests.waiting import wait_until

HELP_RUNS = 7
READINGS = 60


def measure() -> Iterator[tuple[str, str]]:
    """`millpond --help`; start of an agent with ten sumps; its memory with an hour of readings."""
    yield "millpond --help, median of 7", f"{_help_seconds():.2f} s"
    with tempfile.TemporaryDirectory() as folder, a_mosquitto(Path(folder) / "broker") as broker:
        plant = ten_sumps(Path(folder), broker.port)
        began = time.perf_counter()
        with running_agent(plant) as agent:
            yield "agent with ten sumps, start to connected", f"{time.perf_counter() - began:.2f} s"
            with a_gateway(broker.port) as gateway:
                for number in range(READINGS):
                    for sump in range(10):
                        gateway.send(f"bench/{sump}/level", f"{300 - 0.01 * number}")
                        gateway.send(f"bench/{sump}/brix", "6.4")
                gateway.wait()
                wait_until(lambda: _stored(plant) >= 20 * READINGS, "the readings in the store", 30)
                # The solver loads with the first advice, at the end of a minute.
                wait_until(lambda: _advised(plant) >= 10, "the first advice", 90)
            yield (
                "its resident memory after the first advice",
                f"{_resident_mb(agent.process.pid):.0f} MB",
            )


def _help_seconds() -> float:
    """Seconds until the help is printed."""
    runs = []
    for _ in range(HELP_RUNS):
        began = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "agent", "--help"], cwd=ROOT, check=True, capture_output=True
        )
        runs.append(time.perf_counter() - began)
    return statistics.median(runs)


def _resident_mb(pid: int) -> float:
    """Resident memory of a process, as Linux counts it. [MB]"""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(float(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


def _stored(plant: Path) -> int:
    """Readings in the store."""
    return _count(plant, "SELECT count(*) FROM reading")


def _advised(plant: Path) -> int:
    """Sumps that have been judged."""
    return _count(plant, "SELECT count(*) FROM standing")


def _count(plant: Path, query: str) -> int:
    """One number out of the store."""
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(plant.with_name("bench.db"))) as store:
        return int(store.execute(query).fetchone()[0])
