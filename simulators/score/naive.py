"""Two ways to keep such a book without an estimator, scored beside it.

Hourly: means of an hour's level and Brix, taken at their word with the drawing, the data sheet and
the holdup of the plant file; a rise from one hour to the next that is too large for noise is taken
for an addition, and what is metered or reported is believed. Weekly: a dipstick and a handheld
refractometer once a week; between two rounds only what is metered or reported is known.
"""

from dataclasses import dataclass

import numpy as np

from simulators.draws import Draws
from simulators.instants import DAY, HOUR, MINUTE
from simulators.score.gauges import Gauge
from simulators.score.kalman import Vector
from simulators.score.told import Happening, Witness
from simulators.tank import Tank

_RISE = 0.015
"""Of the volume at the brim: a larger rise within an hour is taken for an addition."""
_ROUND = 7 * DAY
_FIRST = 5 * HOUR
_DIPSTICK, _HANDHELD = 2.5, 0.15
"""Errors of the two: as of every other check. [mm], [°Brix]"""


@dataclass(frozen=True, slots=True)
class Book:
    """Volume and concentrate at some moments, as they seemed. [ms], [L]"""

    at: list[int]
    volume: list[float]
    concentrate: list[float]


def hourly(witness: Witness, marks: list[int]) -> dict[str, Vector]:
    """All quantities at each mark, by hourly means with daily differences."""
    book = _hours(witness, marks)
    water, concentrate = [0.0], [0.0]
    for i in range(1, len(marks)):
        rise = book.volume[i] - book.volume[i - 1]
        solute = book.concentrate[i] - book.concentrate[i - 1]
        known = _known(witness, marks[i - 1], marks[i])
        if known is not None:
            rise, solute = rise - known[0], solute - known[1]
        elif rise > _RISE * witness.brim:
            rise = solute = 0.0
        water.append(water[-1] - rise + solute)
        concentrate.append(concentrate[-1] - solute)
    return _account(book, np.array(water), np.array(concentrate))


def weekly(witness: Witness, marks: list[int]) -> dict[str, Vector]:
    """All quantities at each mark, by a weekly round; losses go on as in the week before."""
    rounds = _rounds(witness)
    at = np.array(rounds.at, dtype=np.float64)
    volume, solute = np.array(rounds.volume), np.array(rounds.concentrate)
    lost = np.zeros((2, len(at)))
    for i in range(1, len(at)):
        known = _known(witness, rounds.at[i - 1], rounds.at[i]) or (0.0, 0.0)
        more = known[1] - (solute[i] - solute[i - 1])
        lost[1, i] = lost[1, i - 1] + more
        lost[0, i] = lost[0, i - 1] + known[0] - (volume[i] - volume[i - 1]) - more
    place = np.searchsorted(at, np.array(marks), side="right") - 1
    nothing = np.full(len(marks), np.nan)
    found = {name: nothing.copy() for name in _NAMES}
    seen, twice = place >= 0, place >= 1
    found["volume"][seen] = volume[place[seen]]
    found["concentration"][seen] = solute[place[seen]] / volume[place[seen]]
    for row, name in enumerate(("water", "concentrate")):
        now = place[twice]
        rate = (lost[row, now] - lost[row, now - 1]) / ((at[now] - at[now - 1]) / DAY)
        days = (np.array(marks)[twice] - at[now]) / DAY
        found[f"{name}_24h"][twice] = rate
        found[f"{name}_lost"][twice] = lost[row, now] + rate * (days + _FIRST / DAY)
    return found


_NAMES = ("volume", "concentration", "water_lost", "concentrate_lost", "water_24h",
          "concentrate_24h")  # fmt: skip


