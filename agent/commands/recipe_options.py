"""Options that `charge` and `top-up` share."""

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from agent.calculators import Recipe


def add_target(parser: argparse.ArgumentParser) -> None:
    """What the sump should read afterwards."""
    parser.add_argument(
        "--target", required=True, metavar="N", help="concentration wanted, see --convention"
    )
    add_convention(parser)


def add_convention(parser: "argparse._ActionsContainer") -> None:
    """How a target is counted."""
    parser.add_argument(
        "--convention",
        metavar="of-mix|per-water",
        default="of-mix",
        help=(
            "what --target counts: %% of the mix, or parts of concentrate per 100 of water "
            "(default: %(default)s)"
        ),
    )


def add_mixing(parser: "argparse._ActionsContainer") -> None:
    """How it is mixed, and in what."""
    parser.add_argument(
        "--premix",
        default="",
        metavar="RATIO",
        help="strongest mix, water to concentrate, the larger being the water (default: 4:1)",
    )
    parser.add_argument(
        "--weak-mix",
        default="",
        metavar="PCT",
        help="mix used in place of plain water, %% of the mix (default: 0, plain water)",
    )
    parser.add_argument(
        "--bucket", default="", metavar="QUANTITY", help='finished mix of one batch: "20 L"'
    )
    parser.add_argument(
        "--graduation",
        default="",
        metavar="QUANTITY",
        help='marks of the bucket: "0.5 L" (default: any amount can be measured)',
    )
    parser.add_argument(
        "--circulate",
        default="",
        metavar="MINUTES",
        help="how long the pumps run until it is mixed, by the data sheet (default: 30)",
    )


def add_output(parser: argparse.ArgumentParser) -> None:
    """How the answer is shown."""
    parser.add_argument(
        "--factor",
        default="",
        metavar="N",
        help="refractometer factor, %% of the mix per °Brix: says what will be read",
    )
    parser.add_argument(
        "--price", default="", metavar="N", help="of a litre of concentrate: says what it costs"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object instead")
    parser.add_argument(
        "--print",
        dest="page",
        default="",
        metavar="FILE.html",
        help="write a page for the printer too, A4 or Letter",
    )


def show(recipe: "Recipe", options: argparse.Namespace) -> int:
    """Print a recipe as it was asked for, and write its page; the exit code."""
    from pathlib import Path

    from agent.sheets import show

    if options.page:
        from agent.printing import as_page

        Path(options.page).write_text(as_page(recipe), encoding="utf-8")
    print(show(recipe, json=options.json))
    return 0
