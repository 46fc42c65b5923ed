"""What the arithmetic of mixes promises for any mix."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from advisor.effects import Mix
from advisor.errors import AdvisorError
from advisor.mixing import (
    blend,
    dilution_water,
    exchange_to,
    exchange_volume,
    holding_strength,
    mix_of,
    share_of_stronger,
)

strengths = st.floats(0.0, 0.99)
volumes = st.floats(0.0, 1e5)


@given(volumes, strengths)
def test_a_mix_has_the_volume_and_strength_asked_for(volume, strength):
    """Water and concentrate add up to the volume, and make the strength."""
    mix = mix_of(volume, strength)

    assert mix.volume == pytest.approx(volume)
    assert volume < 1e-9 or mix.strength == pytest.approx(strength, abs=1e-12)


@given(st.lists(st.tuples(volumes, volumes), max_size=6))
def test_blending_keeps_every_litre(portions):
    """What comes out is the sum of what went in, water and concentrate apart."""
    mixed = blend(*(Mix(*portion) for portion in portions))

    assert mixed.water == pytest.approx(math.fsum(water for water, _ in portions))
    assert mixed.concentrate == pytest.approx(math.fsum(pure for _, pure in portions))


@given(strengths, strengths, st.floats(0.0, 1.0), st.floats(1.0, 1e4))
def test_alligation_leads_to_the_wanted_strength(one, other, place, volume):
    """Blending by the share of the stronger gives the strength that was wanted."""
    weaker, stronger = sorted((one, other))
    assume(stronger - weaker > 1e-6)
    wanted = min(max(weaker + place * (stronger - weaker), weaker), stronger)

    share = share_of_stronger(stronger, weaker, wanted)

    mixed = blend(mix_of(volume * share, stronger), mix_of(volume * (1 - share), weaker))
    assert mixed.strength == pytest.approx(wanted, abs=1e-9)


@given(st.floats(1.0, 1e4), st.floats(0.01, 0.3), st.floats(0.01, 0.3), st.floats(0.0, 0.3))
def test_an_exchange_leads_to_the_wanted_strength(volume, strength, wanted, fresh):
    """Draining and filling up by the exchange volume keeps V and reaches the strength."""
    assume(min(strength, fresh) + 1e-6 < wanted < max(strength, fresh) - 1e-6)

    drained = exchange_volume(volume, strength, wanted, fresh)

    mixed = blend(mix_of(volume - drained, strength), mix_of(drained, fresh))
    assert mixed.volume == pytest.approx(volume)
    assert mixed.strength == pytest.approx(wanted, abs=1e-9)
    assert exchange_to(volume, strength, volume, wanted, fresh) == pytest.approx(
        (drained, drained), abs=1e-6 * volume
    )


@given(st.floats(1.0, 1e4), st.floats(0.01, 0.3), st.floats(0.1, 1.0))
def test_dilution_leads_to_the_wanted_strength(volume, strength, part):
    """Water by the dilution rule brings the mix to the wanted strength."""
    wanted = strength * part

    water = dilution_water(volume, strength, wanted)

    mixed = blend(mix_of(volume, strength), Mix(water, 0.0))
    assert mixed.strength == pytest.approx(wanted)


@given(st.floats(0.0, 100.0), st.floats(0.0, 10.0), st.floats(10.0, 1e3), st.floats(0.02, 0.2))
def test_the_holding_strength_puts_back_what_was_lost(water, concentrate, volume, strength):
    """A day's loss replaced at that strength leaves volume and concentration as they were."""
    assume(water + concentrate > 1e-6)
    before = mix_of(volume + 110.0, strength)
    left = Mix(before.water - water, before.concentrate - concentrate)

    added = mix_of(water + concentrate, holding_strength(water, concentrate))

    after = blend(left, added)
    assert after.water == pytest.approx(before.water)
    assert after.concentrate == pytest.approx(before.concentrate)


@pytest.mark.parametrize(
    ("call", "quantity"),
    [
        (lambda: mix_of(-1e-9, 0.1), "volume"),
        (lambda: mix_of(math.inf, 0.1), "volume"),
        (lambda: mix_of(math.nan, 0.1), "volume"),
        (lambda: mix_of(1.0, math.nextafter(1.0, 2.0)), "strength"),
        (lambda: mix_of(1.0, -1e-9), "strength"),
        (lambda: share_of_stronger(0.05, 0.05, 0.05), "stronger mix"),
        (lambda: share_of_stronger(0.05, 0.01, 0.0500001), "wanted strength"),
        (lambda: share_of_stronger(0.05, 0.01, 0.0099999), "wanted strength"),
        (lambda: dilution_water(300.0, 0.08, 0.1), "wanted strength"),
        (lambda: dilution_water(300.0, 0.08, 0.0), "wanted strength"),
        (lambda: exchange_volume(300.0, 0.1, 0.12, 0.05), "wanted strength"),
        (lambda: exchange_to(100.0, 0.05, 300.0, 0.08, 0.20), "volume"),
        (lambda: holding_strength(0.0, 0.0), "losses"),
        (lambda: holding_strength(-1.0, 2.0), "losses"),
    ],
)
def test_what_no_mix_can_be_is_refused_by_name(call, quantity):
    """The error names the quantity that was wrong."""
    with pytest.raises(AdvisorError) as refused:
        call()

    assert refused.value.quantity == quantity


def test_no_exchange_where_nothing_is_wrong():
    """From a strength to itself nothing is drained."""
    assert exchange_volume(300.0, 0.08, 0.08, 0.0) == 0.0
