"""What is noted while a scenario is played."""

import io

import numpy as np
import pytest

from simulators.instants import HOUR, MINUTE
from simulators.prepare import scenario_of
from simulators.record import record
from simulators.score.witness import WatchedFloor
from simulators.shop_floor import ShopFloor
from tests.simulators.score.witnesses import played, scenario_witness, watched


def test_a_watched_plant_says_the_same():
    """Watching changes no byte of the recording, in a scenario with faults and people."""
    scenario = scenario_of("everything-goes-wrong", 0.5)
    alone, watched_ = io.StringIO(), io.StringIO()
    record(ShopFloor(scenario, 3), alone, None)
    record(WatchedFloor(scenario, 3), watched_, None)

    assert watched_.getvalue() == alone.getvalue()


def test_what_was_lost_is_what_is_missing():
    """What was there, and added, less what was drained and lost, is what is there: to rounding."""
    witness = scenario_witness("everything-goes-wrong", 1, 1.1)
    tracks, begin = witness.minutes, 60
    added = sum(e.volume * (1 if e.inflow else -1) for e in witness.happenings)
    lost = sum(tracks[f"{name}_lost"][-1] - tracks[f"{name}_lost"][begin] for name in _LOST)

    gone = tracks["volume"][begin] + added - tracks["volume"][-1]
    assert gone == pytest.approx(lost, abs=2e-3)


_LOST = ("water", "concentrate")


def test_readings_are_noted_as_they_were_sent():
    """Each level that arrives in the recording is among the sights, at its moment."""
    witness = watched("days = 0.1")
    levels = [sight.values["level"] for sight in witness.sights if "level" in sight.values]

    assert len(levels) == pytest.approx(0.1 * 1440, abs=2)
    assert all(abs(level * 1000 - round(level * 1000)) < 1e-6 for level in levels)
    assert [sight.at for sight in witness.sights] == sorted(sight.at for sight in witness.sights)


def test_a_fault_spoils_its_own_readings_and_no_others():
    """Within a step each reading is spoilt, and what it would have been is kept."""
    witness = watched(
        """
        days = 0.5
        [[each.fault]]
        signal = "level"
        kind = "step"
        begin = "0d 10:00"
        end = "0d 11:00"
        size = 15
        """
    )
    begin = witness.blemishes[0].begin
    spoilt = [s for s in witness.sights if "level" in s.spoilt]

    assert len(spoilt) == 60
    assert all(begin <= s.at < begin + HOUR for s in spoilt)
    assert all(
        s.values["level"] - s.spoilt["level"] == pytest.approx(15.0, abs=2e-3) for s in spoilt
    )


def test_a_spike_spoils_a_reading_even_between_two():
    """A fault shorter than the interval still has its reading."""
    witness = watched(
        """
        days = 0.5
        [[each.fault]]
        signal = "level"
        kind = "spike"
        begin = "0d 10:00:10"
        end = "0d 10:00:20"
        size = 60
        """
    )
    spoilt = [s for s in witness.sights if "level" in s.spoilt]
    assert len(spoilt) == 1
    assert abs(spoilt[0].values["level"] - spoilt[0].spoilt["level"]) > 40.0


def test_bubbles_are_told_and_nothing_else_is_taken_for_one():
    """A tenth of the Brix readings are spoilt where a tenth has bubbles, none where none has."""
    bubbly = """
        days = 0.5
        [each.signals.brix]
        sd_brix = 0.04
        bubble_share = 0.1
        bubble_brix = 0.8
        """
    for toml, least, most in ((bubbly, 0.05, 0.16), ("days = 0.5", 0.0, 0.0)):
        sights = [s for s in watched(toml).sights if "brix" in s.values and s.running]
        share = sum("brix" in s.spoilt for s in sights) / len(sights)
        assert least <= share <= most


def test_fluid_in_sight_is_not_mixed_after_a_pouring():
    """For some minutes after 30 L of water the prism does not see what is in the sump."""
    witness = watched(
        """
        days = 0.5
        [[each.disturbance]]
        kind = "top-up"
        begin = "0d 10:00"
        volume_l = 30
        """
    )
    event = witness.happenings[0]
    after = [s for s in witness.sights if event.at <= s.at <= event.until + 30 * MINUTE]

    assert not after[1].mixed
    assert after[-1].mixed
    assert (
        witness.true("volume", event.until + MINUTE)
        > witness.true("volume", event.at - MINUTE) + 29.0
    )


def test_a_report_with_a_wrong_digit_is_not_believed():
    """Of an entry that is ten times too large and its correction, the correction counts."""
    scenario = scenario_of("late-reports", 3.0)
    crew = scenario.sump[0].operators.model_copy(
        update={"typing_share": 1.0, "reports_share": 1.0, "report_delay_min": 5.0}
    )
    sump = scenario.sump[0].model_copy(update={"operators": crew})
    scenario = scenario.model_copy(update={"sump": (sump,)})
    witness = next(iter(played(WatchedFloor(scenario, 2)).values()))
    told = [event.told for event in witness.happenings if event.told is not None]

    assert len(told) >= 2
    for event in witness.happenings:
        if event.told is not None:
            assert abs(event.told.volume - event.volume) <= 5.0 * event.told.volume_sd


def test_truth_is_looked_up_by_the_minute():
    """The truth at a moment is that of the minute that ends there; before the first, the first."""
    witness = watched("days = 0.1")
    volumes = witness.minutes["volume"]

    assert witness.true("volume", witness.begin) == volumes[0]
    assert witness.true("volume", witness.begin + 10 * MINUTE) == volumes[9]
    assert witness.true("volume", witness.end + HOUR) == volumes[-1]
    assert np.all(np.diff(witness.minutes["water_lost"]) > 0.0)
