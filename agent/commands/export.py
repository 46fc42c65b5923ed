"""`millpond export`: what the store keeps, as a table in a file."""

import argparse

_DESCRIPTION = """\
Write what the plant's store keeps of a range of time to a file: readings (each one while it is
kept, before that lowest, highest and mean of its minute or hour), states, events, what people
reported, or alarms. The agent may run meanwhile. Values are in the units inside: mm, L, fractions,
degBrix, degC."""

_EPILOG = """\
examples:
  millpond export north.toml --from 2026-03-01T00:00:00Z --to 2026-04-01T00:00:00Z --out march.csv
  millpond export north.toml --what alarms --sump mill-07 --out alarms.csv
  millpond export north.toml --format parquet --out all.parquet

Parquet needs the package pyarrow: pip install "millpond[export]".
"""

TABLES = ("readings", "states", "events", "reports", "alarms")


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "export",
        help="write what the store keeps to a file",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    parser.add_argument("--from", dest="begin", metavar="TIME", help="RFC 3339; default: the first")
    parser.add_argument("--to", dest="end", metavar="TIME", help="RFC 3339; default: the last")
    parser.add_argument("--sump", metavar="ID", help="of this sump only")
    parser.add_argument("--what", choices=TABLES, default="readings", help="default: readings")
    parser.add_argument("--format", choices=("csv", "parquet"), default="csv", help="default: csv")
    parser.add_argument("--out", metavar="FILE", required=True, help="the file to write")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the table; the exit code."""
    import sys
    from pathlib import Path

    from agent.plant.load import load_plant
    from agent.ranges import range_of
    from agent.store.extract import Extract
    from agent.store.looking import looking_into
    from agent.tables import TABLES, WRITERS

    plant = load_plant(Path(options.plant))
    begin, end = range_of(options.begin, options.end)
    with looking_into(plant.store) as database:
        extract = Extract(database, begin, end, options.sump)
        columns, rows = TABLES[options.what](plant, extract)
        count = WRITERS[options.format](Path(options.out), columns, rows)
    sys.stderr.write(f"{options.out}: {count} rows\n")
    return 0
