"""What is known of one sump after a scenario was played: its truth, and what the yardstick is told.

Plain values, so that they can be made in a test and sent from one process to another.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from simulators.instants import MINUTE
from simulators.scenario.load import Scenario
from simulators.scenario.sump import SumpSpec

Vector = npt.NDArray[np.float64]

TRACKS = ("volume", "concentrate", "oil", "water_lost", "concentrate_lost", "running", "reading",
          "celsius")  # fmt: skip
"""Columns of the truth by the minute. [L], running 0 or 1, hand reading [°Brix]"""


@dataclass(slots=True)
class Sight:
    """All that was read from a sump at one moment, and what truly stood behind it."""

    at: int
    """[ms]"""
    running: bool
    holdup: float
    """Truly up in the machine. [L]"""
    salts: float
    """Of the fluid, over those of the make-up water. [1]"""
    mixed: bool
    """What flows past prism and nozzle is what is in the sump."""
    values: dict[str, float]
    """Readings as sent, by signal, each in its unit."""
    spoilt: dict[str, float]
    """Readings that a fault or a bubble has spoilt, by signal: what they would have been."""


@dataclass(frozen=True, slots=True)
class Told:
    """What somebody said about an addition, drain or charge, with the error that it truly has."""

    volume: float
    volume_sd: float
    concentrate: float
    strength_sd: float
    """[L], [L], [L], [1]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """An addition, drain or charge as it truly was. [ms], [L]"""

    kind: str
    at: int
    until: int
    volume: float
    concentrate: float
    metered: bool = False
    reported: bool = False
    all: bool = False
    """Everything was drained."""
    foreign: bool = False
    """Of another concentrate."""
    near_start: bool = False
    """Within two minutes of a pump start."""
    told: Told | None = None

    @property
    def inflow(self) -> bool:
        """Whether something came in."""
        return self.kind != "drain"

    @property
    def strength(self) -> float:
        """Concentration of what came or went. [1]"""
        return self.concentrate / self.volume if self.volume > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class Blemish:
    """A time in which a signal was not to be trusted. [ms]"""

    signal: str
    kind: str
    begin: int
    end: int


@dataclass(frozen=True, slots=True)
class Check:
    """A measurement by hand. [ms], value in `unit`"""

    at: int
    kind: str
    value: float
    unit: str
    sample: str


@dataclass(frozen=True, slots=True)
class Service:
    """Prism cleaned, oil skimmed or spilt, sensor hung anew. [ms], size in its unit"""

    at: int
    kind: str
    size: float = 0.0


@dataclass(frozen=True, slots=True)
class Burst:
    """A leak or an ingress so strong that it is an event: when, and how strong. [ms], [L/d]"""

    begin: int
    end: int
    size: float


@dataclass(slots=True, kw_only=True)
class Witness:
    """One sump of one run."""

    sump: str
    spec: SumpSpec
    scenario: Scenario
    begin: int
    end: int
    brim: float
    """True volume at which it spills. [L]"""
    area_factor: float
    """True area of the tank over the drawn one. [1]"""
    seed: int
    """Of all randomness in this run."""
    minutes: dict[str, Vector] = field(default_factory=dict)
    """Truth at `begin + (i + 1) min`, by the names of `TRACKS`."""
    sights: list[Sight] = field(default_factory=list)
    happenings: list[Happening] = field(default_factory=list)
    blemishes: list[Blemish] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)
    services: list[Service] = field(default_factory=list)
    bursts: list[Burst] = field(default_factory=list)

    def place(self, at: int) -> int:
        """Index of the minute at or before a moment [ms]; the first where there is none."""
        last = len(self.minutes["volume"]) - 1
        return min(max((at - self.begin) // MINUTE - 1, 0), last)

    def true(self, track: str, at: int) -> float:
        """Truth of one track at a moment [ms], in the track's unit."""
        return float(self.minutes[track][self.place(at)])
