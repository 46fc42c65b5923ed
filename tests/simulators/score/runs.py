"""Results of runs, made up for the tests of metrics and tables."""

import numpy as np

from simulators.instants import MINUTE
from simulators.score.dosing import Poured
from simulators.score.flags import FaultFound, Flags
from simulators.score.matching import Found, Matched
from simulators.score.run import SumpRun
from simulators.score.samples import Sample
from simulators.score.told import Blemish
from simulators.score.yardstick import QUANTITIES
from tests.simulators.score.witnesses import BEGIN, poured


def sample(agent: float, yardstick: float, hours: int = 10, sd: float = 1.0) -> Sample:
    """Errors of one size with alternating sign, the agent's sd the same at each hour."""
    sign = np.where(np.arange(hours) % 2, 1.0, -1.0)
    return Sample(
        agent=agent * sign,
        agent_sd=np.full(hours, sd),
        yardstick=yardstick * sign,
        yardstick_sd=np.full(hours, sd),
        hourly=3.0 * agent * sign,
        weekly=np.full(hours, np.nan),
    )


def found(told: bool = True, delay: float = 5.0, z: float = 1.0, **more: object) -> Found:
    """A large addition of 20 L that nobody reported, unless said otherwise."""
    if not told:
        return Found(poured(600, **more), large=True, told=False)
    return Found(
        poured(600, **more),
        large=True,
        told=True,
        source="inferred",
        delay=delay,
        strength_delay=delay,
        volume=(z, 1.0),
        strength=(0.01 * z, 0.01),
    )


def fault(flagged: bool = True, delay: float = 4.0, lasts: float = 60.0) -> FaultFound:
    """A step of the level, seen at once."""
    blemish = Blemish("level", "step", BEGIN, BEGIN + round(lasts * MINUTE))
    return FaultFound(blemish, BEGIN, flagged, delay if flagged else None)


def a_run(scenario: str = "one", sump: str = "m1", seed: int = 1, **more: object) -> SumpRun:
    """A run of ten days with nothing wrong, unless said otherwise."""
    known: dict[str, object] = {
        "group": "clean",
        "days": 10.0,
        "samples": {name: sample(2.0, 1.0) for name in QUANTITIES},
        "events": Matched([found()], [], 1),
        "flags": Flags([], []),
        "advice": [Poured(BEGIN, "top-up", True, True, 0.002, 0.9)],
    }
    return SumpRun(scenario=scenario, sump=sump, seed=seed, **(known | more))
