"""What people pour from, as ways of making a mix."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import ceil, inf

from advisor.geometry import volume_at
from advisor.plan import SumpPlan, Supply, Vessel
from advisor.pouring import Way
from advisor.wording import count_unit

DEFAULT_MARK = 0.1
"""Graduation where a plant names no vessel. [L]"""

REST = "rest"
"""Name of the way that fills up a charge."""

MANY = 24
"""More batches than this nobody carries: the amounts are then measured by meter or in a tank."""


DOSE_SHARE = 0.015
"""Part of the volume wanted that must fit before a station doses: little and often. [1]"""

DOSE_STEPS = 20.0
"""... and so many of its steps, so that the strength can be met. [1]"""

SETTINGS_TRIED = 2
"""Settings of a proportioner nearest to the ideal strength; the weakest and strongest besides."""


def marks(sump: SumpPlan) -> tuple[float, float]:
    """Coarsest mark for water and finest for concentrate among the vessels. [L]

    Concentrate is measured in the vessel that measures finest. A station measures both alike.
    """
    if sump.station is not None and sump.station.automatic:
        return sump.station.resolution, sump.station.resolution
    steps = [vessel.graduation for vessel in sump.vessels] or [DEFAULT_MARK]
    return max(steps), min(steps)


def smallest_fill(sump: SumpPlan) -> float:
    """Say what the smallest vessel carries, or a station doses; without either one mark. [L]"""
    least = least_dose(sump)
    if least is not None:
        return least
    return min((vessel.fill for vessel in sump.vessels), default=DEFAULT_MARK)


def least_dose(sump: SumpPlan) -> float | None:
    """Say how much must fit before a station doses; `None` where none does so by itself. [L]"""
    station = sump.station
    if station is None or not station.automatic:
        return None
    least = station.min_dose
    if least is None:
        wanted: float = volume_at(sump.tank, sump.levels.target)
        least = max(DOSE_SHARE * wanted, DOSE_STEPS * station.resolution)
    return least if station.max_dose is None else min(least, station.max_dose)


def low_volume(sump: SumpPlan) -> float:
    """Volume under which a top-up is due, by the plant file or since a station's dose fits. [L]"""
    low: float = volume_at(sump.tank, sump.levels.top_up)
    least = least_dose(sump)
    if least is None:
        return low
    return max(low, volume_at(sump.tank, sump.levels.target) - least)


def ways_to_dose(sump: SumpPlan) -> tuple[Way, ...]:
    """Way in which a station makes a mix: one dose, in its own steps. [L]"""
    step, most = marks(sump)[0], None if sump.station is None else sump.station.max_dose
    fill = inf if most is None else most
    return (replace(_of_any_size(""), marks=(step, step), unit=step, fill=fill),)


def concentrate_left(sump: SumpPlan, stock: Mapping[str, float]) -> float:
    """Concentrate that the sump's drums hold; infinite where one of them is not counted. [L]"""
    drums = [supply.id for supply in sump.supplies if supply.kind == "drum"]
    if not drums or any(drum not in stock for drum in drums):
        return inf
    return sum(stock[drum] for drum in drums)


def ways_to_pour(
    sump: SumpPlan, room: float, ideal: float, stock: Mapping[str, float]
) -> tuple[Way, ...]:
    """Ways of making a mix that fills at most `room`.

    Parameters
    ----------
    sump : SumpPlan
        Its vessels and supplies. Where none gives a mix that the fluid takes, a drum is taken for
        granted.
    room : float
        For all batches together. [L]
    ideal : float
        Strength that would be right: of a proportioner's settings those around it are tried. [1]
    stock : mapping
        What is left of each supply, by its id. [L]
    """
    kinds = [
        replace(kind, left=stock[kind.supply]) if kind.supply in stock else kind
        for kind in _kinds(sump, ideal)
    ]
    ways = [way for kind in kinds for way in _in_vessels(sump, room, kind)]
    carried = tuple(way for way in ways if way.most <= MANY)
    return carried or tuple(replace(kind, marks=marks(sump)) for kind in kinds)


