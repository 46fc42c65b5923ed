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
  millpond charge --volume "420 L" --target 8 --factor 1.25 --change-out --print charge.html
  millpond charge --volume "420 L" --target 8 --factor 1.25 --check "5.9 degBrix"

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
    parser.add_argument(
        "--hardness",
        default="",
        metavar="QUANTITY",
        help='of the water, as CaCO3: "180 mg/L", "10 dH"; says whether it suits a first fill',
    )
    parser.add_argument(
        "--check",
        default="",
        metavar="READING",
        help='what a refractometer then said, "5.1 degBrix": what to add, or which factor it means',
    )
    parser.add_argument(
        "--change-out",
        action="store_true",
        help="with all the work around it, from skimming the old fluid to checking the new",
    )
    recipe_options.add_output(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Work out the charge and print it; the exit code."""
    from agent.calculators import charge
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
            circulate=options.circulate,
            residue=options.residue,
            factor=options.factor,
            price=options.price,
            hardness=options.hardness,
            check=options.check,
            change_out=options.change_out,
        )
    )
    return recipe_options.show(recipe, options)
