"""Alligation, dilution, exchange and top-up strength against printed examples.

Once by the formulas, and once by the program that chooses every dose.
"""

import pytest

from advisor.effects import Mix
from advisor.mixing import (
    blend,
    dilution_water,
    exchange_to,
    exchange_volume,
    holding_strength,
    mix_of,
    share_of_stronger,
)
from advisor.optimum import best
from advisor.pouring import Task, Way
from advisor.units import fraction_from_parts, fraction_from_ratio, parts_from_fraction
from advisor.words import Estimate
from agent.calculators import top_up
from agent.typed import TopUpInput

# strengths: stronger, weaker, wanted [%]; amounts of the stronger and of the weaker; tolerance
ALLIGATION = [
    # 0.1 % and 0.5 % to 100 g of 0.2 %: 75 g and 25 g. Slides "Alligation", slideserve.com.
    pytest.param((0.5, 0.1, 0.2), (25.0, 75.0), 1e-9, id="slides-a"),
    # 1 % and 5 % to 100 g of 3 %: 50 g and 50 g. The same slides.
    pytest.param((5.0, 1.0, 3.0), (50.0, 50.0), 1e-9, id="slides-b"),
    # 960 g of 95 % to 81 %: add 165.93 g of base. rxcal.org, printed to 0.01 g.
    pytest.param((95.0, 0.0, 81.0), (960.0, 165.93), 5e-3, id="rxcal-a"),
    # 120 g of 95 % to 22 %: add 398.18 g of base. rxcal.org, printed to 0.01 g.
    pytest.param((95.0, 0.0, 22.0), (120.0, 398.18), 5e-3, id="rxcal-b"),
    # 95 % and 50 % to 200 mL of 70 %: 88.89 mL and 111.11 mL. Classic exercise (from memory).
    pytest.param((95.0, 50.0, 70.0), (88.89, 111.11), 5e-3, id="classic"),
]


@pytest.mark.parametrize(("strengths", "amounts", "within"), ALLIGATION)
def test_alligation_agrees_with_print(strengths, amounts, within):
    """The share of the stronger mix gives the printed amounts to the printed digits."""
    share = share_of_stronger(*(percent / 100 for percent in strengths))

    assert sum(amounts) * share == pytest.approx(amounts[0], abs=within)
    assert sum(amounts) * (1 - share) == pytest.approx(amounts[1], abs=within)


@pytest.mark.parametrize(("strengths", "amounts", "within"), ALLIGATION)
def test_the_solver_finds_the_printed_amounts(strengths, amounts, within):
    """Two mixes that may be poured, a total and a target: the program divides as print does."""
    stronger, weaker, wanted = (percent / 100 for percent in strengths)
    task = Task(
        volume=Estimate(0.0, 0.0),
        concentration=Estimate(0.0, 0.0),
        correlation=0.0,
        wanted=sum(amounts),
        cap=sum(amounts),
        target=wanted,
        ways=tuple(
            Way(
                name=name,
                fill=sum(amounts),
                marks=(0.0, 0.0),
                limits=(strength, strength),
                part=part,
            )
            for part, (name, strength) in enumerate((("strong", stronger), ("weak", weaker)))
        ),
    )

    choice = best(task)

    poured = {
        way.name: batch.water + batch.concentrate
        for way, batch in zip(choice.ways, choice.batches, strict=True)
    }
    assert poured["strong"] == pytest.approx(amounts[0], abs=max(within, 1e-4))
    assert poured["weak"] == pytest.approx(amounts[1], abs=max(within, 1e-4))


def test_three_strengths_by_pairs_agree_with_print():
    """50, 20 and 5 % to 10 % take 1 : 1 : 10 parts (a pharmacy course's page on alligation)."""
    with_first = share_of_stronger(0.50, 0.05, 0.10)
    with_second = share_of_stronger(0.20, 0.05, 0.10)
    weakest = (1 - with_first) / with_first + (1 - with_second) / with_second

    assert weakest == pytest.approx(10.0)
    mixed = blend(mix_of(1.0, 0.50), mix_of(1.0, 0.20), mix_of(10.0, 0.05))
    assert mixed.strength == pytest.approx(0.10)


