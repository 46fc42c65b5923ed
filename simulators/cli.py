"""The command line of the simulator: arguments only; the work is imported when needed."""

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TextIO

from simulators.errors import SimulatorError
from simulators.score.command import score_verb

Verb = Callable[[argparse.Namespace], int]

_EXAMPLES = """\
examples:
  millpond-sim list
  millpond-sim run demo --broker mqtt://127.0.0.1:1883 --clock-topic demo/clock --speed 600
  millpond-sim record quiet-week --seed 3 --out rec.jsonl --truth truth.jsonl --plant plant.toml
  millpond-sim plot quiet-week --seed 3 --out quiet-week.svg

exit codes: 0 done, 1 failed, 2 wrong usage or input"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; exit code 0, 1 or 2."""
    arguments = _parser().parse_args(argv)
    verb: Verb = arguments.verb
    try:
        return verb(arguments)
    except SimulatorError as error:
        print(f"millpond-sim: {error}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()  # the reader has gone; nothing more to say to it
        return 1
    except OSError as error:
        print(f"millpond-sim: {error}", file=sys.stderr)
        return 1


def _parser() -> argparse.ArgumentParser:
    """All commands and options."""
    parser = argparse.ArgumentParser(
        prog="millpond-sim",
        description="A simulated plant of machine-tool sumps, with its people and its troubles.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _run_verb(verbs)
    _record_verb(verbs)
    _plot_verb(verbs)
    _close_verb(verbs)
    _small_verbs(verbs)
    score_verb(verbs)
    return parser


def _scenario(parser: argparse.ArgumentParser) -> None:
    """Which scenario, and which seed."""
    parser.add_argument("scenario", help="name of a scenario that comes along, or a TOML file")
    parser.add_argument("--seed", type=int, default=1, help="of all randomness (default 1)")
    parser.add_argument("--days", type=float, help="length, in place of the scenario's [d]")


def _run_verb(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Options of ``run``."""
    run = verbs.add_parser("run", help="publish live over MQTT", description=_run.__doc__)
    _scenario(run)
    run.add_argument("--broker", default="mqtt://127.0.0.1:1883", metavar="URL")
    run.add_argument("--clock-topic", metavar="TOPIC", help="publish the simulated time here")
    run.add_argument(
        "--speed", type=float, default=1.0, help="simulated over real time; 0: as fast as it goes"
    )
    run.add_argument("--now", action="store_true", help="begin at the present moment instead")
    run.add_argument("--endless", action="store_true", help="go on after the scenario's end")
    run.add_argument("--ca-file", type=Path, help="certificate authority of the broker")
    run.add_argument("--truth", type=Path, metavar="FILE", help="write the truth here")
    run.set_defaults(verb=_run)


def _record_verb(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Options of ``record``."""
    record = verbs.add_parser("record", help="write a recording", description=_record.__doc__)
    _scenario(record)
    record.add_argument("--out", type=Path, required=True, metavar="FILE", help="- is output")
    record.add_argument("--truth", type=Path, metavar="FILE")
    record.add_argument("--plant", type=Path, metavar="FILE", help="write the plant file too")
    record.set_defaults(verb=_record)


def _plot_verb(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Options of ``plot``."""
    plot = verbs.add_parser("plot", help="draw truth and readings", description=_plot.__doc__)
    _scenario(plot)
    plot.add_argument("--out", type=Path, required=True, metavar="FILE", help="SVG; - is output")
    plot.set_defaults(verb=_plot)


def _close_verb(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Options of ``close``."""
    close = verbs.add_parser("close", help="play to an agent", description=_close.__doc__)
    _scenario(close)
    close.add_argument("--agent", metavar="COMMAND", help="in place of the millpond beside this")
    close.add_argument("--recording", type=Path, metavar="FILE", help="keep what the plant said")
    close.add_argument("--out", type=Path, metavar="FILE", help="keep what the agent published")
    close.add_argument("--truth", type=Path, metavar="FILE")
    close.add_argument(
        "--compare",
        action="store_true",
        help="beside it: perfect knowledge, and a weekly top-up by hand",
    )
    close.add_argument("--json", action="store_true", help="the summary as JSON")
    close.set_defaults(verb=_close)


def _small_verbs(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Options of ``plant``, ``list`` and ``table``."""
    plant = verbs.add_parser("plant", help="print the plant file", description=_plant.__doc__)
    plant.add_argument("scenario")
    plant.add_argument("--broker", default="mqtt://127.0.0.1:1883", metavar="URL")
    plant.set_defaults(verb=_plant)
    listing = verbs.add_parser("list", help="list the scenarios", description=_list.__doc__)
    listing.set_defaults(verb=_list)
    table = verbs.add_parser("table", help="the docs' table", description=_table.__doc__)
    table.add_argument("--update", type=Path, metavar="FILE", help="put it into this page")
    table.set_defaults(verb=_table)


def _run(arguments: argparse.Namespace) -> int:
    """Publish a scenario live over MQTT 5, in real or accelerated time.

    User and password come from MILLPOND_BROKER_USER and MILLPOND_BROKER_PASSWORD. At the end it
    says on the error stream how many messages the broker took, how fast, and what they cost.
    """
    import signal
    import threading

    from simulators.live import LiveSettings, play
    from simulators.prepare import floor_of

    floor = floor_of(arguments.scenario, arguments.seed, arguments.days, now=arguments.now)
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda _number, _frame: stop.set())
    settings = LiveSettings(
        broker=arguments.broker,
        clock_topic=arguments.clock_topic,
        speed=arguments.speed,
        user=os.environ.get("MILLPOND_BROKER_USER"),
        password=os.environ.get("MILLPOND_BROKER_PASSWORD"),
        ca_file=arguments.ca_file,
        endless=arguments.endless,
    )
    before = os.times()
    with _optional(arguments.truth) as truth:
        sent = play(floor, settings, stop, truth)
    sys.stderr.write(f"millpond-sim: {_effort(sent, before, os.times())}\n")
    return 0


def _optional(path: Path | None) -> AbstractContextManager[TextIO | None]:
    """A file to write to, or nothing."""
    return nullcontext() if path is None else path.open("w", encoding="utf-8")


def _effort(messages: int, before: os.times_result, after: os.times_result) -> str:
    """How many messages in what time, and the processor's time for each."""
    passed = max(after.elapsed - before.elapsed, 1e-3)
    busy = after.user + after.system - before.user - before.system
    each = 1e6 * busy / messages if messages else 0.0
    return (
        f"{messages} messages in {passed:.1f} s, {messages / passed:.0f} a second, "
        f"{each:.0f} µs of CPU each"
    )


def _record(arguments: argparse.Namespace) -> int:
    """Write a recording of a scenario, and the truth and the plant file beside it."""
    from contextlib import ExitStack

    from simulators.plant_file import plant_toml
    from simulators.prepare import floor_of
    from simulators.record import record

    floor = floor_of(arguments.scenario, arguments.seed, arguments.days)
    if arguments.plant is not None:
        arguments.plant.write_text(plant_toml(floor.scenario), encoding="utf-8")
    with ExitStack() as files:
        out = sys.stdout
        if str(arguments.out) != "-":
            out = files.enter_context(arguments.out.open("w", encoding="utf-8"))
        record(floor, out, files.enter_context(_optional(arguments.truth)))
    return 0


def _plot(arguments: argparse.Namespace) -> int:
    """Draw truth against readings as SVG."""
    from simulators.plot import sketch
    from simulators.prepare import floor_of

    drawing = sketch(floor_of(arguments.scenario, arguments.seed, arguments.days))
    if str(arguments.out) == "-":
        sys.stdout.write(drawing)
    else:
        arguments.out.write_text(drawing, encoding="utf-8")
    return 0


def _close(arguments: argparse.Namespace) -> int:
    """Play a scenario to an agent's replay; its stations and people do what the agent says."""
    import json
    import shlex
    from contextlib import ExitStack

    from simulators.close import Files, close_loop, default_agent, summary
    from simulators.prepare import floor_of

    floor = floor_of(arguments.scenario, arguments.seed, arguments.days)
    agent = shlex.split(arguments.agent) if arguments.agent else default_agent()
    with ExitStack() as opened:
        recording, published, truth = (
            opened.enter_context(_optional(path))
            for path in (arguments.recording, arguments.out, arguments.truth)
        )
        rows = summary(floor, close_loop(floor, agent, Files(recording, published, truth)))
    if arguments.compare:
        from simulators.close import compared
        from simulators.rivals import RIVALS, play_by

        for kind in RIVALS:
            other = floor_of(arguments.scenario, arguments.seed, arguments.days)
            rows += summary(other, play_by(other, kind), kind)
        rows += compared(rows)
    if arguments.json:
        sys.stdout.write(json.dumps(rows, indent=1) + "\n")
        return 0
    for row in rows:
        sys.stdout.write("  ".join(f"{key} {value}" for key, value in row.items()) + "\n")
    return 0


def _plant(arguments: argparse.Namespace) -> int:
    """Print the plant file of a scenario: what the plant believes about itself."""
    from simulators.plant_file import plant_toml
    from simulators.scenario.load import find, load

    sys.stdout.write(plant_toml(load(find(arguments.scenario)), arguments.broker))
    return 0


def _list(_arguments: argparse.Namespace) -> int:
    """List the scenarios that come with the program."""
    from simulators.scenario.load import known_scenarios, load

    for path in known_scenarios():
        sys.stdout.write(f"{path.stem:24} {load(path).title}\n")
    return 0


def _table(arguments: argparse.Namespace) -> int:
    """Print the table of scenarios in Markdown, or bring the one in a page up to date."""
    from simulators.catalogue import NAME, table
    from simulators.marks import update

    if arguments.update is not None:
        update(arguments.update, NAME, table())
    else:
        sys.stdout.write(table() + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
