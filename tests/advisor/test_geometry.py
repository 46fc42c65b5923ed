"""What every tank promises: monotone, invertible, refusing what it cannot hold."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from advisor.errors import AdvisorError
from advisor.geometry import (
    Box,
    LyingCylinder,
    Table,
    UprightCylinder,
    area_at,
    capacity,
    depth_at,
    depths_at,
    height,
    volume_at,
    volumes_at,
)
from tests.strategies import FRACTIONS, tanks, tanks_with_depth, tanks_with_volume

BOX = Box(length=1500.0, width=700.0, height=450.0)
UPRIGHT = UprightCylinder(diameter=800.0, height=500.0)
LYING = LyingCylinder(diameter=1000.0, length=2000.0)
TABLE = Table(depth=(0.0, 100.0, 200.0, 450.0), volume=(2.0, 80.0, 80.0, 410.0))
EACH = pytest.mark.parametrize(
    "tank", [BOX, UPRIGHT, LYING, TABLE], ids=lambda tank: type(tank).__name__
)


@EACH
def test_full_to_the_rim_is_its_capacity_and_the_floor_its_least(tank):
    """Both ends of the range belong to it, and are exact."""
    assert volume_at(tank, height(tank)) == capacity(tank)
    assert depth_at(tank, capacity(tank)) == height(tank)
    assert volume_at(tank, 0.0) == (2.0 if tank is TABLE else 0.0)
    assert depth_at(tank, volume_at(tank, 0.0)) == 0.0


@EACH
@pytest.mark.parametrize("function", [volume_at, area_at])
def test_a_depth_beyond_the_tank_is_refused(tank, function):
    """One step of a float beyond either end, infinite, or no number: an error that names it."""
    beyond = math.nextafter(height(tank), math.inf)
    for depth in (math.nextafter(0.0, -1.0), beyond, -0.1, math.inf, -math.inf, math.nan):
        with pytest.raises(AdvisorError, match="depth") as raised:
            function(tank, depth)
        assert raised.value.quantity == "depth"


@EACH
def test_a_volume_that_the_tank_cannot_hold_is_refused(tank):
    """One step of a float beyond either end, infinite, or no number: an error that names it."""
    least = volume_at(tank, 0.0)
    beyond = math.nextafter(capacity(tank), math.inf)
    for volume in (math.nextafter(least, -math.inf), beyond, -0.1, math.inf, math.nan):
        with pytest.raises(AdvisorError, match="volume"):
            depth_at(tank, volume)


@given(tanks_with_depth(flat=False))
def test_the_depth_of_a_volume_is_where_it_came_from(tank_and_depth):
    """Depth to volume and back gives the depth, to 1e-9 of it."""
    tank, depth = tank_and_depth
    assume(depth > 1e-6)

    back = depth_at(tank, volume_at(tank, depth))

    # Near the ridge of a lying cylinder volume hardly tells depth: its own last digit moves it.
    blur = 4e-16 * capacity(tank) / max(area_at(tank, depth), 1e-12)
    assert back == pytest.approx(depth, rel=1e-9, abs=max(blur, 1e-12 * height(tank)))


@given(tanks_with_volume())
def test_the_volume_of_a_depth_is_what_was_asked_for(tank_and_volume):
    """Volume to depth and back gives the volume, flat stretches of a table included."""
    tank, volume = tank_and_volume
    assert volume_at(tank, depth_at(tank, volume)) == pytest.approx(
        volume, rel=1e-9, abs=1e-12 * capacity(tank)
    )


@given(tanks(), FRACTIONS, FRACTIONS)
def test_deeper_is_never_less(tank, one, other):
    """Volume rises with depth, to the last digit but two."""
    shallow, deep = sorted((one * height(tank), other * height(tank)))
    assert volume_at(tank, shallow) <= volume_at(tank, deep) * (1.0 + 1e-15)


@given(tanks(), FRACTIONS, FRACTIONS)
def test_more_is_never_shallower(tank, one, other):
    """Depth rises with volume, to the last digit but two."""
    least, span = volume_at(tank, 0.0), capacity(tank) - volume_at(tank, 0.0)
    less, more = sorted((one * span, other * span))
    lower = depth_at(tank, min(least + less, capacity(tank)))
    assert lower <= depth_at(tank, min(least + more, capacity(tank))) * (1.0 + 1e-15)


@given(tanks_with_depth())
def test_a_step_of_depth_is_area_times_step_of_volume(tank_and_depth):
    """The free surface is the slope of the volume, between corners and off the ends."""
    tank, depth = tank_and_depth
    step = 1e-4 * height(tank)
    assume(0.02 * height(tank) < depth < 0.98 * height(tank))
    if isinstance(tank, Table):
        assume(all(abs(depth - corner) > step for corner in tank.depth))

    slope = (volume_at(tank, depth + step) - volume_at(tank, depth - step)) / (2.0 * step)

    assert area_at(tank, depth) == pytest.approx(slope, rel=1e-5, abs=1e-9)


@given(st.floats(100.0, 5000.0), st.floats(1e-12, 1e-3))
def test_the_first_drop_in_a_lying_cylinder_keeps_its_digits(diameter, share):
    """Nearly empty, V is 4/3 sqrt(D) h^1.5 L: the segment as a parabola; no digits cancel."""
    tank, depth = LyingCylinder(diameter=diameter, length=1000.0), share * diameter
    parabola = 4.0 / 3.0 * math.sqrt(diameter) * depth**1.5 * 1000.0 * 1e-6
    assert volume_at(tank, depth) == pytest.approx(parabola * (1.0 - 0.3 * share), rel=1e-6)
    assert depth_at(tank, volume_at(tank, depth)) == pytest.approx(depth, rel=1e-12)


@given(tanks(), st.lists(FRACTIONS, min_size=1, max_size=20))
def test_many_at_once_are_the_same_as_one_by_one(tank, shares):
    """Array forms agree with the single ones, both ways."""
    depths = np.array([share * height(tank) for share in shares])

    volumes = volumes_at(tank, depths)
    singly = [volume_at(tank, depth) for depth in depths]

    close = {"rel": 1e-13, "abs": 1e-13 * capacity(tank)}
    assert volumes.tolist() == pytest.approx(singly, **close)
    back = depths_at(tank, np.array(singly))
    close = {"rel": 1e-12, "abs": 1e-13 * height(tank)}
    assert back.tolist() == pytest.approx([depth_at(tank, each) for each in singly], **close)


@EACH
def test_one_bad_depth_among_many_is_named(tank):
    """An array is refused for one value beyond, and the error shows that value."""
    with pytest.raises(AdvisorError, match=r"-1\.0"):
        volumes_at(tank, np.array([10.0, -1.0, 20.0]))
    with pytest.raises(AdvisorError, match="nan"):
        depths_at(tank, np.array([10.0, math.nan]))


def test_a_flat_stretch_of_a_table_is_met_at_its_lower_end():
    """Where a baffle fills the tank, the least depth that holds the volume is given."""
    assert depth_at(TABLE, 80.0) == 100.0
    assert volume_at(TABLE, 150.0) == 80.0
    assert area_at(TABLE, 150.0) == 0.0
    flat_first = Table(depth=(0.0, 50.0, 100.0), volume=(0.0, 0.0, 40.0))
    assert depth_at(flat_first, 0.0) == 0.0
    assert depths_at(flat_first, np.array([0.0, 20.0])).tolist() == [0.0, 75.0]


def test_the_surface_at_a_corner_is_the_one_above_and_at_the_top_the_last():
    """Area is single-valued: what the next litre will meet."""
    assert area_at(TABLE, 200.0) == pytest.approx(330.0 / 250.0)
    assert area_at(TABLE, 450.0) == pytest.approx(330.0 / 250.0)
    assert area_at(TABLE, 0.0) == pytest.approx(0.78)


@pytest.mark.parametrize("size", [0.0, -1.0, math.nan, math.inf])
def test_no_tank_has_a_side_that_is_no_length(size):
    """Sizes are finite and above zero; the error names the size."""
    with pytest.raises(AdvisorError, match="width of the tank"):
        Box(length=1500.0, width=size, height=450.0)
    with pytest.raises(AdvisorError, match="diameter of the tank"):
        UprightCylinder(diameter=size, height=500.0)
    with pytest.raises(AdvisorError, match="length of the tank"):
        LyingCylinder(diameter=1000.0, length=size)


@pytest.mark.parametrize(
    ("depth", "volume", "wrong"),
    [
        ((0.0,), (0.0,), "two at least"),
        ((0.0, 100.0), (0.0, 10.0, 20.0), "as many"),
        ((0.0, math.nan), (0.0, 10.0), "numbers only"),
        ((0.0, 100.0), (0.0, math.inf), "numbers only"),
        ((5.0, 100.0), (0.0, 10.0), "the floor"),
        ((0.0, 100.0, 100.0), (0.0, 10.0, 20.0), "rising"),
        ((0.0, 200.0, 100.0), (0.0, 10.0, 20.0), "rising"),
        ((0.0, 100.0, 200.0), (0.0, 20.0, 10.0), "none that falls"),
        ((0.0, 100.0), (0.0, 0.0), "and rising"),
        ((0.0, 100.0), (-1.0, 10.0), "0 L or more"),
    ],
)
def test_a_table_that_no_tank_has_is_refused(depth, volume, wrong):
    """Depths rise from the floor, volumes never fall; the error says which rule."""
    with pytest.raises(AdvisorError, match=wrong):
        Table(depth=depth, volume=volume)
