"""What a sump loses with its pumps stopped, as learned."""

from dataclasses import replace

import pytest

from advisor.estimate import absorb, begin
from advisor.idling import idle_losses
from advisor.words import HOUR, MINUTE, Reading, Signal
from tests.alarm_watch import START
from tests.plants import a_sump


def weeks(*, days: int, tells_pumps: bool = True):
    """A sump that works from six to six, losing 20 L a day then, and 6 L a day at night."""
    plan = a_sump()
    belief = begin(plan)
    volume, pure = 399.0, 399.0 * 0.08
    for minute in range(0, days * 1440, 10):
        at = START + minute * MINUTE
        works = (at // HOUR) % 24 in range(6, 18)
        lost = (20.0 if works else 6.0) / 144.0
        taken = 4.0 / 144.0 if works else 0.0  # carried off as mix, the rest evaporates
        pure -= taken * pure / volume
        volume -= lost
        if volume < 330.0:  # topped up at night by a meter that nobody sees
            pure, volume = pure + 0.08 * (399.0 - volume), 399.0
        shown = volume - (35.0 if works else 0.0)
        readings = [Reading(at, Signal.LEVEL, shown / 1.05)]
        if works:
            readings.append(Reading(at, Signal.BRIX, 100.0 * pure / volume / 1.25))
        if tells_pumps:
            readings.insert(0, Reading(at, Signal.RUNNING, 1.0 if works else 0.0))
        for reading in readings:
            belief = absorb(belief, reading, plan)
    return belief, plan


def test_nights_teach_what_an_idle_sump_loses():
    """6 L a day of water and no concentrate, within the sds that are told."""
    found = idle_losses(*weeks(days=14))

    assert found is not None
    assert found.water.value == pytest.approx(6.0, abs=3.0 * found.water.sd)
    assert found.water.sd < 4.0
    assert found.concentrate.value == pytest.approx(0.0, abs=3.0 * found.concentrate.sd)


@pytest.mark.parametrize("changes", [{"days": 2}, {"days": 6, "tells_pumps": False}])
def test_what_nothing_has_taught_is_not_told(changes):
    """In the first days, and where nothing says whether the pumps run."""
    assert idle_losses(*weeks(**changes)) is None


def test_an_unknown_sump_tells_nothing():
    """No evidence, no losses."""
    plan = replace(a_sump(), name="empty")
    assert idle_losses(begin(plan), plan) is None
