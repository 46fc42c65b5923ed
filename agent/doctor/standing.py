"""What stands in the plant as the agent left it: alarms, and targets that do not take messages."""

import json
from collections.abc import Iterator
from typing import Any

from advisor.words import Instant
from agent.doctor.finding import Found, span
from agent.errors import MillpondError
from agent.instants import instant_of, text_of
from agent.operation.metrics import is_alarm
from agent.plant.plant import Plant
from agent.store.looking import looking_into
from agent.store.notices import Notices
from agent.store.told import Told

QUIET = frozenset({"normal", "shelved", "suppressed", "out-of-service"})
"""States in which an alarm asks nobody."""


def look_at_standing(plant: Plant, now: Instant) -> Iterator[Found]:
    """Alarms that stand, and how targets are served. `now` is the machine's clock. [ms]"""
    try:
        with looking_into(plant.store) as database:
            yield from _alarms(plant, Told(database).retained(), now)
            for state in Notices(database).states():
                if state.failing_since is not None:
                    said = f"{state.waiting} messages wait since {text_of(state.failing_since)}"
                    yield Found("fault", f"notify {state.target}", f"{said}: {state.words}")
                elif state.given_up:
                    said = f"{state.given_up} messages were given up while it was away"
                    yield Found("look", f"notify {state.target}", said)
    except MillpondError:
        return  # told by whoever looks at the store itself


def _alarms(plant: Plant, retained: list[tuple[str, bytes]], now: Instant) -> Iterator[Found]:
    """Each alarm that asks for somebody, and how many are put aside."""
    bodies = [
        (topic.removeprefix(f"{plant.prefix}/").replace("alarm/", "", 1).replace("/", " "), body)
        for topic, payload in retained
        if is_alarm(topic, plant.prefix) and (body := json.loads(payload))["state"] != "normal"
    ]
    asking = [(about, body) for about, body in bodies if body["state"] not in QUIET]
    aside = len(bodies) - len(asking)
    rest = f"; {aside} shelved, suppressed or out of service" if aside else ""
    if not asking:
        yield Found("ok", "alarms", f"none asks for anybody{rest}")
        return
    yield Found("look", "alarms", f"{len(asking)} stand{rest}")
    for about, body in sorted(asking, key=lambda each: each[0]):
        yield Found("look", f"alarm {about}", _said(body, now))


def _said(body: dict[str, Any], now: Instant) -> str:
    """State, priority and age of an alarm, and its cause."""
    raised = body["raised_at"]
    age = "" if raised is None else f" for {span(max(0, now - instant_of(raised)) / 1000.0)}"
    return f"{body['state']}, {body['priority']}{age}: {body['cause']}"
