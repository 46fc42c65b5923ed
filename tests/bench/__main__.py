"""Run every measurement and print one table: `python -m tests.bench [NAME...]`."""

import platform
import sys

from tests.bench import bench_filter, dosing, ingesting, replaying, starting, storing

MEASUREMENTS = {
    "starting": starting.measure,
    "replaying": replaying.measure,
    "filter": bench_filter.measure,
    "ingesting": ingesting.measure,
    "storing": storing.measure,
    "dosing": dosing.measure,
}


def main(names: list[str]) -> int:
    """Measure what is named, or everything; the exit code."""
    unknown = [name for name in names if name not in MEASUREMENTS]
    if unknown:
        print(f"no such measurement: {', '.join(unknown)}; there are {', '.join(MEASUREMENTS)}")
        return 2
    print(f"{platform.machine()}, Python {platform.python_version()}, {platform.system()}")
    for name in names or MEASUREMENTS:
        print(f"\n{name}")
        for what, value in MEASUREMENTS[name]():
            print(f"  {what:<58} {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
