"""`millpond water`: what make-up water does to a sump."""

import argparse

_DESCRIPTION = """\
Evaporation leaves the salts of the make-up water behind. Say when hardness and chloride reach what
the fluid stands, with this water, softened (which helps hardness alone) or demineralised, and which
blend never does. Needs no plant, no broker, no sensor."""

_EPILOG = """\
examples:
  millpond water --volume "300 L" --evaporation "15 L" --carry-off "5 L" \\
      --hardness "10 dH" --hardness-limit "600 mg/L" --chloride "25 mg/L" --chloride-limit "90 mg/L"
  millpond water --volume "300 L" --water-loss "19.6 L" --concentrate-loss "0.4 L" \\
      --concentration 8 --hardness "180 mg/L" --hardness-limit "600 mg/L" --nitrate "60 mg/L"

Losses are those of a day. Hardness is as CaCO3: mg/L, ppm, dH, fH or gpg.
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "water",
        help="what make-up water does to a sump",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--volume", required=True, metavar="QUANTITY", help='fluid in the sump: "300 L"'
    )
    for option, said in (
        ("--hardness", 'of the water, as CaCO3: "180 mg/L"'),
        ("--chloride", "of the water"),
        ("--nitrate", "of the water; at most 50 mg/L may go into a sump"),
        ("--hardness-limit", "that the fluid stands"),
        ("--chloride-limit", "that the fluid stands"),
        ("--hardness-now", "in the sump (default: as in a fresh fill with this water)"),
        ("--chloride-now", "in the sump (default: as in a fresh fill with this water)"),
        ("--evaporation", 'in a day: "15 L"'),
        ("--carry-off", "fluid carried off in a day"),
        ("--water-loss", "water lost in a day, in place of the two above"),
        ("--concentrate-loss", "concentrate lost in a day"),
    ):
        parser.add_argument(option, default="", metavar="QUANTITY", help=said)
    parser.add_argument(
        "--concentration", default="", metavar="PCT", help="of the fluid, in %% of the mix"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object instead")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Work it out and print it; the exit code."""
    import json
    from dataclasses import fields

    from agent.makeup import WaterInput, answer, as_json, as_sheet

    found = answer(WaterInput(**{f.name: getattr(options, f.name) for f in fields(WaterInput)}))
    if options.json:
        print(json.dumps(as_json(found), ensure_ascii=False, indent=2))
    else:
        print(as_sheet(found), end="")
    return 0
