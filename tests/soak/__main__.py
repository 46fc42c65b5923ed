"""The long soak: ``python -m tests.soak [--days N] [--sumps N] [--troubles N]``, as `make soak`."""

import argparse
import sys
import tempfile
from pathlib import Path

from advisor.words import MINUTE
from tests.soak.soaking import Outcome, Soak
from tests.soak.stream import Plan


def main() -> int:
    """Run it and say what came of it; 0 where the books are closed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=365.0)
    parser.add_argument("--sumps", type=int, default=10)
    parser.add_argument("--interval", type=float, default=300.0, help="[s]")
    parser.add_argument("--troubles", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    plan = Plan(
        sumps=options.sumps,
        days=options.days,
        interval=round(options.interval / 60.0 * MINUTE),
        seed=options.seed,
    )
    with tempfile.TemporaryDirectory() as folder:
        outcome = Soak(Path(folder), plan, options.troubles).run()
    print(f"{options.days:g} days of {options.sumps} sumps in {outcome.seconds:.0f} s")
    print(f"sent: {dict(outcome.sent)}")
    print(f"troubles: {dict(outcome.troubles)}")
    for name, series in (
        ("resident memory [MB]", outcome.memory_mb),
        ("store with its log [MB]", outcome.store_mb),
    ):
        print(f"{name}: {_steps(series)}")
    return _closed(outcome)


def _closed(outcome: Outcome) -> int:
    """Say whether the books are closed."""
    for failure in outcome.failures:
        print(f"FAILED: {failure}")
    print("the books are closed" if not outcome.failures else "the books do not close")
    return 1 if outcome.failures else 0


def _steps(series: list[float]) -> str:
    """A series at ten equal steps."""
    return ", ".join(f"{value:.0f}" for value in series[:: max(1, len(series) // 10)])


if __name__ == "__main__":
    sys.exit(main())
