"""Errors of many runs as a few numbers: rms, ratio to the yardstick, coverage, with intervals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from simulators.score.bootstrap import Interval, interval
from simulators.score.kalman import Matrix, Vector
from simulators.score.run import SumpRun
from simulators.score.samples import Sample
from simulators.score.yardstick import QUANTITIES

LOSSES = QUANTITIES[2:]
Rival = Literal["agent", "hourly", "weekly"]
SHOWN = {
    "volume": ("volume", "L", 1.0),
    "concentration": ("concentration", "%", 100.0),
    "water_lost": ("water lost", "L", 1.0),
    "concentrate_lost": ("concentrate lost", "L", 1.0),
    "water_24h": ("water, 24 h", "L/d", 1.0),
    "concentrate_24h": ("concentrate, 24 h", "L/d", 1.0),
}
"""Name, unit and size in it of each quantity, as people read it."""


@dataclass(frozen=True, slots=True)
class Errors:
    """One quantity over many runs; None where nothing was said."""

    hours: int
    """At which agent and yardstick both spoke."""
    silent: float
    """Share of the hours at which the agent said nothing. [1]"""
    agent: float | None
    """Root mean square of its error, in the quantity's shown unit."""
    agent_sd: float | None
    yardstick: float | None
    yardstick_sd: float | None
    ratio: float | None
    """Agent's over yardstick's error. [1]"""
    ratio_interval: Interval | None
    coverage: float | None
    """Share of the hours at which the truth lies within 2 sd of the agent's word. [1]"""
    coverage_interval: Interval | None
    coverage_end: float | None
    """The same at the last hour of each run. [1]"""
    yardstick_coverage: float | None
    hourly: float | None
    """Errors of the naive ways."""
    weekly: float | None
    hourly_ratio: float | None
    """Theirs over the yardstick's error. [1]"""
    weekly_ratio: float | None


_COLUMNS = 7  # of _sums: hours, agent², sd², covered, yardstick², sd², covered


def errors_of(runs: Sequence[SumpRun], name: str) -> Errors:
    """Sum up one quantity over runs."""
    samples = [run.samples[name] for run in runs]
    rows = np.array([_sums(sample) for sample in samples])
    total = rows.sum(axis=0)
    scale = SHOWN[name][2]
    hours = int(total[0])
    every = sum(len(sample.agent) for sample in samples)
    ends = [_end(sample) for sample in samples]
    said = [end for end in ends if end is not None]
    return Errors(
        hours=hours,
        silent=1.0 - hours / every if every else 1.0,
        agent=_root(total[1], hours, scale),
        agent_sd=_root(total[2], hours, scale),
        yardstick=_root(total[4], hours, scale),
        yardstick_sd=_root(total[5], hours, scale),
        ratio=ratio_of(runs, name),
        ratio_interval=_ratio_interval(runs, name),
        coverage=_share(total[3], hours),
        coverage_interval=interval(rows.tolist(), _covered),
        coverage_end=_share(sum(said), len(said)),
        yardstick_coverage=_share(total[6], hours),
        hourly=_rms([sample.hourly for sample in samples], scale),
        weekly=_rms([sample.weekly for sample in samples], scale),
        hourly_ratio=ratio_of(runs, name, "hourly"),
        weekly_ratio=ratio_of(runs, name, "weekly"),
    )


def coverage_of(runs: Sequence[SumpRun], names: Sequence[str]) -> tuple[float, Interval | None]:
    """Coverage of some quantities together, the agent's, with its interval by run. [1]"""
    rows = np.array([np.sum([_sums(run.samples[name]) for name in names], axis=0) for run in runs])
    total = rows.sum(axis=0)
    return float(total[3] / max(total[0], 1.0)), interval(rows.tolist(), _covered)


def yardstick_coverage_of(
    runs: Sequence[SumpRun], names: Sequence[str]
) -> tuple[float, Interval | None]:
    """Coverage of some quantities together, the yardstick's, over all hours. [1]"""
    rows: list[list[float]] = []
    for run in runs:
        sums = np.zeros(_COLUMNS)
        for name in names:
            sample = run.samples[name]
            spoke = np.isfinite(sample.yardstick)
            covered = np.abs(sample.yardstick[spoke]) <= 2.0 * sample.yardstick_sd[spoke]
            sums[0] += spoke.sum()
            sums[3] += covered.sum()
        rows.append(sums.tolist())
    total = np.sum(rows, axis=0)
    return float(total[3] / max(total[0], 1.0)), interval(rows, _covered)


