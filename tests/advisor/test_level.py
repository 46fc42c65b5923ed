"""Level readings of every kind: what they stand for, and back."""

import math
from types import MappingProxyType

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from advisor.errors import AdvisorError
from advisor.geometry import Table, capacity, height, volume_at
from advisor.level import as_plant_reads, depth_of, reading_at_depth
from advisor.plan import Levels, SignalPlan, SumpPlan
from advisor.water import density, volume_at_20
from advisor.words import Signal
from tests.plants import a_sump
from tests.strategies import FRACTIONS, tanks_with_depth

KINDS = ("depth", "air-gap", "volume", "percent", "pressure")
TEMPERATURES = st.none() | st.floats(0.0, 60.0)


def a_sump_with(kind: str, *, mount: float | None = 600.0, **changes: object) -> SumpPlan:
    """The usual box with a level sensor of a kind."""
    level = SignalPlan(signal=Signal.LEVEL, kind=kind, mount=mount)  # type: ignore[arg-type]
    return a_sump(signals=MappingProxyType({Signal.LEVEL: level}), **changes)


@pytest.mark.parametrize(
    ("kind", "reading"),
    [
        ("depth", 380.0),
        ("air-gap", 220.0),
        ("volume", 399.0),
        ("percent", 380.0 / 430.0),
        # 1 m of water at 20 °C is 9789.1 Pa: 998.207 kg/m³ and standard gravity, own arithmetic.
        ("pressure", 0.380 * 9789.1),
    ],
)
def test_every_kind_tells_the_same_depth(kind, reading):
    """380 mm in a box of 1.05 L/mm with its brim at 430 mm, as each sensor shows it."""
    plan = a_sump_with(kind, mount=600.0 if kind == "air-gap" else None)
    assert depth_of(plan, reading) == pytest.approx(380.0, abs=2e-3)
    assert reading_at_depth(plan, 380.0) == pytest.approx(reading, rel=1e-5)


@given(st.sampled_from(KINDS), tanks_with_depth(flat=False), st.floats(0.1, 1.0), TEMPERATURES)
def test_a_threshold_leads_back_to_its_depth(kind, tank_and_depth, brim, temperature):
    """The reading at a depth stands for that depth, whatever the tank and the kind."""
    tank, depth = tank_and_depth
    top = height(tank)
    assume(0.01 * top < depth < 0.99 * top)
    levels = Levels(low=0.0, target=0.0, brim=brim * top, top_up=0.0)
    mount = None if kind == "pressure" else 1.5 * top
    plan = a_sump_with(kind, mount=mount, tank=tank, levels=levels)

    reading = reading_at_depth(plan, depth, temperature)

    assert depth_of(plan, reading, temperature) == pytest.approx(depth, rel=1e-7)


@pytest.mark.parametrize("kind", KINDS)
def test_a_sensor_that_scatters_over_the_ends_says_empty_or_full(kind):
    """Under the floor is the floor, over the rim the rim: an overfull sump is seen to be full."""
    plan = a_sump_with(kind, mount=None if kind == "pressure" else 600.0)
    empty, full = reading_at_depth(plan, 0.0), reading_at_depth(plan, height(plan.tank))
    step = 0.01 * (full - empty)

    assert depth_of(plan, empty - step) == 0.0
    assert depth_of(plan, full + step) == height(plan.tank)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("reading", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(kind, reading):
    """No depth is made of a reading that is none."""
    with pytest.raises(AdvisorError, match="level reading"):
        depth_of(a_sump_with(kind), reading)


def test_a_threshold_beyond_the_tank_is_refused():
    """No alarm is set where no fluid can stand."""
    with pytest.raises(AdvisorError, match="depth"):
        reading_at_depth(a_sump_with("air-gap"), math.nextafter(450.0, 451.0))


def test_an_air_gap_needs_its_mounting_height():
    """Without it nothing is guessed, in either direction."""
    plan = a_sump_with("air-gap", mount=None)
    for function in (depth_of, reading_at_depth):
        with pytest.raises(AdvisorError, match="mount"):
            function(plan, 200.0)


def test_a_sump_without_a_level_signal_is_read_by_depth():
    """A dipstick's depth is what it says."""
    plan = a_sump(signals=MappingProxyType({}))
    assert depth_of(plan, 200.0) == reading_at_depth(plan, 200.0) == 200.0


def test_a_pressure_sensor_above_the_floor_adds_its_height():
    """Mounted at 50 mm it shows nothing until the fluid reaches it, and 50 mm less from there."""
    plan = a_sump_with("pressure", mount=50.0)
    assert reading_at_depth(plan, 50.0) == reading_at_depth(plan, 20.0) == 0.0
    assert depth_of(plan, 0.0) == 50.0
    low = reading_at_depth(a_sump_with("pressure", mount=None), 200.0)
    assert reading_at_depth(plan, 250.0) == pytest.approx(low)


@given(FRACTIONS, st.floats(0.0, 60.0))
def test_pressure_weighs_the_fluid_so_that_its_temperature_need_not_be_known(share, temperature):
    """Between upright walls, depth by the density at 20 °C gives the volume at 20 °C."""
    plan = a_sump_with("pressure", mount=None)
    depth = share * 400.0
    pressure = density(temperature) * 9.80665e-3 * depth

    guessed = volume_at(plan.tank, depth_of(plan, pressure))

    true = volume_at_20(volume_at(plan.tank, depth), temperature)
    assert guessed == pytest.approx(true, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("temperature", [-5.0, 60.5, 850.0, math.nan])
def test_a_broken_thermometer_does_not_blind_a_pressure_sensor(temperature):
    """A temperature that no fluid has counts as one that is not known."""
    plan = a_sump_with("pressure", mount=None)
    assert depth_of(plan, 3000.0, temperature) == depth_of(plan, 3000.0)
    assert reading_at_depth(plan, 300.0, temperature) == reading_at_depth(plan, 300.0)


def test_a_table_with_a_pit_under_the_floor_takes_volumes_within_it():
    """A volume sensor in a tank with a heel of 3 L says the floor for less than that."""
    tank = Table(depth=(0.0, 400.0), volume=(3.0, 203.0))
    plan = a_sump_with("volume", tank=tank)
    assert depth_of(plan, 1.0) == 0.0
    assert depth_of(plan, 103.0) == pytest.approx(200.0)
    assert depth_of(plan, capacity(tank) + 1.0) == 400.0


@pytest.mark.parametrize(
    ("factor", "offset", "inside", "outside"),
    [(1.0, 0.0, 380.0, 380.0), (25.4, 0.0, 254.0, 10.0), (5 / 9, -160 / 9, 20.0, 68.0)],
)
def test_a_threshold_is_said_in_the_plants_own_unit(factor, offset, inside, outside):
    """Internal value back to inches, to degrees Fahrenheit: the conversion the other way."""
    signal = SignalPlan(signal=Signal.TEMPERATURE, per_unit=factor, offset=offset)
    assert as_plant_reads(signal, inside) == pytest.approx(outside)
