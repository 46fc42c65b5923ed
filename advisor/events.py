"""Amounts that come or go at once: what they do to the state, and the notes kept of them."""

from dataclasses import dataclass, replace

import numpy as np

from advisor import balance
from advisor import states as s
from advisor.belief import EventNote
from advisor.filter_step import Matrix, Vector, forget, project, shock
from advisor.words import Estimate, EventKind, EventSource, Instant, SumpEvent

KEPT = 32
"""Events in the memory. [1]"""
LEAST = 1.2
"""An inferred event that came to less was none. [L]"""
LEAST_SDS = 2.0
"""Nor one that is not so many sds from nothing. [1]"""


@dataclass(frozen=True, slots=True)
class Pour:
    """An amount of mix with its spread: volume and strength each on their own."""

    water: float
    concentrate: float
    volume_sd: float
    """[L]"""
    strength_sd: float
    """[1]"""

    @property
    def volume(self) -> float:
        """Water and concentrate together. [L]"""
        return self.water + self.concentrate


TRUE_LITRES = ((s.AREA, -1.0),)
"""Litres that people tell, as litres of the drawing: the first order of 1 / (1 + AREA)."""
REPORTED = (*TRUE_LITRES, (s.REPORT_GAIN, 1.0))
"""Litres that people report: their buckets err alike."""
READ = (s.C, s.ADDED_CONCENTRATE, s.DRAINED_CONCENTRATE)
"""Totals of concentrate as the refractometer takes it."""


def pour_told(
    mean: Vector, cov: Matrix, shape: Vector, size: float, gains: tuple[tuple[int, float], ...]
) -> None:
    """Add a told amount that is off by gains which are entries of the state themselves.

    Parameters
    ----------
    mean, cov : shape (n,), (n, n)
        Changed in place. [its own unit]
    shape : shape (n,)
        What a litre does to each entry. [1]
    size : float
        The amount as told. [L]
    gains : tuple of (place, sign)
        The amount is `size` times one plus the signed sum of these entries. [1]
    """
    places, signs = [place for place, _ in gains], np.array([sign for _, sign in gains])
    spread, variance = project(cov, places, signs)
    whole = shape * size
    mean += whole * (1.0 + float(mean[places] @ signs))
    both = np.multiply.outer(whole, spread)
    cov += both + both.T
    cov += np.multiply.outer(whole, whole) * variance


def pour_mix(
    mean: Vector, cov: Matrix, shape: Vector, size: float, gains: tuple[tuple[int, float], ...]
) -> None:
    """Add a told amount of mix: what it adds to concentrate is read by the true factor. [L]"""
    read = np.zeros(s.SIZE)
    places = [*READ, *range(s.EVENTS + 1, s.CLONES, 2)]
    read[places] = shape[places]
    pour_told(mean, cov, shape - read, size, gains)
    if read.any():
        pour_told(mean, cov, read, size, (*gains, (s.FACTOR, 1.0)))


def add(
    mean: Vector,
    cov: Matrix,
    place: int,
    pour: Pour,
    gains: tuple[tuple[int, float], ...] = REPORTED,
) -> None:
    """Pour a told mix into the sump and onto an event's pair; `gains` as in `pour_told`. [L]"""
    volume = pour.volume
    strength = pour.concentrate / volume if volume > 0.0 else 0.0
    whole = _added(place, 1.0 - strength, strength)
    pour_mix(mean, cov, whole, volume, gains)
    shock(mean, cov, whole, 0.0, pour.volume_sd**2)
    shock(mean, cov, _added(place, -1.0, 1.0), 0.0, (volume * pour.strength_sd) ** 2)


def add_metered(mean: Vector, cov: Matrix, place: int, second: int, metered: float) -> None:
    """Pour what a totaliser counted, with the totaliser's own gain error as the state has it.

    `second` is 0 for water and 1 for concentrate.
    """
    shape = _added(place, 1.0 - second, float(second))
    pour_mix(mean, cov, shape, metered, (*TRUE_LITRES, (s.WATER_GAIN + second, 1.0)))


def _added(place: int, water: float, concentrate: float) -> Vector:
    """Give what water and concentrate poured in do to every entry. [L]"""
    shape = np.zeros(s.SIZE)
    pair = s.event_pair(place)
    shape[[s.V, s.C]] = water + concentrate, concentrate
    shape[[s.ADDED_WATER, pair]] = water
    shape[[s.ADDED_CONCENTRATE, pair + 1]] = concentrate
    return shape