def ratio_of(runs: Sequence[SumpRun], name: str, rival: Rival = "agent") -> float | None:
    """Error of a rival over that of the yardstick: the geometric mean over the sumps. [1]"""
    ratios: list[float] = []
    for sump in sorted({(run.scenario, run.sump) for run in runs}):
        own = [run.samples[name] for run in runs if (run.scenario, run.sump) == sump]
        his, sticks = np.sum([_squares(sample, rival) for sample in own], axis=0)
        if his > 0.0 and sticks > 0.0:
            ratios.append(math.sqrt(his / sticks))
    return geometric_mean(ratios)


def _ratio_interval(runs: Sequence[SumpRun], name: str) -> Interval | None:
    """Interval of the agent's ratio: each sump's sums in columns of their own."""
    sumps = sorted({(run.scenario, run.sump) for run in runs})
    rows = np.zeros((len(runs), 2, len(sumps)))
    for row, run in zip(rows, runs, strict=True):
        row[:, sumps.index((run.scenario, run.sump))] = _squares(run.samples[name], "agent")
    return interval(rows.reshape(len(runs), -1).tolist(), _mean_ratio)


def _mean_ratio(sums: Matrix) -> Vector:
    """Geometric mean over the sumps that were drawn, for each draw. [1]"""
    his, sticks = np.split(sums, 2, axis=1)
    drawn = (his > 0.0) & (sticks > 0.0)
    logs = np.log(np.where(drawn, his, 1.0) / np.where(drawn, sticks, 1.0)) / 2.0
    count = drawn.sum(axis=1)
    mean = np.exp(logs.sum(axis=1) / np.maximum(count, 1))
    return np.where(count > 0, mean, np.nan)


def _squares(sample: Sample, rival: Rival) -> Vector:
    """Sums of squares of a rival's and the yardstick's errors at hours at which both spoke."""
    his: Vector = getattr(sample, rival)
    both = np.isfinite(his) & np.isfinite(sample.yardstick)
    return np.array((np.sum(his[both] ** 2), np.sum(sample.yardstick[both] ** 2)))


def yardstick_tuning(runs: Sequence[SumpRun]) -> float | None:
    """Error of the yardstick over its own posterior sd: the geometric mean of the quantities. [1]

    1 where its sd's are as large as its errors; above it they promise too much.
    """
    ratios: list[float | None] = []
    for name in QUANTITIES:
        errors = np.concatenate([run.samples[name].yardstick for run in runs])
        sds = np.concatenate([run.samples[name].yardstick_sd for run in runs])
        spoke = np.isfinite(errors) & np.isfinite(sds)
        spread = float(np.sum(sds[spoke] ** 2))
        ratios.append(math.sqrt(np.sum(errors[spoke] ** 2) / spread) if spread > 0.0 else None)
    return geometric_mean(ratios)


def geometric_mean(ratios: Sequence[float | None]) -> float | None:
    """Of what there is; None of nothing. [1]"""
    known = [ratio for ratio in ratios if ratio is not None and ratio > 0.0]
    if not known:
        return None
    return math.exp(sum(math.log(ratio) for ratio in known) / len(known))


def _sums(sample: Sample) -> Vector:
    """Hours, squares and hits of one run, as `_COLUMNS` has them."""
    both = sample.both
    agent, agent_sd = sample.agent[both], sample.agent_sd[both]
    stick, stick_sd = sample.yardstick[both], sample.yardstick_sd[both]
    return np.array(
        (
            both.sum(),
            np.sum(agent**2),
            np.sum(agent_sd**2),
            np.sum(np.abs(agent) <= 2.0 * agent_sd),
            np.sum(stick**2),
            np.sum(stick_sd**2),
            np.sum(np.abs(stick) <= 2.0 * stick_sd),
        ),
        dtype=np.float64,
    )


def _covered(sums: Matrix) -> Vector:
    """Coverage of each draw. [1]"""
    return np.asarray(sums[:, 3] / np.maximum(sums[:, 0], 1.0))


def _end(sample: Sample) -> bool | None:
    """Whether the truth lay within 2 sd at the last hour at which the agent spoke."""
    said = np.flatnonzero(np.isfinite(sample.agent))
    if not len(said):
        return None
    last = int(said[-1])
    return bool(abs(sample.agent[last]) <= 2.0 * sample.agent_sd[last])


def _root(squares: float, count: int, scale: float) -> float | None:
    """Root of a mean square, in a shown unit."""
    return scale * math.sqrt(squares / count) if count else None


def _share(part: float, count: int) -> float | None:
    """A part of so many. [1]"""
    return float(part) / count if count else None


def _rms(errors: Sequence[Vector], scale: float) -> float | None:
    """Root mean square of all that was said, in a shown unit."""
    said = np.concatenate(errors) if errors else np.zeros(0)
    said = said[np.isfinite(said)]
    return scale * float(np.sqrt(np.mean(said**2))) if len(said) else None
