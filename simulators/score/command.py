"""The command ``millpond-sim score``: arguments only; the work is imported when needed."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from simulators.errors import SimulatorError

if TYPE_CHECKING:
    from simulators.score.run import Task


def score_verb(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Options of ``score``."""
    score = verbs.add_parser(
        "score", help="score an agent against truth and yardstick", description=_score.__doc__
    )
    score.add_argument(
        "scenarios", nargs="*", metavar="SCENARIO", help="names or files; none: all that are scored"
    )
    score.add_argument("--seeds", type=int, default=3, metavar="N", help="1 to N (default 3)")
    score.add_argument("--days", type=float, metavar="D", help="length, in place of the scenario's")
    score.add_argument("--jobs", type=int, default=1, metavar="J", help="runs at a time")
    score.add_argument("--agent", metavar="COMMAND", help="in place of this environment's agent")
    score.add_argument(
        "--holdup-untold",
        action="store_true",
        help="tell the yardstick no more of the holdup than the plant file does",
    )
    score.add_argument(
        "--update", type=Path, metavar="PAGE", help="put the tables of all into this page as well"
    )
    score.add_argument("--json", action="store_true", help="everything, as JSON")
    score.set_defaults(verb=_score)


def _score(arguments: argparse.Namespace) -> int:
    """Run scenarios through the agent's replay and set what it says against the truth.

    Beside it stand an informed filter, the yardstick, and two naive ways of keeping the book.
    docs/score.md says what every number means. Exit code 1 where a run failed.
    """
    import json

    from simulators.marks import update, updated
    from simulators.score.many import run_all
    from simulators.score.report import report
    from simulators.score.summary import NAME, summary_page, summary_table
    from simulators.score.table import scenario_table

    if arguments.update is not None:
        updated(arguments.update.read_text(encoding="utf-8"), NAME, "", str(arguments.update))
    runs, failures = run_all(_tasks(arguments), arguments.jobs)
    for failure in failures:
        sys.stderr.write(f"millpond-sim: {failure}\n")
    if not runs:
        return 1
    if arguments.update is not None and not failures:
        update(arguments.update, NAME, summary_page(runs))
    if arguments.json:
        sys.stdout.write(json.dumps(report(runs, failures), indent=1, allow_nan=False) + "\n")
        return 1 if failures else 0
    names = list(dict.fromkeys(run.scenario for run in runs))
    if len(names) == 1:
        sys.stdout.write(scenario_table(runs))
    else:
        sys.stdout.write(summary_table(runs))
    return 1 if failures else 0


def _tasks(arguments: argparse.Namespace) -> list["Task"]:
    """Every scenario with every seed.

    Raises
    ------
    SimulatorError
        If a number is out of range or a scenario cannot be read.
    """
    import shlex

    from simulators.prepare import scenario_of
    from simulators.scenario.load import known_scenarios, load
    from simulators.score.run import Task, default_agent

    if not 1 <= arguments.seeds <= 10_000:
        raise SimulatorError(f"--seeds is {arguments.seeds}; expected 1 to 10000")
    if not 1 <= arguments.jobs <= 256:
        raise SimulatorError(f"--jobs is {arguments.jobs}; expected 1 to 256")
    if arguments.days is not None and arguments.days <= 1.0:
        raise SimulatorError(f"--days is {arguments.days:g}; the first day is left out, so above 1")
    names = arguments.scenarios or [path.stem for path in known_scenarios() if load(path).scored]
    for name in names:
        scenario_of(name, arguments.days)
    agent = tuple(shlex.split(arguments.agent)) if arguments.agent else default_agent()
    return [
        Task(name, seed, arguments.days, agent, holdup_told=not arguments.holdup_untold)
        for name in names
        for seed in range(1, arguments.seeds + 1)
    ]
