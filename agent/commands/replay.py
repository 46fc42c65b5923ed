"""`millpond replay`: what the agent would have published, from a recording."""

import argparse

_DESCRIPTION = """\
Run a recording through the agent, with the recording's times as the clock, and write what it
would have published, in the form of a recording. The same input gives the same bytes. The plant's
own store is left alone."""

_EPILOG = """\
examples:
  millpond replay north.toml monday.jsonl --out told.jsonl
  zcat monday.jsonl.gz | millpond replay north.toml - --out -

A recording is a text file with one JSON object a line, in order of arrival:
  {"at": "2026-03-02T06:00:00Z", "topic": "north/mill-07/level", "payload": "412.5"}
A line with "at" alone moves the clock: timers run, output is flushed, the line is echoed.
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "replay",
        help="run a recording through the agent",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    parser.add_argument("recording", metavar="RECORDING", help="the recording; - is standard input")
    parser.add_argument(
        "--out", metavar="FILE", default="-", help="where to write; - (default) is standard output"
    )
    parser.add_argument(
        "--state",
        metavar="FILE.db",
        help="go on from this store and leave the new state there (default: from an empty state)",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run the recording; the exit code."""
    import sys
    from contextlib import ExitStack
    from pathlib import Path

    from advisor.estimate import SCHEMA
    from agent.plant.load import load_plant
    from agent.recording import read_recording
    from agent.replay import replay
    from agent.store.ledger import Ledger

    plant = load_plant(Path(options.plant))
    with ExitStack() as stack:
        source = (
            sys.stdin.buffer
            if options.recording == "-"
            else stack.enter_context(Path(options.recording).open("rb"))
        )
        out = (
            sys.stdout.buffer
            if options.out == "-"
            else stack.enter_context(Path(options.out).open("wb"))
        )
        ledger = Ledger.open(
            None if options.state is None else Path(options.state),
            belief_schema=SCHEMA,
            backlog_max=plant.backlog_max_ms,
        )
        stack.callback(ledger.close)
        replay(plant, ledger, read_recording(source), out)
    return 0
