"""Volumes printed elsewhere, and those of an independent library."""

import math

import fluids.geometry
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.geometry import Box, LyingCylinder, Table, UprightCylinder, depth_at, volume_at
from advisor.units import GALLON
from tests.strategies import FRACTIONS, LENGTHS

# depth, diameter, length [mm] -> volume [L], relative tolerance
LYING = [
    # Tank 10 m long, surface 0.2 m below the top and 1 m wide, so r = 0.725 m: 15.138 m3.
    # hackmath.net, problem 3613. Printed to 5 digits.
    pytest.param(1250.0, 1450.0, 10_000.0, 15_138.0, 5e-5, id="hackmath-3613"),
    # Half full is half of pi r2 L: exact. Own reasoning.
    pytest.param(500.0, 1000.0, 2000.0, 250.0 * math.pi, 1e-15, id="half-full"),
    # R = 3, L = 10, V = 240 of 282.743: problem on userz.net; the depth worked out by bisection.
    pytest.param(4748.60, 6000.0, 10_000.0, 240_000.0, 1e-6, id="userz"),
    # Two numbers stand in a calculator's page for this tank, 451.3 and 396.4 L: the second holds.
    pytest.param(300.0, 1000.0, 2000.0, 396.4, 2e-4, id="calculator-page"),
]

SHARES = [
    # Partial volumes of a horizontal cylinder, h/D and share of the whole: a table that handbooks
    # of chemical engineering print (from memory; the digits agree with the closed form).
    (0.05, 0.01869),
    (0.10, 0.05204),
    (0.15, 0.09406),
    (0.20, 0.14238),
    (0.25, 0.19550),
    (0.30, 0.25232),
    (0.40, 0.37353),
    (0.50, 0.50000),
    (0.60, 0.62647),
    (0.75, 0.80450),
    (0.90, 0.94796),
]

# A forum's tank, D = 60 in, L = 144 in, 1762.556 US gal full: depths [in], volumes [US gal],
# worked out with the library fluids 1.3.1.
FORUM = [(6, 91.730), (12, 250.950), (15, 344.582), (20, 514.299), (30, 881.278), (54, 1670.825)]


@pytest.mark.parametrize(("depth", "diameter", "length", "volume", "rel"), LYING)
def test_lying_cylinder_agrees_with_print(depth, diameter, length, volume, rel):
    """The segment gives the printed volume to the printed digits."""
    tank = LyingCylinder(diameter=diameter, length=length)
    assert volume_at(tank, depth) == pytest.approx(volume, rel=rel)


@pytest.mark.parametrize(("share_of_depth", "share"), SHARES)
def test_lying_cylinder_agrees_with_the_handbooks_table(share_of_depth, share):
    """Share of the volume by share of the depth, to the printed five decimals."""
    tank = LyingCylinder(diameter=1000.0, length=4000.0 / math.pi)
    assert volume_at(tank, share_of_depth * 1000.0) / 1000.0 == pytest.approx(share, abs=5.1e-6)


@pytest.mark.parametrize(("inches", "gallons"), FORUM)
def test_lying_cylinder_in_inches_and_gallons(inches, gallons):
    """A tank as it is described in a US shop, both ways."""
    tank = LyingCylinder(diameter=60 * 25.4, length=144 * 25.4)
    assert volume_at(tank, inches * 25.4) / GALLON == pytest.approx(gallons, abs=6e-4)
    assert depth_at(tank, gallons * GALLON) / 25.4 == pytest.approx(inches, abs=5e-5)


@given(LENGTHS, LENGTHS, FRACTIONS)
def test_lying_cylinder_agrees_with_fluids(diameter, length, filled):
    """Same volume as fluids.geometry.V_from_h with flat ends (fluids 1.3.1)."""
    tank, depth = LyingCylinder(diameter=diameter, length=length), filled * diameter
    other = fluids.geometry.V_from_h(depth / 1e3, diameter / 1e3, length / 1e3, horizontal=True)
    assert volume_at(tank, depth) == pytest.approx(other * 1e3, rel=1e-6, abs=1e-6)


@given(LENGTHS, LENGTHS, FRACTIONS)
def test_upright_cylinder_agrees_with_fluids(diameter, height, filled):
    """Same volume as fluids.geometry.V_from_h, upright with a flat end (fluids 1.3.1)."""
    tank, depth = UprightCylinder(diameter=diameter, height=height), filled * height
    other = fluids.geometry.V_from_h(depth / 1e3, diameter / 1e3, height / 1e3, horizontal=False)
    assert volume_at(tank, depth) == pytest.approx(other * 1e3, rel=1e-9, abs=1e-9)


@given(st.floats(0.5, 60.0), st.floats(0.5, 60.0), st.floats(0.5, 60.0))
def test_a_box_in_inches_holds_its_gallons(length, width, height):
    """A US gallon is 231 cubic inches by law (NIST Handbook 44, appendix C)."""
    tank = Box(length=length * 25.4, width=width * 25.4, height=height * 25.4)
    gallons = length * width * height / 231.0
    assert volume_at(tank, height * 25.4) == pytest.approx(gallons * GALLON, rel=1e-12)


@given(LENGTHS, LENGTHS, FRACTIONS)
def test_a_fine_table_of_a_cylinder_is_the_cylinder(diameter, length, filled):
    """Strapping at 200 depths, straight lines between, errs by under 0.02 % of the whole."""
    tank = LyingCylinder(diameter=diameter, length=length)
    depths = (*(diameter * step / 200.0 for step in range(200)), diameter)
    table = Table(depth=depths, volume=tuple(volume_at(tank, depth) for depth in depths))
    whole = volume_at(tank, diameter)
    depth = filled * diameter
    assert volume_at(table, depth) == pytest.approx(volume_at(tank, depth), abs=2e-4 * whole)