def _account(book: Book, water: Vector, concentrate: Vector) -> dict[str, Vector]:
    """Quantities from a book with a line each hour."""
    volume = np.array(book.volume)
    found = {
        "volume": volume,
        "concentration": np.divide(
            book.concentrate, volume, out=np.zeros(len(volume)), where=volume > 0.0
        ),
        "water_lost": water,
        "concentrate_lost": concentrate,
    }
    for name, total in (("water_24h", water), ("concentrate_24h", concentrate)):
        found[name] = np.full(len(total), np.nan)
        found[name][24:] = total[24:] - total[:-24]
    return found


def _known(witness: Witness, begin: int, end: int) -> tuple[float, float] | None:
    """Volume and concentrate known to have come in between two moments; drained is negative."""
    volume = concentrate = 0.0
    any_known = False
    for event in witness.happenings:
        if begin < event.at <= end and (event.metered or event.told is not None):
            told = _believed(event)
            sign = 1.0 if event.inflow else -1.0
            volume, concentrate = volume + sign * told[0], concentrate + sign * told[1]
            any_known = True
    return (volume, concentrate) if any_known else None


def _believed(event: Happening) -> tuple[float, float]:
    """What is believed of an event: the meters, else what was said."""
    if event.told is not None and not event.metered:
        return event.told.volume, event.told.concentrate or event.told.volume * event.strength
    return event.volume, event.concentrate


def _hours(witness: Witness, marks: list[int]) -> Book:
    """Volume and concentrate at each mark from the hour before; the last known where silent."""
    level, brix = _means(witness, marks)
    spec = witness.spec
    fluid = witness.scenario.fluid(spec.concentrate)
    tank = Tank(spec.tank)
    volume, strength = tank.volume(spec.level_mm.target), fluid.target_pct / 100.0
    book = Book(list(marks), [], [])
    for depth, reading in zip(level, brix, strict=True):
        volume = max(depth, 0.0) if np.isfinite(depth) else volume
        if np.isfinite(reading):
            strength = reading * fluid.refractometer_factor / 100.0
        book.volume.append(volume)
        book.concentrate.append(volume * strength)
    return book


def _means(witness: Witness, marks: list[int]) -> tuple[Vector, Vector]:
    """Means of the hour before each mark: volume by the drawing [L], and Brix while it flows."""
    spec, tank = witness.spec, Tank(witness.spec.tank)
    gauge = Gauge(witness, spec.signals.level) if spec.signals.level is not None else None
    told = spec.signals.running is not None
    holdup = spec.holdup_l if told and spec.holdup_told else 0.0
    sums = np.zeros((2, 2, len(marks)))
    for sight in witness.sights:
        i = -((marks[0] - sight.at) // HOUR)
        if i >= len(marks):
            break
        if gauge is not None and "level" in sight.values:
            seen = tank.volume(gauge.depth(sight.values["level"], 20.0))
            sums[0, 0, i] += seen + (holdup if sight.running else 0.0)
            sums[0, 1, i] += 1.0
        if "brix" in sight.values and (sight.running or not told):
            sums[1, 0, i] += sight.values["brix"]
            sums[1, 1, i] += 1.0
    counts = np.where(sums[:, 1] > 0.0, sums[:, 1], np.nan)
    return sums[0, 0] / counts[0], sums[1, 0] / counts[1]


def _rounds(witness: Witness) -> Book:
    """Dipstick and handheld refractometer, each with its error, every seven days."""
    spec = witness.spec
    drawing, true = Tank(spec.tank), Tank(spec.tank, witness.area_factor, spec.sludge_l)
    factor = witness.scenario.fluid(spec.concentrate).refractometer_factor
    draws = Draws.named(witness.seed, witness.sump, "naive")
    book = Book([], [], [])
    for at in range(witness.begin + _FIRST, witness.end + MINUTE, _ROUND):
        inside = witness.true("volume", at) + witness.true("oil", at)
        volume = drawing.volume(true.depth(inside) + _DIPSTICK * draws.normal())
        brix = witness.true("reading", at) + _HANDHELD * draws.normal()
        book.at.append(at)
        book.volume.append(volume)
        book.concentrate.append(volume * brix * factor / 100.0)
    return book
