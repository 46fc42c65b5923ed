"""Alarms against what is printed elsewhere: state diagrams, event tables, measures."""

import pytest

from advisor.alarm_definitions import sds_for
from advisor.alarm_machine import Happening, after, is_acknowledged, is_active
from advisor.alarms import AlarmBoard
from advisor.effects import AlarmState
from advisor.key_figures import Transition, key_figures
from advisor.plan import AlarmPlan
from advisor.words import DAY, MINUTE, Estimate
from tests.alarm_watch import START, Watch, a_finding
from tests.plants import a_sump

A = AlarmState.NORMAL
B = AlarmState.UNACKNOWLEDGED
C = AlarmState.ACKNOWLEDGED
D = AlarmState.RETURNED_UNACKNOWLEDGED
E = AlarmState.LATCHED_UNACKNOWLEDGED
F = AlarmState.LATCHED_ACKNOWLEDGED

# Arrows of the alarm state transition diagram of ANSI/ISA-18.2 (IEC 62682 has the same), as listed
# in the comments of alerta/models/alarms/isa_18_2.py of github.com/alerta/alerta, which transcribes
# it; the standard itself was not at hand.
ARROWS = [
    pytest.param(A, Happening.OCCURS, False, B, id="A-B alarm occurs"),
    pytest.param(B, Happening.ACKNOWLEDGED, False, C, id="B-C operator acknowledges"),
    pytest.param(C, Happening.ASKS_AGAIN, False, B, id="C-B re-alarm"),
    pytest.param(C, Happening.CLEARS, False, A, id="C-A process returns, alarm clears"),
    pytest.param(C, Happening.CLEARS, True, F, id="C-F process returns, latched"),
    pytest.param(B, Happening.CLEARS, False, D, id="B-D process returns, alarm clears"),
    pytest.param(B, Happening.CLEARS, True, E, id="B-E process returns, latched"),
    pytest.param(D, Happening.ACKNOWLEDGED, False, A, id="D-A operator acknowledges"),
    pytest.param(D, Happening.OCCURS, False, B, id="D-B alarm occurs again"),
    pytest.param(E, Happening.RESET, True, D, id="E-D operator resets"),
    pytest.param(E, Happening.ACKNOWLEDGED, True, F, id="E-F operator acknowledges"),
    pytest.param(F, Happening.RESET, True, A, id="F-A operator resets"),
]


@pytest.mark.parametrize(("state", "happening", "latching", "to"), ARROWS)
def test_the_table_has_the_arrow_of_the_diagram(state, happening, latching, to):
    """Each arrow between A and F leads where the standard's diagram says."""
    assert after(state, happening, latching=latching) is to


# Any state to and from G, H, I: the same source lists shelve, unshelve, designed suppression and
# unsuppression, removal from and return to service as arrows from any state and back.
BENEATH = [
    pytest.param((), A, id="A"),
    pytest.param(("raise",), B, id="B"),
    pytest.param(("raise", "acknowledge"), C, id="C"),
    pytest.param(("raise", "clear"), D, id="D"),
    pytest.param(("latch", "raise", "clear"), E, id="E"),
    pytest.param(("latch", "raise", "clear", "acknowledge"), F, id="F"),
]
OVER = [
    pytest.param("shelve", AlarmState.SHELVED, "unshelve", id="G"),
    pytest.param("suppress", AlarmState.SUPPRESSED, "return-to-service", id="H"),
    pytest.param("out-of-service", AlarmState.OUT_OF_SERVICE, "return-to-service", id="I"),
]


def brought_to(steps: tuple[str, ...]) -> tuple[Watch, dict[str, object]]:
    """A sump whose water-gain alarm went through some steps, and what holds there from now on."""
    rule = AlarmPlan(on_delay=0.0, off_delay=60.0, latching="latch" in steps)
    watch = Watch(plan=a_sump(alarms={"water-gain": rule}))
    holding: dict[str, object] = {}
    for step in steps:
        if step == "raise":
            holding = {"findings": (a_finding("water-gain"),)}
        elif step == "clear":
            holding = {}
        elif step == "acknowledge":
            assert watch.order("acknowledge", "water-gain") is None
        watch.minutes(2, **holding)
    return watch, holding


@pytest.mark.parametrize(("steps", "state"), BENEATH)
@pytest.mark.parametrize(("over", "shown", "back"), OVER)
def test_any_state_can_be_laid_over_and_comes_back(steps, state, over, shown, back):
    """A to F go to G, H and I, and what lay beneath is there again afterwards."""
    watch, holding = brought_to(steps)

    assert watch.order(over, "water-gain") is None
    watch.minutes(5, **holding)
    assert watch.last("water-gain").state is shown
    assert watch.order(back, "water-gain") is None
    assert watch.last("water-gain").state is state


