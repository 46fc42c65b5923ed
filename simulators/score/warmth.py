r"""The temperatures of fluid and hall as the yardstick has them, and what they do.

Where no sensor measures the fluid, it follows the pumps with the sump's own time constant, heat
capacity over heat lost per degree. Evaporation goes with the vapour pressure over the fluid less
that in the hall:

.. math:: \varphi = \frac{p_s(T) - p_a}{p_s(\bar T) - p_a}
"""

import math

import numpy as np

from simulators.evaporation import saturation_pressure
from simulators.score.kalman import Vector
from simulators.score.told import Witness
from simulators.tank import Tank

_HEAT = 4180.0  # [J/(L K)], water
_MINUTE_S = 60.0
_MIDSUMMER, _WARMEST, _PEOPLE_MIN = 208, 15.0, 90.0
"""Day of the year, hour of the day, and how long a hall takes to warm up, as the simulator has."""
_LEAST = 0.05  # of the usual evaporation


def assumed(witness: Witness) -> Vector:
    """Temperature minute by minute: as measured, or as the pumps let expect it. [°C]"""
    true = witness.minutes["celsius"]
    if witness.spec.signals.temperature is not None:
        return true
    volume = Tank(witness.spec.tank).volume(witness.spec.level_mm.target)
    memory = _HEAT * volume / witness.spec.machine.cooling_w_per_k
    share = -math.expm1(-_MINUTE_S / memory)
    warm, warmth = 0.0, []
    for running in witness.minutes["running"].tolist():
        warm += (running - warm) * share
        warmth.append(warm)
    shape = np.array(warmth)
    about = shape - shape.mean()
    slope = float(about @ true) / max(float(about @ about), 1e-12)
    return np.asarray(true.mean() + slope * about)


def hall(witness: Witness) -> Vector:
    """What the hall's temperature was to be expected to be, minute by minute. [°C]

    The day's swing, the year's, and the warmth of people and machines; the weather is not known.
    """
    climate, begin = witness.scenario.climate, witness.scenario.begin
    running = witness.minutes["running"].tolist()
    first = begin.hour + begin.minute / 60.0
    midsummer = 2.0 * math.pi * (begin.timetuple().tm_yday - _MIDSUMMER) / 365.25
    mean = climate.mean_c + climate.season_c * math.cos(midsummer)
    people, temperatures = 0.0, []
    for minute, working in enumerate(running, 1):
        people += (working - people) / _PEOPLE_MIN
        phase = 2.0 * math.pi * (first + minute / 60.0 - _WARMEST) / 24.0
        daily = mean + climate.trend_c_per_day * minute / 1440.0
        daily += climate.day_swing_c * math.cos(phase)
        temperatures.append(daily + climate.machines_c * people)
    return np.array(temperatures)


class Drive:
    """How strongly a temperature drives evaporation, over the mean of a run. [1]"""

    def __init__(self, witness: Witness) -> None:
        climate = witness.scenario.climate
        self._air = saturation_pressure(climate.mean_c) * climate.humidity_pct / 100.0
        mean = float(witness.minutes["celsius"].mean())
        self._usual = max(saturation_pressure(mean) - self._air, 1.0)

    def at(self, celsius: float) -> float:
        """Evaporation at a temperature [°C] over that at the mean. [1]"""
        return max((saturation_pressure(celsius) - self._air) / self._usual, _LEAST)
