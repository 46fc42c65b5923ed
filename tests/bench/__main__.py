"""Run every measurement and print one table: `python -m tests.bench [--markdown] [NAME...]`.

With `--markdown` it writes `docs/benchmarks.md` too.
"""

import os
import platform
import sys
import time

from tests.bench import bench_filter, dosing, ingesting, replaying, starting, storing
from tests.bench.report import PAGE, Machine, page

MEASUREMENTS = {
    "starting": starting.measure,
    "replaying": replaying.measure,
    "filter": bench_filter.measure,
    "ingesting": ingesting.measure,
    "storing": storing.measure,
    "dosing": dosing.measure,
}


def main(arguments: list[str]) -> int:
    """Measure what is named, or everything; the exit code."""
    names = [name for name in arguments if name != "--markdown"]
    unknown = [name for name in names if name not in MEASUREMENTS]
    if unknown:
        print(f"no such measurement: {', '.join(unknown)}; there are {', '.join(MEASUREMENTS)}")
        return 2
    machine = here()
    print(f"{machine.kind}, Python {machine.python}, {machine.system}")
    measured: dict[str, tuple[str, list[tuple[str, str]]]] = {}
    for name in names or MEASUREMENTS:
        print(f"\n{name}")
        measure = MEASUREMENTS[name]
        rows: list[tuple[str, str]] = []
        for what, value in measure():
            print(f"  {what:<58} {value}", flush=True)
            rows.append((what, value))
        about = (sys.modules[measure.__module__].__doc__ or name).split("\n")[0].rstrip(".")
        measured[name] = (about, rows)
    if "--markdown" in arguments:
        PAGE.write_text(page(machine, measured), "utf-8")
    return 0


def here() -> Machine:
    """This machine, now."""
    return Machine(
        kind=platform.machine(),
        system=platform.system(),
        python=platform.python_version(),
        cores=os.cpu_count() or 1,
        load=os.getloadavg()[0],
        day=time.strftime("%-d %B %Y", time.gmtime()),
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