def take_out(mean: Vector, cov: Matrix, place: int, volume: float, sd: float) -> None:
    r"""Drain a volume at the sump's own concentration, onto an event's pair.

    Exact in the mean; in the errors linear about it:
    :math:`\delta C' = (1 - v/V)\,\delta C + (v/V) c\,\delta V - c\,\delta v`.
    """
    now = max(float(mean[s.V]), 1e-3)
    strength, part = balance.concentration(mean), min(volume / now, 1.0)
    pair = s.event_pair(place)
    idx = [s.V, s.C, s.DRAINED_WATER, s.DRAINED_CONCENTRATE, pair, pair + 1]
    turn = np.eye(6)
    own = np.array((-part * strength, part))
    turn[1, :2] -= own
    turn[3, :2] += own
    turn[5, :2] += own
    turn[2, :2] -= own
    turn[4, :2] -= own
    cov[idx] = turn @ cov[idx]
    cov[:, idx] = cov[:, idx] @ turn.T
    shape = np.zeros(s.SIZE)
    shape[idx] = -1.0, -strength, 1.0 - strength, strength, 1.0 - strength, strength
    pour_told(mean, cov, shape, volume, TRUE_LITRES)
    shock(mean, cov, shape, 0.0, sd * sd)


def take_all(mean: Vector, cov: Matrix, place: int, residue: float, sd: float) -> None:
    """Drain everything but a residue of unknown size, at the sump's own concentration. [L]"""
    strength = balance.concentration(mean)
    pair = s.event_pair(place)
    for water in (s.DRAINED_WATER, pair):
        _copy_onto(mean, cov, water, [s.V, s.C], np.array((1.0, -1.0)))
        _copy_onto(mean, cov, water + 1, [s.C], np.array((1.0,)))
    forget(mean, cov, s.V, residue, sd * sd)
    forget(mean, cov, s.C, residue * strength, (sd * strength) ** 2)
    cov[s.V, s.C] = cov[s.C, s.V] = sd * sd * strength


def _copy_onto(mean: Vector, cov: Matrix, target: int, places: list[int], weights: Vector) -> None:
    """Add to one entry a weighted sum of others. [L]"""
    spread, variance = project(cov, places, weights)
    mean[target] += float(mean[places] @ weights)
    cov[target] += spread
    cov[:, target] += spread
    cov[target, target] += variance


def open_note(
    mean: Vector, cov: Matrix, notes: tuple[EventNote, ...], note: EventNote
) -> tuple[EventNote, ...]:
    """Begin an event on a free pair; the one learned for longest is settled where none is."""
    used = {kept.place for kept in notes if kept.place >= 0}
    free = [place for place in range(s.EVENT_PAIRS) if place not in used]
    if not free:
        oldest = next(kept for kept in notes if kept.place >= 0)
        free = [oldest.place]
        notes = tuple([settle(kept, mean, cov) if kept is oldest else kept for kept in notes])
    pair = s.event_pair(free[0])
    forget(mean, cov, pair, 0.0, 0.0)
    forget(mean, cov, pair + 1, 0.0, 0.0)
    return (*notes, replace(note, place=free[0]))[-KEPT:]


def settle(note: EventNote, mean: Vector, cov: Matrix) -> EventNote:
    """Write down what an event came to, and free its pair."""
    return replace(weigh(note, mean, cov), place=-1)


def weigh(note: EventNote, mean: Vector, cov: Matrix) -> EventNote:
    """Give an event's note with volume and strength as the state has them by now. [L], [1]"""
    if note.place < 0:
        return note
    pair = s.event_pair(note.place)
    water, concentrate = mean.item(pair), mean.item(pair + 1)
    ww, wc, cc = cov.item(pair, pair), cov.item(pair, pair + 1), cov.item(pair + 1, pair + 1)
    volume = water + concentrate
    scale = 1.0 + mean.item(s.AREA)
    shared = cov.item(pair, s.AREA) + cov.item(pair + 1, s.AREA)
    variance = (ww + 2.0 * wc + cc) * scale * scale + 2.0 * scale * volume * shared
    sd = max(variance + volume * volume * cov.item(s.AREA, s.AREA), 0.0) ** 0.5
    strength = None
    if volume > 0.0:
        part, keep = min(max(concentrate / volume, 0.0), 1.0), 1.0 - mean.item(s.FACTOR)
        a, b = -part / volume, (1.0 - part) / volume
        variance = (a * a * ww + 2.0 * a * b * wc + b * b * cc) * keep * keep
        variance += part * part * cov.item(s.FACTOR, s.FACTOR)
        strength = Estimate(part * keep, max(variance, 0.0) ** 0.5)
    told = note.told
    kind = told.kind
    if told.source == "inferred" and volume < max(LEAST, LEAST_SDS * sd):
        kind = "withdrawn"
    better = SumpEvent(
        id=told.id,
        at=told.at,
        kind=kind,
        source=told.source,
        volume=Estimate(max(volume * scale, 0.0), sd),
        strength=strength,
    )
    return EventNote(better, note.until, note.place, note.report)


def note_of(
    kind: EventKind, source: EventSource, at: Instant, name: str, report: str = ""
) -> EventNote:
    """Give the note of an event of which nothing is known yet but its moment. [ms]"""
    told = SumpEvent(id=name, at=at, kind=kind, source=source, volume=None, strength=None)
    return EventNote(told, at, -1, report)


def name_event(source: EventSource, kind: EventKind, at: Instant) -> str:
    """Give the id of an event that nobody named: the same whenever the same is folded again."""
    return f"{source}-{kind}-{at // 1000}"
