"""Targets of notification on the command line: how they do, and a message to try one."""

import json
import os
import sys
from dataclasses import asdict
from zoneinfo import ZoneInfo

from agent.alarms.courier import UndeliveredError
from agent.alarms.listing import aligned, moment
from agent.alarms.post import NotifyError, post_of
from agent.alarms.telling import Message
from agent.instants import text_of
from agent.plant.plant import Plant
from agent.store.looking import looking_into
from agent.store.notices import Notices, TargetState

DONE, FAILED = 0, 1


def tell_targets(plant: Plant, *, as_json: bool) -> int:
    """Write how each target of the plant file takes what it is told; the exit code."""
    with looking_into(plant.store) as database:
        known = {state.target: state for state in Notices(database).states()}
    states = [known.get(r.id, TargetState(r.id, 0, 0, 0, 0, None, "")) for r in plant.notify]
    if as_json:
        bodies = [
            {
                **asdict(state),
                "failing_since": state.failing_since and text_of(state.failing_since),
            }
            for state in states
        ]
        sys.stdout.write(json.dumps(bodies, ensure_ascii=False) + "\n")
        return DONE
    zone = ZoneInfo(plant.timezone)
    lines = aligned([_row(state, zone) for state in states]) if states else ["nobody is notified"]
    sys.stdout.writelines(f"{line}\n" for line in lines)
    return DONE


def _row(state: TargetState, zone: ZoneInfo) -> tuple[str, ...]:
    """What is said of one target."""
    trouble = ""
    if state.failing_since is not None:
        since = moment(state.failing_since, zone)
        trouble = f"failing since {since}, {state.attempts} attempts: {state.words}"
    return (
        state.target,
        f"{state.sent} sent",
        f"{state.waiting} waiting",
        f"{state.given_up} given up" if state.given_up else "",
        trouble,
    )


def try_target(plant: Plant, target: str) -> int:
    """Send a target a message that says that it is none; the exit code.

    Raises
    ------
    MillpondError
        If there is no such target, or its address is missing or none.
    """
    rule = next((rule for rule in plant.notify if rule.id == target), None)
    if rule is None:
        there = ", ".join(rule.id for rule in plant.notify) or "none"
        raise NotifyError(f"the plant file has no target {target!r}; there is {there}")
    message = Message("low", f"test: {plant.name}", "millpond can reach you. Nothing is wrong.")
    try:
        post_of(rule, os.environ).deliver(message)
    except UndeliveredError as error:
        sys.stderr.write(f"{target}: {error}\n")
        return FAILED
    sys.stdout.write(f"{target}: taken; see whether it has arrived\n")
    return DONE
