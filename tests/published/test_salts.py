"""Cycles of concentration against printed examples."""

import pytest

from advisor.salts import carry_off_for, content_after, cycles, settles_at

GALLONS_A_DAY = 114_048.0
"""Evaporation of a tower: 9900 gal/min over 8 °F, 0.001 x flow x range x 1440 min."""
WINDAGE = 14_256.0
"""0.1 % of the circulation."""

# cycles, blowdown and make-up [gal/d]: a lecture's worked example, scribd 46640740.
TOWER = [(4.0, 23_760.0, 152_064.0), (8.0, 2_037.0, 130_341.0)]


@pytest.mark.parametrize(("wanted", "blowdown", "make_up"), TOWER)
def test_a_towers_blowdown_agrees_with_print(wanted, blowdown, make_up):
    """Windage counts as blowdown; printed to a gallon."""
    off = carry_off_for(GALLONS_A_DAY, wanted)

    assert off - WINDAGE == pytest.approx(blowdown, abs=1.0)
    assert GALLONS_A_DAY + off == pytest.approx(make_up, abs=1.0)


def test_a_towers_make_up_agrees_with_print():
    """900 tons: 1620 gal/h evaporate; 300 ppm water, limit 600 ppm: 2 cycles, 3240 gal/h.

    A water-treatment page's worked example; 28 382 400 gal a year.
    """
    evaporation = 900 * 0.18 * 10
    off = carry_off_for(evaporation, 600 / 300)

    assert off == pytest.approx(1620.0)
    assert (evaporation + off) * 8760 == pytest.approx(28_382_400)
    assert settles_at(300.0, evaporation, off) == pytest.approx(600.0)


# cycles -> make-up and blowdown as multiples of evaporation: C / (C - 1) and 1 / (C - 1).
FACTORS = [(2, 2.0, 1.0), (3, 1.5, 0.5), (4, 1.3333, 0.3333), (5, 1.25, 0.25), (6, 1.2, 0.2)]


@pytest.mark.parametrize(("wanted", "make_up", "blowdown"), FACTORS)
def test_cycles_and_their_factors(wanted, make_up, blowdown):
    """Going from 3 to 6 cycles saves 20 % of make-up (FEMP guidance, from memory)."""
    off = carry_off_for(1.0, wanted)

    assert off == pytest.approx(blowdown, abs=5e-5)
    assert 1.0 + off == pytest.approx(make_up, abs=5e-5)
    assert cycles(1.0, off) == pytest.approx(wanted)


# 300 L at 150 mg/L with water of 150 mg/L. E, D [L/d], days -> mg/L, by the closed form.
SUMPS = [
    (15.0, 5.0, 5.0, 185.98),
    (15.0, 5.0, 10.0, 219.08),
    (15.0, 5.0, 60.0, 434.45),
    (15.0, 5.0, 180.0, 577.60),
    (10.0, 2.0, 30.0, 285.95),
    (9.0, 6.0, 30.0, 251.52),
]


@pytest.mark.parametrize(("evaporation", "carry_off", "days", "content"), SUMPS)
def test_a_sump_hardens_as_computed_by_hand(evaporation, carry_off, days, content):
    """h0 M/D - (M/D - 1) h0 exp(-D t / V)."""
    found = content_after(days, 300.0, 150.0, 150.0, (evaporation, carry_off))

    assert found == pytest.approx(content, abs=5e-3)
