"""The command line `millpond`: arguments only. Each command's work is imported when it runs."""

import argparse
import sys
from collections.abc import Sequence

from agent.commands import (
    alarms,
    backfill,
    changes,
    charge,
    demo,
    doctor,
    export,
    outlook,
    replay,
    run,
    top_up,
    user,
    validate,
    watch,
    water,
)
from agent.version import VERSION

FAILED, WRONG_USE = 1, 2

_EPILOG = """\
examples:
  millpond charge --volume "420 L" --target 7 --premix 5:1 --bucket "20 L"
  millpond top-up --volume "280 L" --concentration 8.4 --to-volume "300 L" --target 8
  millpond outlook north.toml
  millpond validate north.toml
  millpond run north.toml
  millpond demo

exit codes: 0 done, 1 failed, 2 wrong usage or input
"""


def parser() -> argparse.ArgumentParser:
    """All commands with their options."""
    top = argparse.ArgumentParser(
        prog="millpond",
        description="Keeps the sumps of a machine shop full and at the right concentration.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"millpond {VERSION}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    making = (charge, top_up, outlook, water)
    running = (validate, doctor, run, alarms, changes, user, replay, watch, export, backfill, demo)
    for command in (*making, *running):
        command.add(commands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code of the process."""
    options = parser().parse_args(arguments)
    from agent.errors import MillpondError

    try:
        return int(options.run(options))
    except MillpondError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        # Whoever read the output has enough; Python would complain at exit.
        sys.stdout = sys.stderr
        return FAILED
    except OSError as error:
        if error.filename is None:
            raise
        print(f"{error.filename}: {error.strerror}", file=sys.stderr)
        return WRONG_USE
    except KeyboardInterrupt:
        return FAILED
