"""`millpond validate`: what the agent understands of a plant file, or all that is wrong with it."""

import argparse

_DESCRIPTION = """\
Read a plant file and say what millpond understands of it, or everything that is wrong: each with
its line, its key, what was found and what was expected. Nothing is started, nothing is written."""

_EPILOG = """\
examples:
  millpond validate north.toml
  millpond validate north.toml --json

exit codes: 0 the file can be used, 2 it cannot
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "validate",
        help="check a plant file",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Check the file; the exit code."""
    import json
    import sys
    from pathlib import Path

    from agent.errors import PlantFileError
    from agent.plant.load import load_plant
    from agent.plant.summary import problem_summary, sheet, summary

    try:
        plant = load_plant(Path(options.plant))
    except PlantFileError as error:
        if options.json:
            sys.stdout.write(json.dumps(problem_summary(error), ensure_ascii=False) + "\n")
        else:
            sys.stderr.write(f"{error}\n")
        return 2
    if options.json:
        sys.stdout.write(json.dumps(summary(plant), ensure_ascii=False) + "\n")
    else:
        sys.stdout.write(sheet(plant) + "\n")
    return 0
