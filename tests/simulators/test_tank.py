"""The simulator's own tanks against an independent library."""

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.scenario.sump import BoxSpec, LyingSpec, TableSpec, UprightSpec
from simulators.tank import Tank


@given(st.floats(300.0, 2000.0), st.floats(300.0, 4000.0), st.floats(0.01, 0.99))
def test_lying_cylinder_agrees_with_fluids(diameter, length, filled):
    """A table of 400 lines is within 0.02 % of the full tank of fluids.geometry.V_from_h."""
    tank = Tank(LyingSpec(shape="lying-cylinder", diameter_mm=diameter, length_mm=length))
    depth = filled * diameter
    other = fluids.geometry.V_from_h(depth / 1e3, diameter / 1e3, length / 1e3, horizontal=True)
    full = tank.volume(diameter)
    assert tank.volume(depth) == pytest.approx(other * 1e3, abs=2e-4 * full)


def test_printed_tank_of_fifteen_cubic_metres():
    """10 m long, level 0.2 m below the top, 1 m wide there: 15.138 m³ (hackmath.net, 3613)."""
    tank = Tank(LyingSpec(shape="lying-cylinder", diameter_mm=1450.0, length_mm=10_000.0))
    assert tank.volume(1250.0) == pytest.approx(15_138.0, rel=2e-4)


TANKS = st.sampled_from(
    [
        BoxSpec(length_mm=1500.0, width_mm=700.0, height_mm=450.0),
        UprightSpec(shape="upright-cylinder", diameter_mm=800.0, height_mm=500.0),
        LyingSpec(shape="lying-cylinder", diameter_mm=700.0, length_mm=1500.0),
        TableSpec(shape="table", depth_mm=(0.0, 100.0, 450.0), volume_l=(0.0, 80.0, 410.0)),
    ]
)


@given(TANKS, st.floats(0.9, 1.1), st.floats(0.0, 20.0), st.floats(0.02, 1.05))
def test_depth_and_volume_are_each_others_inverse(shape, area, sludge, filled):
    """To the volume and back, with any area and sludge, a little over the brim too."""
    tank = Tank(shape, area, sludge)
    depth = filled * tank.height
    assert tank.depth(tank.volume(depth)) == pytest.approx(depth, abs=1e-6)


def test_sludge_takes_the_place_of_fluid():
    """Above the sludge a tank holds less by just the sludge."""
    box = BoxSpec(length_mm=1000.0, width_mm=1000.0, height_mm=500.0)
    assert Tank(box).volume(300.0) - Tank(box, 1.0, 12.0).volume(300.0) == pytest.approx(12.0)


def test_area_is_the_slope():
    """A box of 1.05 m² has 1.05 m² at any depth."""
    assert Tank(BoxSpec(length_mm=1500.0, width_mm=700.0, height_mm=450.0)).area(
        200.0
    ) == pytest.approx(1.05)
