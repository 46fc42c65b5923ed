"""`millpond demo`: a simulated plant, the agent and a live table, with nothing to set up."""

import argparse


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "demo",
        help="a simulated plant of four sumps with a live table",
        description=(
            "Start an embedded broker, the agent and a simulated plant of four sumps on "
            "accelerated time, each a process of its own, and show a live table. Ctrl-C ends all "
            "of it; nothing is left behind."
        ),
        epilog=(
            "examples:\n"
            "  millpond demo\n"
            "  millpond demo --speed 600 --seconds 60    ten minutes a second, for a minute"
        ),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--speed",
        type=float,
        default=1800.0,
        metavar="N",
        help="simulated seconds a second (default: %(default)g: half an hour a second)",
    )
    parser.add_argument(
        "--seconds", type=float, metavar="S", help="end by itself after so long (default: never)"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run the demonstration; the exit code."""
    from agent.demo import demonstrate

    demonstrate(speed=options.speed, seconds=options.seconds)
    return 0
