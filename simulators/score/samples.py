"""Errors hour by hour: the agent's, the yardstick's and the naive ways', against the truth."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simulators.instants import DAY, HOUR, MINUTE
from simulators.score.kalman import Vector
from simulators.score.published import StateWord
from simulators.score.told import Witness
from simulators.score.yardstick import QUANTITIES, Account

SETTLING = DAY
"""No sample is taken before that. [ms]"""
_FRESH = 10 * MINUTE
"""A state that is older than that says nothing about an hour. [ms]"""


@dataclass(slots=True)
class Sample:
    """Errors of one quantity at each hour, in its unit; NaN where nothing was said."""

    agent: Vector
    agent_sd: Vector
    yardstick: Vector
    yardstick_sd: Vector
    hourly: Vector
    weekly: Vector

    @property
    def both(self) -> npt.NDArray[np.bool_]:
        """Hours at which agent and yardstick both spoke."""
        return np.isfinite(self.agent) & np.isfinite(self.yardstick)


def gather(
    witness: Witness,
    states: Sequence[StateWord],
    yardstick: Account,
    naive: dict[str, dict[str, Vector]],
) -> dict[str, Sample]:
    """Errors of every quantity after settling; `naive` holds the values of each naive way."""
    marks = yardstick.marks
    keep = np.array([mark >= witness.begin + SETTLING for mark in marks])
    said = _said(witness, states, marks)
    began = _began(witness)
    samples: dict[str, Sample] = {}
    for name in QUANTITIES:
        true = np.array([truth(witness, name, mark, began(mark)) for mark in marks])
        errors, sds = said[name]
        samples[name] = Sample(
            agent=errors[keep],
            agent_sd=sds[keep],
            yardstick=(np.array(yardstick.values[name]) - true)[keep],
            yardstick_sd=np.array(yardstick.sds[name])[keep],
            hourly=(_rebased(naive["hourly"][name], name, witness, marks) - true)[keep],
            weekly=(_rebased(naive["weekly"][name], name, witness, marks) - true)[keep],
        )
    return samples


def truth(witness: Witness, name: str, at: int, since: int, window: int = DAY) -> float:
    """True value of a quantity at a moment, its account begun at another. [its unit]"""
    if name == "volume":
        return witness.true("volume", at)
    if name == "concentration":
        return witness.true("concentrate", at) / max(witness.true("volume", at), 1e-9)
    track = "water_lost" if name.startswith("water") else "concentrate_lost"
    if name.endswith("24h"):
        return (witness.true(track, at) - witness.true(track, at - window)) / (window / DAY)
    return witness.true(track, at) - witness.true(track, since)


def _began(witness: Witness) -> Callable[[int], int]:
    """When the accounts that hold at a moment began: with the last charge, or the run."""
    charges = [event.at for event in witness.happenings if event.kind == "charge"]
    begins = [witness.begin, *charges]
    return lambda at: begins[bisect_right(begins, at) - 1]


def _rebased(values: Vector, name: str, witness: Witness, marks: Sequence[int]) -> Vector:
    """A naive account, begun anew at the first hour after each charge."""
    charges = [event.until for event in witness.happenings if event.kind == "charge"]
    if not charges or not name.endswith("lost"):
        return values
    fresh = values.copy()
    for charge in charges:
        place = bisect_right(marks, charge)
        if place < len(marks):
            fresh[place:] = values[place:] - values[place]
    return fresh


def _said(
    witness: Witness, states: Sequence[StateWord], marks: Sequence[int]
) -> dict[str, tuple[Vector, Vector]]:
    """The agent's errors and sds at each mark, from the newest state that holds for it."""
    newest: dict[int, StateWord] = {state.at: state for state in states}
    moments = sorted(newest)
    nothing = np.full(len(marks), np.nan)
    found = {name: (nothing.copy(), nothing.copy()) for name in QUANTITIES}
    for i, mark in enumerate(marks):
        place = bisect_right(moments, mark) - 1
        if place < 0 or mark - moments[place] > _FRESH:
            continue
        for name, (error, sd) in _errors(witness, newest[moments[place]]).items():
            found[name][0][i], found[name][1][i] = error, sd
    return found


def _errors(witness: Witness, state: StateWord) -> dict[str, tuple[float, float]]:
    """Error and sd of all that one state says."""
    window = round(state.window_h * HOUR)
    words = {
        "volume": state.volume,
        "concentration": state.concentration,
        "water_lost": state.lost[0],
        "concentrate_lost": state.lost[1],
    }
    if abs(window - DAY) < HOUR / 4:
        words |= {"water_24h": state.losses[0], "concentrate_24h": state.losses[1]}
    since = state.since if state.since is not None else witness.begin
    return {
        name: (word[0] - truth(witness, name, state.at, since, window or DAY), word[1])
        for name, word in words.items()
        if word is not None
    }
