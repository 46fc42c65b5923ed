"""What a sump will want if it goes on like this."""

from dataclasses import replace

import pytest

from advisor.effects import After
from advisor.forecast import Use, days_left, look_ahead, supply_days, use_of
from advisor.plan import Supply
from advisor.standstill import Idle
from advisor.words import DAY, Estimate
from tests.alarm_watch import START
from tests.plants import FLUID, a_sump
from tests.sump_states import LOSSES

NOW = After(volume=Estimate(370.0, 2.0), concentration=Estimate(0.083, 0.001))
DRUM = Supply(id="drum", kind="drum", fluid="semi-a", volume=200.0)
TOTE = Supply(id="tote", kind="premix", fluid="semi-a", strength=0.08, volume=1000.0)


def week(concentrate: float, sd: float = 0.0) -> Use:
    """A week's use of concentrate. [L]"""
    return Use(water=Estimate(100.0, 1.0), concentrate=Estimate(concentrate, sd), cost=None)


def test_a_week_takes_seven_days_losses():
    """19 L of water and 0.4 L of concentrate a day, at 5 a litre."""
    use = use_of(LOSSES, 5.0)

    assert use is not None
    assert (use.water.value, use.concentrate.value) == pytest.approx((133.0, 2.8))
    assert (use.water.sd, use.concentrate.sd) == pytest.approx((7.0, 0.7))
    assert use.cost == pytest.approx(14.0)
    assert use_of(replace(LOSSES, water=None), 5.0) is None


def test_the_strength_that_holds_is_loss_of_concentrate_over_all_loss():
    """0.4 of 19.4 L."""
    found = look_ahead(NOW, LOSSES, a_sump(), START)

    assert found.holding == pytest.approx(0.4 / 19.4)
    assert found.next is not None
    assert found.next.strength == pytest.approx(0.4 / 19.4)


def test_nothing_is_foreseen_of_losses_that_nobody_knows():
    """No next top-up, no use, no rhythms."""
    found = look_ahead(NOW, replace(LOSSES, water=None), a_sump(), START)

    assert (found.next, found.holding, found.use, found.rates) == (None,) * 4
    assert found.rhythms == ()
    assert found.standstill is None


def test_what_idle_losses_are_known_goes_before_what_is_assumed():
    """Assumed ones are called so."""
    known = Idle(Estimate(4.0, 0.5), Estimate(0.0, 0.01))

    assert look_ahead(NOW, LOSSES, a_sump(), START).is_idle_assumed
    found = look_ahead(NOW, LOSSES, a_sump(), START, idle=known)
    assert not found.is_idle_assumed
    assert found.idle == known


def test_a_standstill_is_planned_where_there_is_one():
    """From Friday to Monday."""
    times = (START + 4 * DAY, START + 7 * DAY)
    found = look_ahead(NOW, LOSSES, a_sump(fluid=FLUID), START, standstill=times)

    assert found.standstill is not None
    assert (found.standstill.begin, found.standstill.end) == times


def test_a_drum_lasts_as_long_as_its_sumps_let_it():
    """100 L at 2.8 and 4.2 L a week: a hundred days, with the errors of both."""
    found = days_left(DRUM, 100.0, [week(2.8, 0.3), week(4.2, 0.4)])

    assert found is not None
    assert found.value == pytest.approx(100.0)
    assert found.sd == pytest.approx(100.0 * 0.5 / 7.0)
    assert days_left(DRUM, 100.0, [week(0.0)]) is None


def test_a_tote_is_counted_by_its_concentrate():
    """1000 L of 8 % are 80 L of concentrate."""
    found = days_left(TOTE, 1000.0, [week(7.0)])

    assert found is not None
    assert found.value == pytest.approx(80.0)


def test_each_supply_by_the_sumps_that_take_from_it():
    """A sump with other supplies does not count; a supply nobody takes from is left out."""
    sumps = {
        "a": a_sump(id="a", supplies=(DRUM,)),
        "b": a_sump(id="b", supplies=(DRUM, TOTE)),
        "c": a_sump(id="c"),
    }
    uses = {"a": week(3.5), "b": week(3.5), "c": week(50.0)}
    found = supply_days(
        {"drum": DRUM, "tote": TOTE}, {"drum": 20.0, "tote": 100.0, "gone": 5.0}, sumps, uses
    )

    assert found["drum"].value == pytest.approx(20.0)
    assert found["tote"].value == pytest.approx(16.0)
    assert set(found) == {"drum", "tote"}
