"""The table of states: arrows named as in the standard's diagram, A to F; G to I lie over them."""

import itertools

import pytest

from advisor.alarm_machine import LATCHING, TRANSITIONS, Happening, after, shown
from advisor.effects import AlarmState

BENEATH = (
    AlarmState.NORMAL,
    AlarmState.UNACKNOWLEDGED,
    AlarmState.ACKNOWLEDGED,
    AlarmState.RETURNED_UNACKNOWLEDGED,
    AlarmState.LATCHED_UNACKNOWLEDGED,
    AlarmState.LATCHED_ACKNOWLEDGED,
)


def test_every_state_beneath_can_be_left():
    """No alarm gets stuck: from each of A to F some happening leads on."""
    assert {state for state, _ in TRANSITIONS} == set(BENEATH)


def test_no_arrow_leads_into_what_is_laid_over():
    """Shelved, suppressed and out of service are never states of the alarm itself."""
    assert {*TRANSITIONS.values(), *LATCHING.values()} <= set(BENEATH)


@pytest.mark.parametrize("state", BENEATH)
@pytest.mark.parametrize("happening", list(Happening))
def test_latching_changes_only_where_a_cleared_condition_leads(state, happening):
    """An alarm that latches behaves like any other until its condition is gone."""
    if happening is Happening.CLEARS:
        return
    assert after(state, happening, latching=True) == after(state, happening, latching=False)


def test_a_latched_alarm_is_left_only_by_a_person_or_by_its_condition():
    """From E and F no clearing and no passing of time leads to normal."""
    for state, happening in itertools.product(
        BENEATH[4:], (Happening.CLEARS, Happening.ASKS_AGAIN)
    ):
        assert after(state, happening, latching=True) is None


@pytest.mark.parametrize(
    ("over", "state"),
    [
        ({"out_of_service": True, "shelved": True, "suppressed": True}, AlarmState.OUT_OF_SERVICE),
        ({"out_of_service": False, "shelved": True, "suppressed": True}, AlarmState.SHELVED),
        ({"out_of_service": False, "shelved": False, "suppressed": True}, AlarmState.SUPPRESSED),
    ],
)
@pytest.mark.parametrize("beneath", BENEATH)
def test_what_is_laid_over_hides_what_lies_beneath(over, state, beneath):
    """Out of service is shown before shelved, shelved before suppressed, whatever lies beneath."""
    assert shown(beneath, **over) is state


@pytest.mark.parametrize("beneath", BENEATH)
def test_what_lies_beneath_shows_when_nothing_is_laid_over(beneath):
    """The alarm's own state is what people see otherwise."""
    assert shown(beneath, out_of_service=False, shelved=False, suppressed=False) is beneath
