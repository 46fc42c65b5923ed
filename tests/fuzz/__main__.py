"""`make fuzz`: atheris looks for bytes that break a promise of `tests.fuzz.targets`.

Each target has a process and a share of the time of its own: libFuzzer ends the process it runs in.
What it found worth keeping stays in the folder, and the next run begins with it.
"""

import argparse
import subprocess
import sys
from pathlib import Path

SHARES = {"message": 0.4, "sparkplug": 0.2, "plant-file": 0.3, "recording": 0.1}
"""Of the whole time. [1]"""
LONGEST = {"message": 4_096, "sparkplug": 2_048, "plant-file": 8_192, "recording": 1_024}
"""Of an input. [bytes]"""


def main() -> int:
    """Run every target for its share, or one of them in this process; the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0, help="in all; default: 60")
    parser.add_argument("--folder", type=Path, default=Path(".fuzz"), help="keeps what was found")
    parser.add_argument("--target", choices=SHARES, help="this one alone, for all of the time")
    options = parser.parse_args()
    if options.target is not None:
        fuzz(options.target, options.folder, options.minutes)
    worst = 0
    for target, share in SHARES.items():
        minutes = share * options.minutes
        print(f"{target}: {minutes:.1f} min", flush=True)
        command = [sys.executable, "-m", "tests.fuzz", "--target", target]
        command += ["--minutes", str(minutes), "--folder", str(options.folder)]
        worst = max(worst, subprocess.run(command, check=False).returncode)
    return worst


def fuzz(target: str, folder: Path, minutes: float) -> None:
    """Fuzz one target; libFuzzer ends the process."""
    import atheris

    with atheris.instrument_imports(include=["agent", "advisor"]):
        from tests.fuzz.targets import TARGETS, seeds
    corpus = folder / target
    corpus.mkdir(parents=True, exist_ok=True)
    for number, octets in enumerate(seeds(target)):
        (corpus / f"seed-{number:03d}").write_bytes(octets)
    arguments = [
        f"-max_total_time={round(60 * minutes)}",
        f"-max_len={LONGEST[target]}",
        f"-artifact_prefix={folder}/{target}-",
        *("-timeout=10", "-rss_limit_mb=2048", "-print_final_stats=1", "-verbosity=1"),
    ]
    atheris.Setup([sys.argv[0], str(corpus), *arguments], TARGETS[target])
    atheris.Fuzz()


if __name__ == "__main__":
    sys.exit(main())
