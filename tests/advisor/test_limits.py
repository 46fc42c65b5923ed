"""Thresholds in the sensors' own units and sense."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.geometry import volume_at
from advisor.limits import LEAST_A_DAY, MOST_A_DAY, limits_for
from advisor.plan import SignalPlan
from advisor.words import DAY, Estimate, Signal
from tests.alarm_watch import START
from tests.plants import a_sump
from tests.sump_states import lost_since, sump_holding


def with_level(**changes: object):
    """The sump with another level sensor."""
    sump = a_sump()
    level = SignalPlan(signal=Signal.LEVEL, **changes)
    return replace(sump, signals={**sump.signals, Signal.LEVEL: level})


def limits_of(sump, **changes):
    """Of a sump in good order."""
    return limits_for(sump, sump_holding(sump, 380.0, 0.08, **changes))


def test_depth_stopped_is_low_and_the_brim_less_the_headroom():
    """180 mm and 430 - 15 mm, in the sensor's millimetres."""
    stopped = limits_of(with_level(unit="mm")).level_stopped

    assert (stopped.low, stopped.high) == pytest.approx((180.0, 415.0))


def test_running_is_lower_by_the_holdup():
    """35 L of holdup on 1.05 L/mm are 33.3 mm, at either end."""
    running = limits_of(with_level(unit="mm"), holdup=Estimate(35.0, 0.0)).level_running

    assert (running.low, running.high) == pytest.approx((180 - 33.333, 415 - 33.333), abs=1e-2)


def test_an_air_gap_grows_as_the_fluid_falls():
    """Mounted 600 mm over the floor: the smaller gap belongs to the high level."""
    stopped = limits_of(with_level(unit="mm", kind="air-gap", mount=600.0)).level_stopped

    assert (stopped.low, stopped.high) == pytest.approx((600 - 415, 600 - 180))


# kind, per_unit, offset, unit -> low, high, by hand for the box of 1.05 L/mm.
KINDS = [
    ("volume", 1.0, 0.0, "L", 189.0, 435.75),
    ("volume", 3.785411784, 0.0, "gal", 49.9285, 115.1130),
    ("percent", 0.01, 0.0, "percent", 41.8605, 96.5116),
    ("depth", 25.4, 0.0, "inch", 7.08661, 16.33858),
    ("depth", 1.0, 20.0, "mm", 160.0, 395.0),
    ("pressure", 100.0, 0.0, "hPa", 17.6204, 40.6248),
]


@pytest.mark.parametrize(("kind", "per_unit", "offset", "unit", "low", "high"), KINDS)
def test_every_kind_of_level_in_its_own_unit(kind, per_unit, offset, unit, low, high):
    """The sensor's kind, unit and offset are undone."""
    sump = with_level(kind=kind, per_unit=per_unit, offset=offset, unit=unit)

    limits = limits_of(sump)
    stopped = limits.level_stopped
    assert (stopped.low, stopped.high) == pytest.approx((low, high), rel=1e-4)
    assert limits.level_unit == unit


def test_an_unknown_holdup_takes_the_safe_side_at_either_end():
    """High as if 15 % of the brim came back, low as if nothing were up."""
    sump = replace(with_level(unit="mm"), holdup=None)
    running = limits_of(sump, holdup=None).level_running

    full = volume_at(sump.tank, 430.0)
    assert running.low == pytest.approx(180.0)
    assert running.high == pytest.approx(415.0 - 0.15 * full / 1.05)


def test_the_pumps_need_is_never_undercut():
    """Running low is at least what the pumps need."""
    sump = with_level(unit="mm")
    sump = replace(sump, levels=replace(sump.levels, low_running=170.0))

    assert limits_of(sump).level_running.low == pytest.approx(170.0)


def test_brix_is_the_band_by_the_factor():
    """6 to 10 % at a factor of 1.25 are 4.8 to 8 °Brix."""
    brix = limits_of(a_sump()).brix

    assert (brix.low, brix.high) == pytest.approx((4.8, 8.0))


def test_what_has_no_sensor_has_no_threshold():
    """Without level and refractometer, losses alone have one."""
    limits = limits_of(replace(a_sump(), signals={}))

    assert (limits.level_running, limits.level_stopped, limits.brix) == (None, None, None)
    assert limits.level_unit == ""
    assert limits.water_loss_high is not None


def test_losses_not_known_yet_take_what_sumps_lose_at_most():
    """A tenth of the volume a day; of the concentrate in it for the concentrate."""
    limits = limits_of(a_sump(), lost=None)

    assert limits.water_loss_high == pytest.approx(39.9)
    assert limits.concentrate_loss_high == pytest.approx(39.9 * 0.08)


def test_usual_losses_are_doubled():
    """18 L/d of water for ten days: 36 L/d."""
    limits = limits_of(a_sump(), lost=lost_since(START - 10 * DAY, 180.0, 4.0))

    assert limits.water_loss_high == pytest.approx(36.0)
    assert limits.concentrate_loss_high == pytest.approx(0.8)


@given(st.floats(0.0, 1000.0), st.floats(0.0, 50.0), st.floats(3.0, 100.0))
def test_loss_thresholds_stay_above_what_is_usual(water, concentrate, days):
    """However much is usual, the threshold is above it, and within bounds where it can be."""
    sump = a_sump()
    since = START - round(days * DAY)
    limits = limits_of(sump, lost=lost_since(since, water, concentrate))

    usual = water / ((START - since) / DAY)
    scale = volume_at(sump.tank, sump.levels.target)
    assert limits.water_loss_high > usual
    assert limits.water_loss_high >= LEAST_A_DAY * scale - 1e-9
    assert limits.water_loss_high <= max(MOST_A_DAY * scale, usual + 3.0 + 1e-9)
