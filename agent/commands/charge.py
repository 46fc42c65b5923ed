"""`millpond charge`: how much water and concentrate an emptied sump takes, batch by batch."""

import argparse

from agent.commands import recipe_options

_DESCRIPTION = """\
Work out how to fill an emptied sump: premix in batches, then water, or the weak mix of a fluid
that does not take plain water. Needs no plant, no broker, no sensor."""

_EPILOG = """\
examples:
  millpond charge --volume "420 L" --target 7
  millpond charge --volume "95 gal" --target 6 --convention per-water --premix 4:1 \\
      --bucket "5 gal"
  millpond charge --volume "95 gal" --target 6 --convention per-water --premix 4:1 \\
      --bucket "5 gal" --weak-mix 1

"gal" is the US gallon; write imperial_gallon for the other.
6 parts per 100 of water (per-water) are 5.66 % of the mix (of-mix).
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "charge",
        help="water and concentrate for an emptied sump",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--volume", required=True, metavar="QUANTITY", help='fluid wanted, with its unit: "420 L"'
    )
    recipe_options.add_target(parser)
    recipe_options.add_mixing(parser)
    parser.add_argument(
        "--residue",
        default="",
        metavar="QUANTITY",
        help="what could not be drained: takes up room, its concentrate is not counted",
    )
    recipe_options.add_output(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Work out the charge and print it; the exit code."""
    from agent.calculators import charge
    from agent.sheets import show
    from agent.typed import ChargeInput

    recipe = charge(
        ChargeInput(
            volume=options.volume,
            target=options.target,
            convention=options.convention,
            premix=options.premix,
            bucket=options.bucket,
            weak_mix=options.weak_mix,
            graduation=options.graduation,
            residue=options.residue,
            factor=options.factor,
            price=options.price,
        )
    )
    print(show(recipe, json=options.json))
    return 0
