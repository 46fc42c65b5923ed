"""A whole plant: all its machines stepped together, their messages in the order of arrival."""

import heapq
from itertools import count

from simulators.advice import Heard
from simulators.caretaker import Caretaker
from simulators.checks import Inspector
from simulators.climate import Hall
from simulators.disturbances import Disturber
from simulators.draws import root_of
from simulators.instants import DAY, SECOND, Calendar, rfc3339
from simulators.machine_tool import MachineTool
from simulators.payloads import Message
from simulators.people import Crew
from simulators.scenario.load import Scenario
from simulators.station import DosingStation
from simulators.truth import Journal, Record


class ShopFloor:
    """The simulated plant.

    Attributes
    ----------
    now : int
        Simulated time. [ms]
    end : int
        Where the scenario ends; it can go on beyond. [ms]
    """

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.scenario = scenario
        self.seed = seed
        calendar = Calendar(scenario.begin, scenario.zone)
        self.now = calendar.begin
        self.end = calendar.begin + round(scenario.days * DAY)
        self._step = scenario.step_s * SECOND
        self._truth_due = calendar.begin + scenario.truth_s * SECOND
        self._journal = Journal()
        root = root_of(scenario.name, seed)
        self._hall = Hall(scenario.climate, calendar, root)
        self.tools: dict[str, MachineTool] = {}
        self.heard: dict[str, Heard] = {}
        self.stations: dict[str, DosingStation] = {}
        self._caretakers: dict[str, Caretaker] = {}
        for spec in scenario.sumps():
            tool = MachineTool(spec, scenario, calendar, root, self._journal)
            heard = Heard(tool)
            self.tools[spec.id] = tool
            self.heard[spec.id] = heard
            inspector = Inspector(tool)
            Disturber(tool)
            if spec.operators is not None:
                Crew(tool, spec.operators, (heard, inspector))
            if spec.station is not None:
                self.stations[spec.id] = DosingStation(tool, spec.station)
                self._caretakers[spec.id] = Caretaker(tool, spec.station)
        self._waiting: list[tuple[int, int, Message]] = []
        self._order = count()
        self._journal.write(self._meta())
        self._write_states()

    def step(self) -> list[Message]:
        """Go on by one step: the messages that have arrived by then, in order."""
        self.now += self._step
        working = any(tool.running for tool in self.tools.values())
        self._hall.look(self.now, working)
        for tool in self.tools.values():
            tool.step(self.now, self._hall)
            if tool.posted:
                for message in tool.posted:
                    heapq.heappush(self._waiting, (message.at, next(self._order), message))
                tool.posted.clear()
        if self.now >= self._truth_due:
            self._truth_due += self.scenario.truth_s * SECOND
            self._write_states()
        return self._arrived()

    def _write_states(self) -> None:
        """What is truly in each sump, now."""
        for tool in self.tools.values():
            self._journal.write(tool.state_record(self.now))

    def _arrived(self) -> list[Message]:
        """Take what has arrived off the heap."""
        arrived: list[Message] = []
        while self._waiting and self._waiting[0][0] <= self.now:
            arrived.append(heapq.heappop(self._waiting)[2])
        return arrived

    def take_truth(self) -> list[Record]:
        """Lines of the truth file since the last call."""
        return self._journal.take()

    def hear(self, topic: str, payload: bytes) -> None:
        """Take in what the agent publishes: advice, setpoints, leases, alarms about stations.

        What cannot be understood does no harm: people and stations leave it, the truth tells it.
        """
        head, _, what = topic.rpartition("/")
        if head.endswith("/alarm"):
            head, what = head.removesuffix("/alarm"), f"alarm/{what}"
        name = head.rpartition("/")[2]
        if name not in self.tools or head != f"{self.scenario.prefix}/{name}":
            return
        try:
            self._understand(name, what, payload)
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            self._journal.write(
                {
                    "type": "not-understood",
                    "at": rfc3339(self.now),
                    "sump": name,
                    "what": what,
                    "why": f"{type(error).__name__}: {error}"[:200],
                }
            )

    def _understand(self, name: str, what: str, payload: bytes) -> None:
        """Give a message to whom it is for."""
        if what == "advice":
            self.heard[name].hear(payload)
        elif what == "setpoint" and name in self.stations and payload:
            self.stations[name].hear_setpoint(self.now, payload)
        elif what == "lease" and name in self.stations and payload:
            self.stations[name].hear_lease(self.now, payload)
        elif what.startswith("alarm/") and name in self._caretakers:
            self._caretakers[name].hear(self.now, what.removeprefix("alarm/"), payload)

    def _meta(self) -> Record:
        """First line of the truth file: what was drawn."""
        return {
            "type": "meta",
            "schema": 1,
            "title": self.scenario.title,
            "seed": self.seed,
            "begin": rfc3339(self.now),
            "end": rfc3339(self.end),
            "step_s": self.scenario.step_s,
            "sumps": {name: _drawn(tool) for name, tool in self.tools.items()},
        }


def _drawn(tool: MachineTool) -> Record:
    """What the plant file does not know about one sump."""
    body, outfit = tool.drawn.body, tool.outfit
    return {
        "area_factor": round(tool.drawn.area_factor, 6),
        "sludge_l": tool.spec.sludge_l,
        "holdup_l": round(body.holdup, 4),
        "brim_l": round(body.tank.volume(body.brim), 4),
        "refractometer_factor": round(tool.drawn.optics.factor, 6),
        "level_offset_mm": round(outfit.level.offset, 4) if outfit.level is not None else None,
        "brix_offset": round(outfit.brix.offset, 5) if outfit.brix is not None else None,
        "water_meter_gain": _gain(outfit.water_meter),
        "concentrate_meter_gain": _gain(outfit.concentrate_meter),
        "starts": [rfc3339(at) for at in tool.starts],
    }


def _gain(meter: object) -> float | None:
    """Gain of a totaliser, where there is one."""
    gain = getattr(meter, "gain", None)
    return round(gain, 6) if isinstance(gain, float) else None
