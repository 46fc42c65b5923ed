"""`millpond alarms`: which alarms stand, what was, how they do; and orders on one of them."""

import argparse

_DESCRIPTION = """\
Without an order: the alarms that stand, as the agent last told them; with --history the changes
that the store keeps (five years), with --figures how the alarms themselves do, beside the targets
of IEC 62682 / ISA-18.2.

With an order: have the agent do something with one alarm, and wait for its answer. Orders go over
the broker, as those of the page do."""

_EPILOG = """\
examples:
  millpond alarms north.toml
  millpond alarms north.toml --history --from 2026-03-01T00:00:00Z --sump mill-07
  millpond alarms north.toml --figures --json
  millpond alarms north.toml --try maintenance
  millpond alarms north.toml acknowledge mill-07 level-low --by Ann
  millpond alarms north.toml shelve mill-07 signal-stale --signal brix --until 8h --by Ann
  millpond alarms north.toml acknowledge supply/drum-1 stock-low --by Ann
  millpond alarms north.toml acknowledge - feed-lost --by Ann

exit codes: 0 done, 1 the broker, the agent or the alarm will not have it, 2 wrong usage or input
"""

_ORDERS = {
    "acknowledge": "somebody has seen it",
    "shelve": "put it aside until a time; 8 hours where nobody says",
    "unshelve": "take it back from the shelf",
    "suppress": "suppress it until a time, or until return-to-service",
    "out-of-service": "take it out of service until a time, or until return-to-service",
    "return-to-service": "undo suppress and out-of-service",
    "reset": "let a latched alarm go once its condition is gone",
}

_UNTIL = ("shelve", "suppress", "out-of-service")


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "alarms",
        help="list, acknowledge and shelve alarms; their history and key figures",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--history", action="store_true", help="every change, from the store")
    what.add_argument("--figures", action="store_true", help="key figures, from the store")
    what.add_argument(
        "--targets", action="store_true", help="who is notified, and how that goes, from the store"
    )
    what.add_argument("--try", dest="target", metavar="ID", help="send this target a test message")
    parser.add_argument("--from", dest="begin", metavar="TIME", help="RFC 3339; default: 30 d back")
    parser.add_argument("--to", dest="end", metavar="TIME", help="RFC 3339; default: the newest")
    parser.add_argument(
        "--sump", metavar="ID", help="of this sump only; supply/ID: of a supply; -: of the plant"
    )
    parser.add_argument("--json", action="store_true", help="for programs: JSON")
    parser.set_defaults(run=run)
    orders = parser.add_subparsers(dest="order", metavar="ORDER", required=False)
    for verb, meaning in _ORDERS.items():
        _add_order(orders, verb, meaning)


def _add_order(
    orders: "argparse._SubParsersAction[argparse.ArgumentParser]", verb: str, meaning: str
) -> None:
    """Register one order."""
    order = orders.add_parser(verb, help=meaning, description=f"{meaning}.")
    order.add_argument("about", metavar="SUMP", help="the sump; supply/ID; - for the whole plant")
    order.add_argument("alarm", metavar="ALARM", help="name of the alarm, such as level-low")
    order.add_argument("--signal", metavar="S", help="the signal, of an alarm about one")
    if verb in _UNTIL:
        order.add_argument(
            "--until", metavar="T", help="RFC 3339 time, or from now on such as 90min, 8h, 2d"
        )
    order.add_argument("--by", metavar="NAME", required=True, help="who orders it")


def run(options: argparse.Namespace) -> int:
    """List, or order; the exit code."""
    from pathlib import Path

    from agent.alarms import asking, targets
    from agent.plant.load import load_plant

    plant = load_plant(Path(options.plant))
    if options.order is not None:
        typed = asking.Typed(
            verb=options.order,
            about=options.about,
            alarm=options.alarm,
            signal=options.signal,
            until=getattr(options, "until", None),
            by=options.by,
        )
        return asking.give_order(plant, asking.order_of(plant, typed), as_json=options.json)
    if options.target is not None:
        return targets.try_target(plant, options.target)
    if options.targets:
        return targets.tell_targets(plant, as_json=options.json)
    if options.history or options.figures:
        span = asking.Span(options.begin, options.end, options.sump)
        tell = asking.tell_history if options.history else asking.tell_figures
        return tell(plant, span, as_json=options.json)
    return asking.tell_standing(plant, options.sump, as_json=options.json)