def ways_to_charge(sump: SumpPlan, volume: float, stock: Mapping[str, float]) -> tuple[Way, ...]:
    """Ways of filling an empty sump with `volume` [L]: strong mix in batches, then the rest.

    `stock` is what is left of each supply, by its id. [L]

    The rest is water straight from the line, or weak mix for a fluid that needs it.
    """
    fluid = sump.fluid
    coarse, fine = marks(sump)
    share = (fluid.target - fluid.weak_mix) / max(fluid.premix_max - fluid.weak_mix, 1e-9)
    strong = ways_to_pour(sump, min(share * 1.2, 1.0) * volume, fluid.target, stock)
    weak = (fluid.weak_mix, min(1.5 * fluid.weak_mix, fluid.premix_max))
    second = 1.0 if fluid.weak_mix > 0.0 else None
    rest = Way(
        name=REST,
        fill=inf,
        marks=(coarse, fine),
        strengths=(0.0, second),
        unit=1.0,
        limits=weak,
        part=1,
    )
    return (*strong, rest)


def minutes_to_mix(sump: SumpPlan, volume: float) -> float:
    """Say for how long the pumps run until `volume` [L] is mixed. [min]

    As many turnovers as the data sheet asks for, where the pumps' flow is known; else its minutes.
    """
    turnovers, flow = sump.fluid.turnovers, sump.pump_flow
    if turnovers is None or flow is None:
        return sump.fluid.circulate
    return float(ceil(turnovers * volume / flow))


def vessel_named(sump: SumpPlan, name: str) -> Vessel | None:
    """Find the vessel of a way; `None` where nothing is carried. Its marks are in [L]."""
    return next((vessel for vessel in sump.vessels if vessel.id == name), None)


def finest(sump: SumpPlan) -> Vessel | None:
    """Find the vessel that measures the concentrate: the one with the finest marks. [L]"""
    return min(sump.vessels, key=lambda vessel: vessel.graduation, default=None)


def _kinds(sump: SumpPlan, ideal: float) -> list[Way]:
    """What a mix can be made of, in no vessel yet. Strengths in [1]."""
    kinds = []
    supplies = [supply for supply in sump.supplies if supply.kind != "water"]
    if not supplies or any(supply.kind == "drum" for supply in supplies):
        kinds.append(_of_any_size(""))
    for supply in supplies:
        if supply.kind == "premix" and supply.strength is not None:
            kinds.append(_of_any_size(supply.id, (0.0, supply.strength)))
        if supply.kind == "proportioner":
            settings = _settings(supply, sump, ideal)
            kinds += [_of_any_size(supply.id, (setting, None)) for setting in settings]
    return kinds or [_of_any_size("")]


def _settings(supply: Supply, sump: SumpPlan, ideal: float) -> list[float]:
    """Settings that the fluid takes: those nearest to the ideal strength, and the extremes. [1]"""
    fluid = sump.fluid
    taken = sorted({s for s in supply.settings if fluid.weak_mix <= s <= fluid.premix_max})
    nearest = sorted(taken, key=lambda setting: abs(setting - ideal))[:SETTINGS_TRIED]
    return sorted({*nearest, *taken[:1], *taken[-1:]})


def _of_any_size(supply: str, strengths: tuple[float, float | None] = (0.0, 1.0)) -> Way:
    """Make a mix of two things, measured by meter or in a tank. [1]"""
    return Way(name="", supply=supply, fill=inf, marks=(0.0, 0.0), strengths=strengths)


def _in_vessels(sump: SumpPlan, room: float, kind: Way) -> Iterator[Way]:
    """Make it in each of the vessels, to their marks. [L]"""
    for vessel in sump.vessels:
        yield replace(
            kind,
            name=vessel.id,
            fill=vessel.fill,
            marks=(vessel.graduation, marks(sump)[1]),
            unit=count_unit(vessel),
            most=max(ceil(room / vessel.fill), 1),
        )