# 1 : n -> % of the mix, parts per 100 of water. Own computation from the two definitions.
CONVENTIONS = [
    (4, 20.0, 25.0),
    (9, 10.0, 11.1111),
    (12, 7.6923, 8.3333),
    (15, 6.25, 6.6667),
    (19, 5.0, 5.2632),
    (20, 4.7619, 5.0),
    (24, 4.0, 4.1667),
    (30, 3.2258, 3.3333),
]


@pytest.mark.parametrize(("water", "of_mix", "per_water"), CONVENTIONS)
def test_ratios_in_both_conventions(water, of_mix, per_water):
    """A ratio is one percentage of the mix and another of the water, and both lead back."""
    fraction = fraction_from_ratio(1, water)

    assert 100 * fraction == pytest.approx(of_mix, abs=5e-5)
    assert parts_from_fraction(fraction) == pytest.approx(per_water, abs=5e-5)
    assert fraction_from_parts(parts_from_fraction(fraction)) == pytest.approx(fraction, rel=1e-12)


def test_dilution_by_c1_v1_is_c2_v2():
    """300 L from 10 % to 8 % take 75 L of water (C1 V1 = C2 V2, by hand)."""
    assert dilution_water(300.0, 0.10, 0.08) == pytest.approx(75.0)


def test_exchange_of_part_of_the_fluid():
    """With no room for 75 L of water, 60 L go and 60 L of water come: V (1 - c2 / c1), by hand."""
    assert exchange_volume(300.0, 0.10, 0.08, 0.0) == pytest.approx(60.0)
    assert exchange_to(300.0, 0.10, 300.0, 0.08, 0.0) == pytest.approx((60.0, 60.0))


def test_the_solver_dilutes_and_exchanges_as_computed_by_hand():
    """300 L from 10 % to 8 %: 75 L of water where there is room, else 60 L out and 60 L in."""
    known = {"concentration": "10", "target": "8"}

    added = top_up(TopUpInput(volume="300 L", to_volume="375 L", **known))
    swapped = top_up(TopUpInput(volume="300 L", to_volume="300 L", exchange=True, **known))

    assert (added.mix.water, added.mix.concentrate) == pytest.approx((75.0, 0.0), abs=1e-3)
    assert (swapped.drain, swapped.mix.water) == pytest.approx((60.0, 60.0), abs=1e-3)
    assert swapped.mix.concentrate == pytest.approx(0.0, abs=1e-3)


# Loss of 100 L a day from 1000 L at 6 %: share of it that is water -> top-up strength [%].
# c D / (E + D), by hand.
SPLITS = [(1.0, 0.0), (0.75, 1.5), (0.5, 3.0), (0.25, 4.5), (0.0, 6.0)]


@pytest.mark.parametrize(("share", "strength"), SPLITS)
def test_holding_strength_by_how_much_of_the_loss_is_water(share, strength):
    """The same loss takes anything from plain water to the full strength."""
    evaporation, carry_off = 100.0 * share, 100.0 * (1 - share)
    water, concentrate = evaporation + carry_off * 0.94, carry_off * 0.06

    assert 100 * holding_strength(water, concentrate) == pytest.approx(strength)


def test_a_day_of_losses_is_put_right_by_the_holding_strength():
    """300 L at 8 % lose 15 L of water and 5 L of mix; 20 L at 2.0 % put it right, by hand."""
    left = blend(mix_of(295.0, 0.08), Mix(-15.0, 0.0))

    assert left.volume == pytest.approx(280.0)
    assert 100 * left.strength == pytest.approx(8.4286, abs=5e-5)
    strength = holding_strength(15.0 + 5.0 * 0.92, 5.0 * 0.08)
    assert 100 * strength == pytest.approx(2.0)
    right = blend(left, mix_of(20.0, strength))
    assert (right.volume, right.strength) == pytest.approx((300.0, 0.08))
