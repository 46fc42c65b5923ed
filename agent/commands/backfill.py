"""`millpond backfill`: send a range of time to the historian again."""

import argparse

_DESCRIPTION = """\
Send what the plant's store keeps of a range of time to the historian again: readings (before they
become minutes and hours, then those), states and events. The agent may run meanwhile. What the
historian has already it writes over with the same."""

_EPILOG = """\
examples:
  millpond backfill north.toml --from 2026-03-01T00:00:00Z --to 2026-03-08T00:00:00Z

The token comes from MILLPOND_HISTORIAN_TOKEN, or from a file that
MILLPOND_HISTORIAN_TOKEN_FILE names.
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "backfill",
        help="send a range of time to the historian again",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    parser.add_argument("--from", dest="begin", metavar="TIME", help="RFC 3339; default: the first")
    parser.add_argument("--to", dest="end", metavar="TIME", help="RFC 3339; default: the last")
    parser.add_argument("--sump", metavar="ID", help="of this sump only")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Send the range; the exit code."""
    import os
    import sys
    from pathlib import Path

    from agent.errors import MillpondError
    from agent.historian.backfill import backfill
    from agent.historian.server import InfluxServer, Unavailable
    from agent.plant.load import load_plant
    from agent.ranges import range_of
    from agent.secrets import read_token
    from agent.store.extract import Extract
    from agent.store.looking import looking_into

    plant = load_plant(Path(options.plant))
    if plant.historian is None:
        raise MillpondError(f"{options.plant}: there is no [historian] to send to")
    begin, end = range_of(options.begin, options.end)
    server = InfluxServer(plant.historian, read_token(os.environ))
    with looking_into(plant.store) as database:
        try:
            sent, refused = backfill(plant, Extract(database, begin, end, options.sump), server)
        except Unavailable as trouble:
            sys.stderr.write(f"{plant.historian.url}: {trouble}\n")
            return 1
        finally:
            server.close()
    for each in refused:
        sys.stderr.write(f"refused: {each.line}: {each.words}\n")
    sys.stdout.write(f"{sent - len(refused)} lines sent, {len(refused)} refused\n")
    return 1 if refused else 0
