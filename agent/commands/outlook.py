"""`millpond outlook`: what sumps will want if they go on like this."""

import argparse
from typing import TYPE_CHECKING

from agent.commands import recipe_options

if TYPE_CHECKING:
    from agent.outlook.expected import Foreseen

_DESCRIPTION = """\
Look ahead: the next top-up, the strength that holds, what a week takes and costs, for how long the
drums last, what to pour before a weekend or a shutdown and how to start after it, when an idle sump
leaves its band, little and often against once a week, and what the make-up water does.

With PLANT.toml it goes on from what the agent has stored, which may run meanwhile; without, from
what is typed of one sump."""

_EPILOG = """\
examples:
  millpond outlook north.toml
  millpond outlook north.toml mill-07 --from 2026-12-23 --until 2027-01-04
  millpond outlook --volume "280 L" --concentration 8.4 --water-loss "19 L" \\
      --concentrate-loss "0.4 L" --to-volume "300 L" --target 8 --until 2026-03-09

A day without a time is 18:00 for --from and 06:00 for --until; times are the plant's clocks'.
"""

_TYPED = ("volume", "concentration", "water_loss", "concentrate_loss")


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "outlook",
        help="what sumps will want if they go on like this",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", nargs="?", help="the plant file")
    parser.add_argument("sump", metavar="SUMP", nargs="?", help="only this sump of the plant")
    parser.add_argument(
        "--from",
        dest="begin",
        default="",
        metavar="TIME",
        help="when the pumps stop (default: now with --until, else Friday 18:00)",
    )
    parser.add_argument(
        "--until",
        default="",
        metavar="TIME",
        help="when they start again (default: the Monday after, 06:00)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object instead")
    _add_typed(parser)
    parser.set_defaults(run=run)


def _add_typed(parser: argparse.ArgumentParser) -> None:
    """Add what is typed of a sump without a plant."""
    group = parser.add_argument_group("without a plant")
    for option, meta, said in (
        ("--volume", "QUANTITY", 'fluid in it now: "280 L"'),
        ("--concentration", "PCT", "of it, in %% of the mix"),
        ("--water-loss", "QUANTITY", 'water lost in a day: "19 L"'),
        ("--concentrate-loss", "QUANTITY", 'concentrate lost in a day: "0.4 L"'),
        ("--to-volume", "QUANTITY", "fluid wanted (default: what is in it)"),
        ("--low-volume", "QUANTITY", "under this a top-up is due (default: 3/4 of that)"),
        ("--brim-volume", "QUANTITY", "most that it holds (default: the fluid wanted)"),
        ("--target", "N", "concentration wanted (default: what it has)"),
        ("--band", "LOW:HIGH", "allowed, in %% of the mix (default: a quarter around the target)"),
    ):
        group.add_argument(option, default="", metavar=meta, help=said)
    recipe_options.add_convention(group)
    recipe_options.add_mixing(group)
    group.add_argument("--price", default="", metavar="N", help="of a litre of concentrate")
    group.add_argument("--disposal", default="", metavar="N", help="of a litre of used fluid")


def run(options: argparse.Namespace) -> int:
    """Look ahead and print it; the exit code."""
    import json

    from agent.outlook.report import as_json
    from agent.outlook.sheet import as_sheet

    foreseen = _of_plant(options) if options.plant else _typed(options)
    if options.json:
        print(json.dumps(as_json(foreseen), ensure_ascii=False, indent=2))
    else:
        print(as_sheet(foreseen), end="")
    return 0


def _of_plant(options: argparse.Namespace) -> "Foreseen":
    """Go on from the store of a plant."""
    from pathlib import Path

    from agent.errors import MillpondError
    from agent.outlook.gather import foresee
    from agent.plant.load import load_plant

    given = [f"--{name.replace('_', '-')}" for name in _TYPED if getattr(options, name)]
    if given:
        raise MillpondError(f"{given[0]} is for a sump without a plant; leave {options.plant} out")
    plant = load_plant(Path(options.plant))
    return foresee(plant, options.sump, options.begin, options.until)


def _typed(options: argparse.Namespace) -> "Foreseen":
    """Go on from what was typed."""
    from dataclasses import fields

    from agent.clock import WallClock
    from agent.errors import MillpondError
    from agent.outlook.times import standstill_of
    from agent.outlook.typed import OutlookInput, foresee_typed

    missing = [f"--{name.replace('_', '-')}" for name in _TYPED if not getattr(options, name)]
    if missing:
        raise MillpondError(f"give PLANT.toml, or else {' and '.join(missing)}")
    now = WallClock().now()
    times = standstill_of(options.begin, options.until, now, "UTC")
    typed = OutlookInput(**{f.name: getattr(options, f.name) for f in fields(OutlookInput)})
    return foresee_typed(typed, now, times, "UTC")
