"""How far off each bias may be: as far as the simulator itself lets it be.

What a seed draws has the spread that it is drawn from. What a scenario fixes (oil, film, sludge,
the water's own reading, two temperature coefficients) is told to within half of its size: its mean
is half of it, and so is its spread.
"""

import math
from dataclasses import dataclass

import numpy as np

from simulators.draw_machine import oil_while_running
from simulators.scenario.signals import LevelSpec
from simulators.score.told import Witness
from simulators.score.warmth import assumed
from simulators.sensors.units import LEVEL_UNITS
from simulators.tank import Tank

_SOUND_PER_K = 0.607 / (331.45 + 0.607 * 20.0)  # [1/K], speed of sound in air near 20 °C
_SWELLS = 2.6e-4  # [1/K], water near 25 °C
_EVEN = 1.0 / math.sqrt(3.0)  # sd of what is drawn evenly up to 1 on either side


@dataclass(frozen=True, slots=True, kw_only=True)
class Offsets:
    """Spreads of all that a sensor or a drawing may be off by."""

    zero: float
    """Of the level sensor. [mm]"""
    sludge: float
    """By which the level stands too high for what the drawing holds. [mm]"""
    warm: float
    """Of the level with a temperature that nobody measures. [mm]"""
    area: float
    """Of the tank's true area over the drawn one. [1]"""
    holdup: float
    """Of the true holdup over the one that is told. [1]"""
    brix: float
    """Of the refractometer's zero. [°Brix]"""
    brix_warm: float
    """Of its reading with a temperature that nobody measures. [°Brix]"""
    kelvin: float
    """Of its reading per degree from 20 °C. [°Brix/K]"""
    factor: float
    """Of the true refractometer factor over the data sheet's. [1]"""
    water: float
    """What the make-up water itself reads. [°Brix]"""
    film_rate: float
    """Film on the prism. [°Brix/d]"""
    oil: float
    """Tramp oil afloat at the beginning. [L]"""
    oil_rate: float
    """While the pumps run. [L/d]"""
    oil_brix: float
    """Bias of every refractometer per litre of oil in 100 L. [°Brix]"""
    air: float
    """Of an air gap per degree of the air from 20 °C. [1/K]"""
    meter: float
    concentrate_meter: float
    """Of the totalisers' gains. [1]"""


def offsets_of(witness: Witness, *, holdup_told: bool) -> Offsets:
    """Gather the spreads from the scenario of a sump."""
    spec, scenario = witness.spec, witness.scenario
    signals, machine = spec.signals, spec.machine
    level, brix = signals.level, signals.brix
    fluid = scenario.fluid(spec.concentrate)
    tank = Tank(spec.tank)
    drawn = tank.area(spec.level_mm.target)
    missed = float(np.std(witness.minutes["celsius"] - assumed(witness)))
    kelvin = brix.temperature_brix_per_k if brix is not None else 0.0
    return Offsets(
        zero=level.offset_mm if level is not None else 0.0,
        sludge=spec.sludge_l / drawn,
        warm=_level_warmth(witness, level, tank, missed),
        area=spec.area_error * _EVEN,
        holdup=0.0 if holdup_told else spec.holdup_error,
        brix=brix.offset_brix if brix is not None else 0.0,
        brix_warm=kelvin * missed,
        kelvin=kelvin,
        factor=fluid.factor_error * _EVEN,
        water=scenario.water.brix,
        film_rate=abs(brix.film_brix_per_day) if brix is not None else 0.0,
        oil=spec.oil_l,
        oil_rate=oil_while_running(spec, scenario),
        oil_brix=machine.oil_brix_per_l,
        air=_per_kelvin(level),
        meter=signals.water_meter.gain_error if signals.water_meter is not None else 0.0,
        concentrate_meter=(
            signals.concentrate_meter.gain_error if signals.concentrate_meter is not None else 0.0
        ),
    )


def _per_kelvin(level: LevelSpec | None) -> float:
    """What an air gap is misread by per degree of the air. [1/K]"""
    if level is None or level.kind != "air-gap":
        return 0.0
    return _SOUND_PER_K * level.air_c_share


def _level_warmth(witness: Witness, level: LevelSpec | None, tank: Tank, missed: float) -> float:
    """Spread of the level with fluid, so far off [K], and air that nobody measures. [mm]"""
    if level is None:
        return 0.0
    signals, target = witness.spec.signals, witness.spec.level_mm.target
    fluid = tank.volume(target) * _SWELLS * missed / tank.area(target)
    air = 0.0
    if level.kind == "air-gap" and signals.air_temperature is None:
        gap = (level.mount_mm or 0.0) - target
        air = gap * _per_kelvin(level) * witness.scenario.climate.weather_c
    return math.hypot(fluid, air)


def millimetres(level: LevelSpec, tank: Tank, brim: float, target: float) -> float:
    """Resolution of a level sensor as a depth about the target. [mm]"""
    unit = LEVEL_UNITS[level.kind][level.unit] * level.resolution
    match level.kind:
        case "depth" | "air-gap":
            return unit
        case "volume":
            return unit / tank.area(target)
        case "percent":
            return unit * tank.volume(brim) / tank.area(target)
        case "pressure":
            return unit / 9.789
