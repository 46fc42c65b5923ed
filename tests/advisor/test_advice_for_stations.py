"""Advice for a sump that is dosed by itself: little and often, in the station's own steps."""

from dataclasses import replace

import pytest

from advisor.advice import AdviceMemory, reconsider
from advisor.vessels import least_dose, low_volume, marks
from tests.alarm_watch import START
from tests.plants import a_sump
from tests.station_watch import STATION, a_dosed_sump
from tests.sump_states import sump_holding

AUTOMATIC = a_dosed_sump()
BY_HAND = a_sump(levels=AUTOMATIC.levels)


def advised(plan, volume, concentration=0.08):
    """The advice on a sump seen for the first time."""
    _, advice = reconsider(AdviceMemory(), sump_holding(plan, volume, concentration), plan, START)
    assert advice is not None
    return advice


def test_a_dose_is_due_as_soon_as_one_fits():
    """399 L wanted, 1.5 % of that are 6 L: due under 393 L, where people wait for the level."""
    assert low_volume(AUTOMATIC) == pytest.approx(399.0 - 5.985)
    assert advised(AUTOMATIC, 393.5).kind == "none"
    assert advised(AUTOMATIC, 392.5).kind == "top-up"
    assert advised(BY_HAND, 392.5).kind == "none"


def test_it_is_one_batch_in_the_station_s_steps_and_no_more_than_a_dose():
    """A deep sump is filled dose by dose."""
    advice = advised(a_dosed_sump(station=replace(STATION, resolution=0.05)), 300.0, 0.075)

    assert advice.mix is not None
    assert advice.batches is not None
    assert [batch.count for batch in advice.batches] == [1]
    assert advice.mix.volume <= 40.0 + 1e-9
    for part in (advice.mix.water, advice.mix.concentrate):
        assert part / 0.05 == pytest.approx(round(part / 0.05), abs=1e-6)


def test_a_dose_meets_the_target_better_than_a_bucket_s_marks():
    """Steps of 0.1 L in 399 L are 0.025 % of the mix."""
    advice = advised(AUTOMATIC, 380.0, 0.0795)

    assert advice.after is not None
    assert advice.after.concentration.value == pytest.approx(0.08, abs=0.0003)


def test_the_plant_file_may_say_how_much_must_fit():
    """Never more than the largest dose."""
    assert least_dose(a_dosed_sump(station=replace(STATION, min_dose=12.0))) == 12.0
    assert least_dose(a_dosed_sump(station=replace(STATION, max_dose=5.0))) == 5.0
    assert least_dose(a_dosed_sump(station=replace(STATION, resolution=1.0))) == 20.0


def test_a_station_that_is_not_automatic_leaves_advice_to_people():
    """Their vessels and their level."""
    plan = a_dosed_sump(station=replace(STATION, automatic=False))

    assert least_dose(plan) is None
    assert marks(plan) == (0.5, 0.5)
    assert advised(plan, 392.5).kind == "none"
