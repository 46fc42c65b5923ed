"""From readings to depths and back, and what temperatures do, as the yardstick has them."""

import numpy as np
import pytest

from simulators.climate import Hall
from simulators.instants import MINUTE, Calendar
from simulators.scenario.shop import Climate
from simulators.scenario.signals import LevelSpec
from simulators.score.gauges import Gauge, at_20, celsius_of
from simulators.score.offsets import millimetres
from simulators.score.warmth import Drive, assumed, hall
from simulators.sensors.level import LevelSensor
from simulators.tank import Tank
from simulators.water import brix_correction
from tests.simulators.floors import a_sump, plant
from tests.simulators.score.witnesses import made_up, scenario_witness

QUIET = {"sd_mm": 0.0, "wave_mm": 0.0, "foam_mm": 0.0, "wander_mm": 0.0, "offset_mm": 0.0}
KINDS = [
    ("depth", "mm", 1.0, {}),
    ("depth", "inch", 0.02, {}),
    ("air-gap", "mm", 1.0, {"mount_mm": 700.0}),
    ("volume", "L", 1.0, {}),
    ("percent", "%", 0.5, {}),
    ("pressure", "hPa", 0.05, {}),
]


@pytest.mark.parametrize(("kind", "unit", "resolution", "more"), KINDS)
def test_a_gauge_turns_every_kind_of_sensor_round(kind, unit, resolution, more):
    """A faultless sensor's reading gives the depth at which the fluid stands."""
    spec = LevelSpec(kind=kind, unit=unit, resolution=resolution, **QUIET, **more)
    sump, floor = a_sump(depth=330.0), plant()
    sump.celsius = 20.0
    calendar = Calendar(floor.scenario.begin, floor.scenario.zone)
    air = Hall(Climate(), calendar, 1)
    air.celsius = 20.0
    witness = made_up()
    sensor = LevelSensor(spec, Tank(witness.spec.tank), witness.spec.level_mm.brim, (1, "m1"))
    reading = sensor.read(0, sump, air)

    assert Gauge(witness, spec).depth(reading, 20.0) == pytest.approx(sump.depth, abs=0.05)
    assert 0.0 < millimetres(spec, Tank(witness.spec.tank), 400.0, 330.0) < 3.0


@pytest.mark.parametrize("celsius", [10.0, 20.0, 31.0, 42.0])
@pytest.mark.parametrize("true", [1.0, 6.4, 12.0])
def test_an_uncompensated_reading_comes_back_to_20_degrees(true, celsius):
    """Corrected, a reading at another temperature is the one at 20 °C."""
    assert at_20(true - brix_correction(celsius, true), celsius) == pytest.approx(true, abs=1e-3)


def test_temperatures_come_in_either_unit():
    """Fahrenheit is turned round; a moment without a reading gives none."""
    assert celsius_of({"temperature": 68.0}, "degF") == pytest.approx(20.0)
    assert celsius_of({"temperature": 20.0}, "degC") == 20.0
    assert celsius_of({}, "degC") is None


def test_evaporation_is_driven_by_warmth():
    """At the mean it is the usual one, more above, never negative in a cold fluid."""
    drive = Drive(made_up(celsius=np.full(2880, 30.0)))

    assert drive.at(30.0) == pytest.approx(1.0)
    assert drive.at(35.0) > 1.3
    assert 0.0 < drive.at(5.0) < 0.2


def test_an_unmeasured_temperature_follows_the_pumps():
    """Without a thermometer most of what the fluid's temperature does is still expected."""
    witness = scenario_witness("no-running-signal", 1, 3.0)
    true = witness.minutes["celsius"]

    assert witness.spec.signals.temperature is None
    assert np.std(true - assumed(witness)) < 0.4 * np.std(true)


def test_the_halls_day_is_known_but_for_the_weather():
    """The expected temperature of the hall differs from the true one by the weather alone."""
    scenario = plant("days = 2\n[climate]\nday_swing_c = 4\nweather_c = 0").scenario
    calendar = Calendar(scenario.begin, scenario.zone)
    true = Hall(scenario.climate, calendar, 1)
    minutes = np.arange(1, 2881)
    temperatures = []
    for minute in minutes:
        true.look(calendar.begin + int(minute) * MINUTE, working=False)
        temperatures.append(true.celsius)
    witness = made_up()
    witness.scenario = scenario

    assert hall(witness) == pytest.approx(np.array(temperatures), abs=0.05)
