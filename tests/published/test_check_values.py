"""A tank of 95 US gallons, worked by hand: *common practice*, no printed source.

All in US gallons of 231 cubic inches; a US fluid ounce is a 128th of one.
"""

import pytest

from advisor.mixing import blend, mix_of
from advisor.units import FLUID_OUNCE, GALLON, fraction_from_parts, parts_from_fraction
from agent.calculators import charge
from agent.sheets import as_json
from agent.typed import ChargeInput

TANK = ChargeInput(
    volume="95 gal", target="6", convention="per-water", premix="4:1", bucket="5 gal"
)
SEVEN_OUNCES = 7 * FLUID_OUNCE / (5 * GALLON)
"""Strength of a 5 gallon bucket with 7 fluid ounces of concentrate. [1]"""


def gallons(litres: float) -> float:
    """As a person reads them."""
    return litres / GALLON


def test_water_and_concentrate_of_a_charge():
    """6 parts per 100 parts of water in 95 gal: 89.62 gal of water, 5.38 gal of concentrate."""
    answer = as_json(charge(TANK))

    assert gallons(answer["water_l"]) == pytest.approx(89.62, abs=5e-3)
    assert gallons(answer["concentrate_l"]) == pytest.approx(5.38, abs=5e-3)


def test_premix_batches_with_the_last_one_partial():
    """With 4:1 premix in 5 gal batches: five with 1 gal of concentrate, the last with 0.38."""
    batches = as_json(charge(TANK))["batches"]

    full, last, rest = batches
    assert (full["count"], last["count"]) == (5, 1)
    assert gallons(full["water_l"]) == pytest.approx(4.0)
    assert gallons(full["concentrate_l"]) == pytest.approx(1.0)
    assert gallons(last["concentrate_l"]) == pytest.approx(0.38, abs=5e-3)
    assert rest["concentrate_l"] == 0.0


def test_seven_ounces_in_five_gallons():
    """7 fl oz in 5 gal is 1.09 %."""
    strength = 100 * SEVEN_OUNCES

    assert strength == pytest.approx(1.09, abs=5e-3)


def test_four_batches_topped_off_with_weak_mix():
    """A 55 gal tank with four full batches, filled with such buckets, reads 7.97 %."""
    mixed = blend(mix_of(20.0, 0.20), mix_of(35.0, SEVEN_OUNCES))

    assert 100 * mixed.strength == pytest.approx(7.97, abs=5e-3)


def test_weak_mix_taken_for_water_makes_it_too_strong():
    """All 5.38 gal as premix, then weak mix: 6.44 % of the mix, about 6.9 parts per hundred."""
    concentrate = 95.0 * fraction_from_parts(6.0)
    premix = concentrate / 0.20
    mixed = blend(mix_of(premix, 0.20), mix_of(95.0 - premix, SEVEN_OUNCES))

    assert 100 * mixed.strength == pytest.approx(6.44, abs=5e-3)
    assert parts_from_fraction(mixed.strength) == pytest.approx(6.9, abs=5e-2)


def test_premix_is_less_where_the_weak_mix_counts():
    """With a weak mix of 1 %: 23.30 gal of premix and 71.70 gal of weak mix."""
    batches = as_json(charge(TANK_WITH_WEAK_MIX))["batches"]

    strong = [b for b in batches if b["concentrate_l"] > 0.1 * b["water_l"]]
    weak = [b for b in batches if b not in strong]
    assert gallons(total(strong)) == pytest.approx(23.30, abs=5e-3)
    assert gallons(total(weak)) == pytest.approx(71.70, abs=5e-3)


def test_the_naive_way_is_said_as_a_caution():
    """The caution names what the weak mix taken for water would have given."""
    seven_ounces = ChargeInput(**{**vars_of(TANK), "weak_mix": str(100 * SEVEN_OUNCES)})

    cautions = " ".join(as_json(charge(seven_ounces))["cautions"])
    assert "6.44 %" in cautions
    assert "6.89 parts" in cautions


def total(batches: list[dict[str, float]]) -> float:
    """Volume of all batches. [L]"""
    return sum(b["count"] * (b["water_l"] + b["concentrate_l"]) for b in batches)


def vars_of(typed: ChargeInput) -> dict[str, str]:
    """The options as they were typed."""
    return {name: getattr(typed, name) for name in typed.__dataclass_fields__}


TANK_WITH_WEAK_MIX = ChargeInput(**{**vars_of(TANK), "weak_mix": "1"})
