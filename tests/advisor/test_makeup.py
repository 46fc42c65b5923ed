"""Which water to top up with."""

from dataclasses import replace
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.drift import Rates
from advisor.makeup import Salt, Water, salts_of, water_outlook, waters_of
from advisor.plan import Supply
from advisor.salts import content_after
from tests.plants import FLUID, a_sump

RATES = Rates(evaporation=15.0, carry_off=5.0)
TAP = Water(name="town", hardness=180.0, chloride=25.0, nitrate=20.0)
HARDNESS = Salt(name="hardness", limit=600.0, now=180.0)
CHLORIDE = Salt(name="chloride", limit=90.0, now=25.0)


def cases(*, water: Water = TAP, rates: Rates = RATES, salts=(HARDNESS, CHLORIDE)):
    """What each water does to 300 L, by the water's name."""
    found = water_outlook(300.0, rates, [water], salts)
    return {case.water.name: case for case in found.cases}, found


def test_tap_water_reaches_both_limits_in_its_time():
    """Four cycles: hardness settles at 720, chloride at 100 mg/L; both are over their limits."""
    by_name, found = cases()
    courses = {course.salt: course for course in by_name["town"].courses}

    assert found.cycles == 4.0
    assert courses["hardness"].settles == pytest.approx(720.0)
    assert courses["chloride"].settles == pytest.approx(100.0)
    for salt in (HARDNESS, CHLORIDE):
        days = courses[salt.name].days
        content = content_after(days, 300.0, salt.now, salt.of(TAP), (15.0, 5.0))
        assert content == pytest.approx(salt.limit)
    assert by_name["town"].days == min(course.days for course in courses.values())


def test_softening_helps_hardness_alone():
    """Chloride comes as before."""
    by_name, _ = cases()
    tap, soft = (
        {course.salt: course.days for course in by_name[name].courses}
        for name in ("town", "town, softened")
    )

    assert soft["hardness"] == inf
    assert soft["chloride"] == tap["chloride"]


def test_demineralised_water_never_reaches_a_limit():
    """Nothing comes in."""
    by_name, _ = cases()

    assert by_name["demineralised"].days == inf


def test_the_blend_is_asked_for_by_the_tightest_salt():
    """Hardness allows 600/4 of 180, chloride 90/4 of 25: 83 and 90 %, by hand."""
    _, found = cases()
    (blend,) = found.blends

    assert (blend.water, blend.because_of) == ("town", "hardness")
    assert blend.share == pytest.approx(150.0 / 180.0)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(10.0, 500.0),
    st.floats(1.0, 200.0),
    st.floats(0.0, 30.0),
    st.floats(0.5, 20.0),
)
def test_the_blend_never_reaches_any_limit(hardness, chloride, evaporation, carry_off):
    """With that share of tap water, every salt stays within its limit for ten years."""
    water = Water(name="well", hardness=hardness, chloride=chloride)
    salts = (
        Salt(name="hardness", limit=600.0, now=0.0),
        Salt(name="chloride", limit=90.0, now=0.0),
    )
    (blend,) = water_outlook(300.0, Rates(evaporation, carry_off), [water], salts).blends

    for salt in salts:
        content = blend.share * (salt.of(water) or 0.0)
        end = content_after(3650.0, 300.0, 0.0, content, (evaporation, carry_off))
        assert end <= salt.limit * (1.0 + 1e-9)


# Nitrate of make-up and top-up water at most 50 mg/L, above it blend: TRGS 611, section 5.2.
@pytest.mark.parametrize(("nitrate", "high", "share"), [(50.0, False, 1.0), (80.0, True, 0.625)])
def test_nitrate_asks_for_a_blend_at_once(nitrate, high, share):
    """Over 50 mg/L it is blended until it is under, whatever the salts allow."""
    water = replace(TAP, hardness=10.0, chloride=1.0, nitrate=nitrate)
    by_name, found = cases(water=water)

    assert by_name["town"].is_nitrate_high is high
    assert found.blends[0].share == pytest.approx(share)
    assert found.blends[0].because_of == ("nitrate" if high else "")


def test_without_carry_off_only_water_without_salts_will_do():
    """Nothing leaves: whatever comes in stays."""
    by_name, found = cases(rates=Rates(evaporation=15.0, carry_off=0.0))

    assert found.cycles == inf
    assert by_name["town"].days == pytest.approx((600 - 180) * 300 / (180 * 15))
    assert by_name["demineralised"].courses[0].settles == 0.0
    assert found.blends[0].share == 0.0


def test_a_sumps_salts_are_those_of_its_fluid_and_its_waters():
    """What was measured goes before what a fresh fill would have; no limit, no salt."""
    town = Supply(id="town", kind="water", hardness=180.0, chloride=25.0, name="Town water")
    fluid = replace(FLUID, hardness_limit=600.0, chloride_limit=150.0)
    plan = a_sump(fluid=fluid, supplies=(town,))

    salts = {salt.name: salt for salt in salts_of(plan, {"chloride": 60.0})}
    assert (salts["hardness"].now, salts["hardness"].is_assumed) == (180.0, True)
    assert (salts["chloride"].now, salts["chloride"].is_assumed) == (60.0, False)
    assert waters_of(plan)[0].name == "Town water"
    assert salts_of(a_sump(supplies=(town,)), {}) == ()
    assert salts_of(a_sump(fluid=fluid), {}) == ()
    assert (
        salts_of(replace(plan, supplies=(replace(town, hardness=None, chloride=None),)), {}) == ()
    )
