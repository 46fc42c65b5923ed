"""What people at a machine have heard from the agent, and how they carry it out."""

import json
from functools import partial
from typing import Any

from simulators.instants import MINUTE, SECOND, instant, rfc3339
from simulators.machine_tool import MachineTool, Pour

_POURING = ("top-up", "exchange")


def _understood(body: dict[str, Any]) -> dict[str, Any]:
    """An advice with all that following it takes, numbers as numbers."""
    mix = body["mix"]
    parts = {key: float(mix[key]) for key in ("water_l", "concentrate_l")} if mix else None
    return {
        "id": str(body["id"]),
        "kind": str(body["kind"]),
        "until": instant(str(body["valid_until"])),
        "drain_l": float(body["drain_l"]),
        "mix": parts,
    }


class Heard:
    """The newest advice for one sump, until it is carried out or runs out."""

    def __init__(self, tool: MachineTool) -> None:
        self._tool = tool
        self._draws = tool.draws("advice")
        self._advice: dict[str, Any] | None = None
        self._done: set[str] = set()

    def hear(self, payload: bytes) -> None:
        """Take in a message; an empty one withdraws the advice.

        Raises
        ------
        ValueError, KeyError, TypeError
            If it is no advice that somebody could follow.
        """
        self._advice = _understood(json.loads(payload)) if payload else None

    @property
    def advised(self) -> bool:
        """Whether there is advice to pour that has not been carried out."""
        advice = self._advice
        return advice is not None and advice["kind"] in _POURING and advice["id"] not in self._done

    def asks_check(self) -> bool:
        """Whether a check is advised; asked for once, it is taken as heard."""
        advice = self._advice
        if advice is None or advice["kind"] != "check" or advice["id"] in self._done:
            return False
        self._done.add(advice["id"])
        return True

    def follow(self, now: int) -> None:
        """Do what is advised, as well as buckets allow, and report it."""
        advice = self._advice
        if advice is None or advice["until"] < now:
            return
        name, mix = advice["id"], advice["mix"]
        self._done.add(name)
        begin = self._drain(now, advice["drain_l"], name) if advice["drain_l"] > 0.0 else now
        if mix is not None:
            pour = partial(
                self._pour, water=mix["water_l"], concentrate=mix["concentrate_l"], advice=name
            )
            self._tool.agenda.at(begin, pour)

    def _drain(self, now: int, volume: float, advice: str) -> int:
        """Take fluid out first: moment at which that is done. [ms]"""
        tool = self._tool
        water, concentrate = tool.sump.drain(volume)
        event = tool.journal.event(tool.spec.id, "drain", now)
        event.until, event.water, event.concentrate = now, water, concentrate
        event.details = {"reported": True, "advice": advice}
        tool.journal.write(event.record())
        body: dict[str, object] = {"id": f"{advice}-drain", "at": rfc3339(now), "volume_l": volume}
        tool.say(now, "drain", body)
        return now + 10 * MINUTE

    def _pour(self, now: int, water: float, concentrate: float, advice: str) -> None:
        """Pour water and concentrate, mixed before, measured with a bucket's marks. [L]"""
        tool = self._tool
        event = tool.journal.event(tool.spec.id, "addition", now)
        event.details = {"reported": True, "metered": False, "advice": advice}
        true_water = water * max(0.0, 1.0 + 0.02 * self._draws.normal())
        true_concentrate = concentrate * max(0.0, 1.0 + 0.02 * self._draws.normal())
        seconds = max(20.0, 8.0 * (water + concentrate))
        tool.pours.append(
            Pour(
                event=event,
                water=true_water,
                concentrate=true_concentrate,
                rate=(true_water + true_concentrate) / seconds,
                place=tool.pour_place,
                metered=False,
                last=True,
            )
        )
        body: dict[str, object] = {
            "id": f"{advice}-done",
            "at": rfc3339(now),
            "water_l": water,
            "concentrate_l": concentrate,
            "advice": advice,
            "by": "crew",
        }
        later = now + round(seconds * SECOND) + 3 * MINUTE
        tool.agenda.at(later, lambda then: tool.say(then, "addition", body))
