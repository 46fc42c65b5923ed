"""`millpond watch`: a live table of a plant in the terminal."""

import argparse


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "watch",
        help="a live table of all sumps in the terminal",
        description=(
            "Listen to what the agent publishes and show each sump's volume, concentration, "
            "losses, what to do now, and alarms. It only listens; Ctrl-C ends it."
        ),
        epilog="example:\n  millpond watch north.toml",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Show the table; the exit code."""
    from pathlib import Path

    from agent.plant.load import load_plant
    from agent.watch import watch

    watch(load_plant(Path(options.plant)))
    return 0
