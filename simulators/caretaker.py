"""Somebody who looks into a station that did other than it was asked, and lets it go on."""

import json

from simulators.instants import HOUR, rfc3339
from simulators.machine_tool import MachineTool
from simulators.scenario.people import Station

_ALARM = "delivery-differs"


class Caretaker:
    """Of one sump: hears the alarm, comes after some hours, acknowledges and resets it."""

    def __init__(self, tool: MachineTool, spec: Station) -> None:
        self._tool = tool
        self._after = None if spec.looked_after_h is None else round(spec.looked_after_h * HOUR)
        self._is_called = False

    def hear(self, now: int, name: str, payload: bytes) -> None:
        """Take in an alarm of the sump; an empty payload withdraws it."""
        if name != _ALARM or not payload or self._after is None or self._is_called:
            return
        if str(json.loads(payload)["state"]).startswith("latched"):
            self._is_called = True
            self._tool.agenda.at(now + self._after, self._reset)

    def _reset(self, now: int) -> None:
        """Say that it has been looked into."""
        self._is_called = False
        for command in ("acknowledge", "reset"):
            body: dict[str, object] = {
                "at": rfc3339(now),
                "alarm": _ALARM,
                "command": command,
                "by": "caretaker",
            }
            self._tool.say(now, "alarm-command", body)
