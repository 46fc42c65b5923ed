"""Who else could keep the sumps: somebody who knows everything, and somebody with a bucket a week.

Both work on the same plant with the same seed, so that weather, work and losses are those that the
agent met; they need no agent, and show what it is worth.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Protocol

from simulators.close import Keeping, keeping_of
from simulators.instants import DAY, HOUR, SECOND
from simulators.machine_tool import MachineTool
from simulators.shop_floor import ShopFloor
from simulators.tank import Tank

DEPTH_MM = 3.0
"""How well a dipstick is read: common practice. [mm]"""

BRIX = 0.15
"""How well a handheld refractometer is read: as the checks of the scenarios. [°Brix]"""

MEASURED = 0.02
"""How well people measure what they pour, relative: as where they follow advice."""


class Rival(Protocol):
    """Keeps one sump; looked at once a tick."""

    def act(self, now: int) -> None:
        """Do what is to be done now. [ms]"""


class AllKnowing:
    """Holds level and concentration at their targets all the time, knowing the true sump.

    Whatever has left is put back at once; too strong and full it can only wait, as anybody could.
    """

    def __init__(self, tool: MachineTool) -> None:
        self._tool = tool
        self._wanted = tool.drawn.body.tank.volume(tool.spec.level_mm.target)
        self._target = tool.scenario.fluid(tool.spec.concentrate).target_pct / 100.0

    def act(self, _now: int) -> None:
        """Fill up what is missing of water and of concentrate."""
        tool = self._tool
        sump = tool.sump
        missing = self._wanted - sump.volume
        if missing <= 0.0 or tool.out_of_service:
            return
        concentrate = min(max(self._target * self._wanted - sump.concentrate, 0.0), missing)
        sump.add(missing - concentrate, concentrate, sump.back)


class WeeklyHand:
    """A careful person, once a week: dipstick, handheld refractometer, the right sum, a bucket."""

    def __init__(self, tool: MachineTool) -> None:
        self._tool = tool
        self._draws = tool.draws("weekly hand")
        self._drawing = Tank(tool.spec.tank)
        self._due = tool.calendar.begin + HOUR

    def act(self, now: int) -> None:
        """Measure, work it out, and pour, when the week is over."""
        if now < self._due:
            return
        self._due += 7 * DAY
        tool, draws = self._tool, self._draws
        if tool.out_of_service:
            return
        fluid, sump = tool.scenario.fluid(tool.spec.concentrate), tool.sump
        there = self._drawing.volume(max(draws.around(tool.rest_depth, DEPTH_MM), 0.0))
        true = 100.0 * sump.concentrate / max(sump.volume, 1e-9)
        read = draws.around(true / tool.drawn.optics.factor, BRIX)
        strength = fluid.refractometer_factor * read / 100.0
        wanted = self._drawing.volume(tool.spec.level_mm.target)
        missing = max(wanted - there, 0.0)
        right = fluid.target_pct / 100.0 * wanted - strength * there
        concentrate = min(max(right, 0.0), fluid.premix_max_pct / 100.0 * missing)
        sump.add(
            max(draws.around(1.0, MEASURED), 0.0) * (missing - concentrate),
            max(draws.around(1.0, MEASURED), 0.0) * concentrate,
            tool.pour_place,
        )


RIVALS: Mapping[str, Callable[[MachineTool], Rival]] = MappingProxyType(
    {"perfect knowledge": AllKnowing, "weekly by hand": WeeklyHand}
)
"""By what the table calls them."""


def play_by(floor: ShopFloor, kind: str) -> dict[str, Keeping]:
    """Let one of `RIVALS` keep a plant of its own to the end: how each sump was kept."""
    hands = {name: RIVALS[kind](tool) for name, tool in floor.tools.items()}
    keeping = {name: keeping_of(floor, name) for name in floor.tools}
    tick = floor.scenario.tick_s * SECOND
    while floor.now < floor.end:
        floor.step()
        while floor.now % tick:
            floor.step()
        for name, tool in floor.tools.items():
            hands[name].act(floor.now)
            keeping[name].look(tool.sump.concentrate / max(tool.sump.volume, 1e-9))
        floor.take_truth()
    return keeping
