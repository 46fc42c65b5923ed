"""`millpond doctor`: look at a plant's broker, store and signals."""

import argparse

_DESCRIPTION = """\
Look whether all is well with a plant: the plant file, the broker and what it grants and keeps, the
store and its disk, each signal's last reading and rate, what was refused and why, clocks, what
waits to be sent, which alarms stand, versions and certificates. The agent may run meanwhile. To see
how much the broker keeps for an agent that is away, 1500 small messages go to PREFIX/agent/doctor;
--no-probe leaves that out."""

_EPILOG = """\
examples:
  millpond doctor north.toml
  millpond doctor north.toml --listen 60 --json

Marks: ok; LOOK is worth a look; FAULT loses data or does not work.
exit codes: 0 no fault, 1 a fault, 2 the plant file cannot be used
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "doctor",
        help="look whether all is well with a plant",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plant", metavar="PLANT.toml", help="the plant file")
    parser.add_argument(
        "--listen",
        metavar="SECONDS",
        type=float,
        default=5.0,
        help="listen to the plant's topics for so long; default: 5",
    )
    parser.add_argument(
        "--no-probe", action="store_true", help="do not send messages to a session that is away"
    )
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Look at everything; the exit code."""
    import json
    import os
    import platform
    import sys
    from pathlib import Path

    from agent.clock import WallClock
    from agent.doctor.broker import look_at_broker
    from agent.doctor.finding import Found
    from agent.doctor.standing import look_at_standing
    from agent.doctor.store import look_at_store, rate_of
    from agent.plant.load import load_plant
    from agent.secrets import read_credentials
    from agent.version import VERSION

    plant = load_plant(Path(options.plant))
    clock = WallClock()
    said = f"millpond {VERSION}, Python {platform.python_version()}; {len(plant.sumps)} sumps"
    found = [Found("ok", "version", said)]
    found += look_at_broker(
        plant,
        read_credentials(os.environ),
        clock.now,
        listen_s=max(0.0, options.listen),
        rate=rate_of(plant),
        probe=not options.no_probe,
    )
    found += look_at_store(plant, clock.now())
    found += look_at_standing(plant, clock.now())
    if options.json:
        rows = [{"level": f.level, "about": f.about, "said": f.said} for f in found]
        sys.stdout.write(json.dumps({"findings": rows}, ensure_ascii=False) + "\n")
    else:
        for each in found:
            mark = each.level if each.level == "ok" else each.level.upper()
            sys.stdout.write(f"{mark:<6}{each.about}: {each.said}\n")
    return 1 if any(each.level == "fault" for each in found) else 0
