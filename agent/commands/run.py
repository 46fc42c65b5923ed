"""`millpond run`: the live agent of one plant."""

import argparse

_DESCRIPTION = """\
Listen to a plant's broker, keep the balance of its sumps, and publish states, advice and alarms,
until Ctrl-C or SIGTERM. The broker's user and password come from MILLPOND_BROKER_USER and
MILLPOND_BROKER_PASSWORD, or from files named by the same names with _FILE at the end."""

_EPILOG = """\
examples:
  millpond run north.toml
  millpond run north.toml --record monday.jsonl
  millpond run demo.toml --clock-topic demo/clock

A broker that is away is tried again, for ever. The plant file is read
again when it changes, and on SIGHUP; one with mistakes is told with all of them, and what was read
before stays. Stopped and started again, millpond goes on as if
it had not stopped: the broker keeps what arrives meanwhile. With --clock-topic, what arrives
before the clock's first tick gets that tick's time.
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "run",
        help="run the agent of a plant",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    parser.add_argument(
        "--clock-topic",
        metavar="TOPIC",
        type=_topic,
        help="RFC 3339 times on this topic are the clock, instead of the machine's",
    )
    parser.add_argument(
        "--record",
        metavar="FILE",
        help="keep a recording of all that arrives, at the end of FILE; for millpond replay",
    )
    parser.add_argument(
        "--log",
        choices=("plain", "json"),
        help="lines for people, or one JSON object a line; default: what the plant file says",
    )
    parser.set_defaults(run=run)


def _topic(text: str) -> str:
    """Accept a topic, refuse a filter."""
    if not text or "+" in text or "#" in text:
        raise argparse.ArgumentTypeError(f"{text!r}: expected one topic, without + and #")
    return text


def run(options: argparse.Namespace) -> int:
    """Run the agent; the exit code."""
    import os
    from pathlib import Path

    from agent.logs import log_to_stderr
    from agent.plant.load import load_plant
    from agent.run import run_plant
    from agent.secrets import known_secrets

    plant = load_plant(Path(options.plant))
    log_to_stderr(options.log or plant.operation.log, known_secrets(os.environ))
    return run_plant(
        plant,
        clock_topic=options.clock_topic,
        record=None if options.record is None else Path(options.record),
        plant_file=Path(options.plant),
    )
