"""`millpond changes`: who changed what."""

import argparse

_DESCRIPTION = """\
Who changed what, from the store: reports of people and stations, what was said of supplies, orders
on alarms, and each key of the plant file that was changed, with whose the file was. Reports are
kept for store.record_days, the rest for five years. The agent may run meanwhile."""

_EPILOG = """\
examples:
  millpond changes north.toml
  millpond changes north.toml --from 2026-03-01T00:00:00Z --json

exit codes: 0 done, 2 wrong usage or input
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "changes",
        help="who changed what",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    parser.add_argument("--from", dest="begin", metavar="TIME", help="RFC 3339; default: 30 d back")
    parser.add_argument("--to", dest="end", metavar="TIME", help="RFC 3339; default: now")
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the changes; the exit code."""
    import json
    import sys
    from pathlib import Path

    from advisor.words import DAY
    from agent.clock import WallClock
    from agent.instants import text_of
    from agent.operation.changes import changes_between
    from agent.plant.load import load_plant
    from agent.ranges import range_of
    from agent.store.looking import looking_into

    plant = load_plant(Path(options.plant))
    begin, end = range_of(options.begin, options.end)
    end = WallClock().now() + DAY if options.end is None else end
    begin = end - 31 * DAY if options.begin is None else begin
    with looking_into(plant.store) as database:
        found = changes_between(database, begin, end)
    if options.json:
        rows = [{"at": text_of(c.at), "by": c.by, "about": c.about, "what": c.what} for c in found]
        sys.stdout.write(json.dumps({"changes": rows}, ensure_ascii=False) + "\n")
    else:
        lines = [f"{text_of(c.at)}  {c.by}  {c.about}: {c.what}\n" for c in found]
        sys.stdout.writelines(lines or ["nobody has changed anything\n"])
    return 0
