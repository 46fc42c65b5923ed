"""Sumps that were watched, or made up, for the tests of scoring."""

from functools import lru_cache

import numpy as np

from simulators.instants import HOUR, MINUTE
from simulators.scenario.load import find, load
from simulators.score.told import TRACKS, Happening, Witness
from simulators.score.witness import WatchedFloor
from tests.simulators.floors import plant

BEGIN = 1772431200000  # 2026-03-02T06:00:00Z


def played(floor: WatchedFloor) -> dict[str, Witness]:
    """Play a plant to its end."""
    while floor.now < floor.end:
        floor.step()
    return floor.witnesses()


def watched(toml: str, seed: int = 1) -> Witness:
    """The base plant of the simulator's tests with changes, played and watched."""
    return played(WatchedFloor(plant(toml, seed).scenario, seed))["m1"]


@lru_cache(maxsize=4)
def scenario_witness(name: str, seed: int, days: float) -> Witness:
    """The first sump of a scenario that comes along, played for so many days."""
    scenario = load(find(name)).model_copy(update={"days": days})
    return next(iter(played(WatchedFloor(scenario, seed)).values()))


def made_up(hours: int = 48, **tracks: np.ndarray) -> Witness:
    """A sump of 400 L at 300 L and 8 %, pumps off, nothing lost, unless a track says otherwise."""
    spec = plant().scenario.sump[0]
    minutes = hours * 60
    known = {
        "volume": np.full(minutes, 300.0),
        "concentrate": np.full(minutes, 24.0),
        "celsius": np.full(minutes, 20.0),
    }
    return Witness(
        sump="m1",
        spec=spec,
        scenario=plant().scenario,
        begin=BEGIN,
        end=BEGIN + hours * HOUR,
        brim=400.0,
        area_factor=1.0,
        seed=1,
        minutes={name: np.zeros(minutes) for name in TRACKS} | known | tracks,
    )


def poured(minute: float, volume: float = 20.0, lasts: float = 2.0, **more: object) -> Happening:
    """An addition of 4 % so many minutes after the beginning, unless said otherwise."""
    at = BEGIN + round(minute * MINUTE)
    known: dict[str, object] = {"kind": "addition", "concentrate": 0.04 * volume}
    return Happening(at=at, until=at + round(lasts * MINUTE), volume=volume, **(known | more))