# OPC 10000-9 (Alarms and Conditions), B.1.2, table B.1, "Example of a Condition that only keeps
# the latest state": Active and Acked row by row. Its rows 4 and 8 are confirmations, which millpond
# does not ask for, and which change neither column. Seen at reference.opcfoundation.org.
TABLE_B1 = [
    ("Initial state of Condition", None, False, True),
    ("Alarm goes active", Happening.OCCURS, True, False),
    ("Condition acknowledged", Happening.ACKNOWLEDGED, True, True),
    ("Alarm goes inactive", Happening.CLEARS, False, True),
    ("Alarm goes active", Happening.OCCURS, True, False),
    ("Alarm goes inactive", Happening.CLEARS, False, False),
    ("Condition acknowledged", Happening.ACKNOWLEDGED, False, True),
]


def test_active_and_acknowledged_follow_the_printed_table():
    """The single-state example of OPC 10000-9 comes out row by row."""
    state = AlarmState.NORMAL
    for row, happening, active, acknowledged in TABLE_B1:
        if happening is not None:
            following = after(state, happening, latching=False)
            assert following is not None, row
            state = following
        assert (is_active(state), is_acknowledged(state)) == (active, acknowledged), row


def test_a_latched_alarm_is_one_whose_condition_is_gone():
    """E and F: alarm condition "No" in a genset controller's handbook, table of alarm states."""
    assert not is_active(E)
    assert not is_active(F)
    assert is_acknowledged(F)
    assert not is_acknowledged(E)


# OPC 10000-9, 4.8: shelved, out-of-service and suppressed alarms are still fully functional. Seen.
def test_a_shelved_alarm_goes_on_working():
    """An alarm that occurs while shelved is unacknowledged when it is taken back."""
    watch, _ = brought_to(())
    watch.order("shelve", "water-gain")

    watch.minutes(5, findings=(a_finding("water-gain"),))
    assert watch.last("water-gain").active
    watch.order("unshelve", "water-gain")
    assert watch.last("water-gain").state is B


# Standard normal quantiles, NIST/SEMATECH e-Handbook 1.3.6.7.1 (from memory): 0.95 -> 1.645,
# 0.975 -> 1.960, 0.99 -> 2.326, printed to three decimals.
@pytest.mark.parametrize(("confidence", "sds"), [(0.95, 1.645), (0.975, 1.960), (0.99, 2.326)])
def test_confidence_is_a_quantile_of_the_normal_distribution(confidence, sds):
    """An estimate is beyond a limit with `confidence` when it is that many sds beyond."""
    assert sds_for(confidence) == pytest.approx(sds, abs=5e-4)


# Delay and deadband as in a controller manual's pseudo-code: high becomes active when
# In >= limit for at least the minimum time, clears when In < limit - deadband.
def test_a_high_alarm_follows_the_printed_pseudo_code():
    """Raised after the delay at the limit, it stands at limit less deadband and clears below."""
    rule = AlarmPlan(limit=400.0, deadband=10.0, on_delay=300.0, off_delay=60.0)
    watch = Watch(plan=a_sump(alarms={"level-high": rule}))

    watch.minutes(5, depth=Estimate(400.0, 0.0))
    assert watch.states("level-high") == []
    watch.minutes(1, depth=Estimate(400.0, 0.0))
    assert watch.states("level-high") == [B]
    watch.minutes(30, depth=Estimate(390.0, 0.0))
    assert watch.states("level-high") == [B]
    watch.minutes(2, depth=Estimate(389.9, 0.0))
    assert watch.states("level-high") == [B, D]


# "Alarm Management by the Numbers", chemengonline.com, after EEMUA 191 and ISA-18.2: a flood starts
# above 10 alarms in 10 minutes and ends below 5; a vendor's self-audit page has the same 10 in 10
# minutes, stale "continuously for over 24 hours", chattering "three or more times in one minute".
@pytest.mark.parametrize(
    ("counts", "floods"), [((10, 10), 0), ((11, 4), 1), ((11, 5, 11, 4), 1), ((11, 4, 11), 2)]
)
def test_floods_begin_and_end_as_printed(counts, floods):
    """More than ten in ten minutes begin a flood, fewer than five end it."""
    journal = [
        Transition(
            at=START + period * 10 * MINUTE + i,
            sump=f"mill-{period}-{i}",
            name="level-low",
            signal=None,
            state=B,
            priority="low",
        )
        for period, count in enumerate(counts)
        for i in range(count)
    ]
    figures = key_figures(journal, begin=START, end=START + DAY, sumps=100)

    assert len(figures.floods) == floods


def test_stale_and_chattering_are_as_printed():
    """Over 24 hours without a break is stale; three times in one minute is chattering."""
    states = [(0, B), (10, D), (20, B), (30, D), (40, B), (59, D), (60, B)]
    journal = [
        Transition(
            at=START + second * 1000,
            sump="mill-07",
            name="level-low",
            signal=None,
            state=state,
            priority="low",
        )
        for second, state in states
    ]

    young = key_figures(journal, begin=START, end=START + DAY + MINUTE, sumps=1)
    old = key_figures(journal, begin=START, end=START + DAY + MINUTE + 1, sumps=1)
    assert young.chattering == old.chattering == ("mill-07/level-low",)
    assert (len(young.stale), len(old.stale)) == (0, 1)


def test_an_empty_board_is_all_normal():
    """State A is where every alarm begins."""
    assert AlarmBoard().alarms == ()
