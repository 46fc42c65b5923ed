"""`millpond top-up`: what to add to a sump in use."""

import argparse

from agent.commands import recipe_options

_DESCRIPTION = """\
Work out what to add to a sump in use, from what it holds and what it should hold. Where that
cannot be reached by adding, the best that can is given, and what an exchange would take.
Needs no plant, no broker, no sensor."""

_EPILOG = """\
examples:
  millpond top-up --volume "280 L" --concentration 8.43 --to-volume "300 L" --target 8
  millpond top-up --volume "280 L" --concentration 8.43 --to-volume "300 L" --target 8 \\
      --weak-mix 1 --bucket "20 L"
  millpond top-up --volume "300 L" --concentration 10 --to-volume "300 L" --target 8 --exchange

"gal" is the US gallon; write imperial_gallon for the other.
--concentration is what a refractometer shows times its factor, in % of the mix.
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "top-up",
        help="what to add to a sump in use",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--volume", required=True, metavar="QUANTITY", help='fluid in it now: "280 L"'
    )
    parser.add_argument(
        "--concentration", required=True, metavar="PCT", help="of it, in %% of the mix"
    )
    parser.add_argument(
        "--to-volume", required=True, metavar="QUANTITY", help='fluid wanted: "300 L"'
    )
    recipe_options.add_target(parser)
    recipe_options.add_mixing(parser)
    parser.add_argument(
        "--exchange",
        action="store_true",
        help="drain as much as it takes to reach the target (default: only add)",
    )
    parser.add_argument(
        "--disposal", default="", metavar="N", help="cost of getting rid of a litre drained"
    )
    recipe_options.add_output(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Work out the top-up and print it; the exit code."""
    from agent.calculators import top_up
    from agent.typed import TopUpInput

    recipe = top_up(
        TopUpInput(
            volume=options.volume,
            concentration=options.concentration,
            to_volume=options.to_volume,
            target=options.target,
            convention=options.convention,
            premix=options.premix,
            bucket=options.bucket,
            weak_mix=options.weak_mix,
            graduation=options.graduation,
            circulate=options.circulate,
            factor=options.factor,
            price=options.price,
            disposal=options.disposal,
            exchange=options.exchange,
        )
    )
    return recipe_options.show(recipe, options)
