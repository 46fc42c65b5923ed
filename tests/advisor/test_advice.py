"""When an advice is issued, and what it then says."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.advice import LONGEST, AdviceMemory, reconsider
from advisor.geometry import volume_at
from advisor.plan import SumpPlan
from advisor.words import DAY, HOUR, MINUTE, Estimate, Quality, Signal, SumpState
from tests.alarm_watch import START
from tests.plants import a_sump
from tests.sump_states import sump_holding

SUMP = a_sump()
WELL = (390.0, 0.08)
LOW = (280.0, 0.081)


def first(volume, concentration, plan: SumpPlan = SUMP, **changes):
    """The advice on a sump seen for the first time."""
    state = sump_holding(plan, volume, concentration, **changes)
    memory, advice = reconsider(AdviceMemory(), state, plan, START)
    assert advice is not None
    return memory, advice


def again(memory, state: SumpState, minutes: float = 1.0, plan: SumpPlan = SUMP):
    """A look some minutes after the start."""
    return reconsider(memory, state, plan, START + round(minutes * MINUTE))


def test_a_sump_in_order_needs_nothing():
    """Kind none, with reasons, and without a mix."""
    _, advice = first(*WELL)

    assert advice.kind == "none"
    assert (advice.mix, advice.batches, advice.after) == (None, None, None)
    assert any("inner half of the band" in reason for reason in advice.why)
    assert advice.next is not None


def test_a_low_level_asks_for_a_top_up():
    """Under the top-up level, with all that a person needs to carry it out."""
    _, advice = first(*LOW)

    assert advice.kind == "top-up"
    assert advice.mix is not None
    assert advice.batches
    assert advice.after is not None
    assert advice.after.concentration.value == pytest.approx(0.08, abs=0.002)
    assert advice.id == "a-000001"


@pytest.mark.parametrize("concentration", [0.0695, 0.0905])
def test_leaving_the_inner_half_asks_for_a_top_up_where_a_vessel_fits(concentration):
    """7 to 9 % is the inner half of 6 to 10 %."""
    _, advice = first(360.0, concentration)

    assert advice.kind == "top-up"


def test_no_whole_vessel_no_top_up():
    """In the band, off the inner half, with less room than a bucket: later."""
    _, advice = first(390.0, 0.0905)

    assert advice.kind == "none"
    assert any("No whole vessel" in reason for reason in advice.why)


def test_a_band_that_adding_cannot_reach_asks_for_an_exchange():
    """Too strong and full."""
    _, advice = first(398.0, 0.13)

    assert advice.kind == "exchange"
    assert advice.drain > 0.0


@pytest.mark.parametrize(
    ("volume", "concentration", "changes", "word"),
    [
        (None, 0.08, {}, "dipstick"),
        (380.0, None, {}, "refractometer"),
        (380.0, 0.08, {"volume_sd": 40.0}, "dipstick"),
        (380.0, 0.08, {"concentration_sd": 0.02}, "refractometer"),
    ],
)
def test_what_is_not_known_is_to_be_checked(volume, concentration, changes, word):
    """Unknown or too uncertain: which check, and why."""
    _, advice = first(volume, concentration, **changes)

    assert advice.kind == "check"
    assert (advice.mix, advice.batches, advice.after, advice.next) == (None,) * 4
    assert word in " ".join(advice.why)


def test_an_empty_sump_asks_for_a_charge():
    """Drained, and not being charged yet."""
    _, advice = first(5.0, None)

    assert advice.kind == "charge"
    assert advice.after is not None
    assert advice.after.volume.value == pytest.approx(399.0, abs=4.0)


def test_nothing_is_advised_while_a_sump_is_charged():
    """Pumps and sensors are out: none, and why."""
    _, advice = first(100.0, 0.02, charging=True)

    assert advice.kind == "none"
    assert any("being charged" in reason for reason in advice.why)


@pytest.mark.parametrize("quality", [Quality.SUSPECT, Quality.BAD, Quality.STALE])
@pytest.mark.parametrize("signal", [Signal.LEVEL, Signal.BRIX])
def test_evidence_that_is_not_good_is_said(quality, signal):
    """Nothing from suspect, bad or stale evidence without saying so."""
    qualities = {**dict.fromkeys(Signal, Quality.GOOD), signal: quality}
    _, advice = first(*LOW, qualities=qualities)

    assert any(f"{signal} signal is {quality}" in reason for reason in advice.why)


def test_holdup_is_said_while_the_pumps_run():
    """Whether the numbers include what is up in the machine."""
    _, running = first(*WELL, running=True)
    _, stopped = first(*WELL, running=False)

    assert any("the volume includes what is up" in reason for reason in running.why)
    assert not any("up in the machine" in reason for reason in stopped.why)


@pytest.mark.parametrize(
    ("volume", "concentration", "begins", "numbers"),
    [
        (280.0, 0.081, "Level", ("267 mm", "280 L", "280 mm", "294 L")),
        (360.0, 0.0905, "Concentration 9.05 %: over the inner half", ("7 % to 9 %",)),
        (280.0, 0.0655, "Level", ("280 L",)),
        (280.0, 0.055, "Concentration 5.5 %: under the band", ("6 % to 10 %",)),
        (460.0, 0.08, "460 L are more than the 452 L", ("runs over",)),
        (398.0, 0.13, "Concentration 13 %: over the band", ("6 % to 10 %",)),
        (5.0, None, "The sump is empty (5 L in it)", ()),
        (390.0, 0.08, "Level 371 mm", ("280 mm",)),
        (None, 0.08, "The volume is not known", ()),
    ],
)
@pytest.mark.parametrize("running", [True, None])
def test_what_decides_is_said_first(volume, concentration, begins, numbers, running):
    """Level or concentration beside its limit opens the reasons; trust and holdup come after it."""
    qualities = {**dict.fromkeys(Signal, Quality.GOOD), Signal.LEVEL: Quality.SUSPECT}
    _, advice = first(volume, concentration, running=running, qualities=qualities)

    assert advice.why[0].startswith(begins)
    assert all(number in advice.why[0] for number in numbers)
    last = advice.why[-1]
    assert "suspect" in last or "up in the machine" in last


def test_a_top_up_that_is_half_done_says_what_is_left():
    """Beyond no limit any more, yet not finished: that is what decides."""
    memory, _ = first(*LOW)

    _, advice = again(memory, sump_holding(SUMP, 300.0, 0.0805), 5)
    assert advice is not None
    assert advice.kind == "top-up"
    assert advice.why[0] == (
        "The top-up that was due is not finished: 300 L and 8.05 %, of 399 L and 8 % wanted."
    )


@pytest.mark.parametrize("sd", [0.0, 1e-9, 0.004, 0.04, 0.4, 4.0])
def test_an_sd_is_never_said_to_be_nothing(sd):
    """An sd too small for the usual digits gets more of them; one that is none is left out."""
    _, advice = first(
        *LOW, volume_sd=sd, concentration_sd=sd / 1e4, running=True, holdup=Estimate(35.0, sd)
    )

    said = " ".join(advice.why)
    assert "(sd 0 " not in said
    assert ("sd " in said) == (sd > 1e-7)


def test_looking_again_tells_nothing_new():
    """The same state a minute later: no advice, the same memory."""
    memory, _ = first(*LOW)

    same, advice = again(memory, sump_holding(SUMP, *LOW))
    assert advice is None
    assert same == memory


def test_small_changes_leave_the_advice_as_it_is():
    """Somebody may stand there with the bucket."""
    memory, _ = first(*LOW)

    for step in range(8):
        state = sump_holding(SUMP, 280.0 - 0.1 * step, 0.081 + 0.00005 * step)
        memory, advice = again(memory, state, step + 1)
        assert advice is None


def test_a_poured_bucket_brings_a_new_advice():
    """The mix changes by more than a graduation: a new id, for what is left to pour."""
    memory, before = first(*LOW)

    _, advice = again(memory, sump_holding(SUMP, 296.0, 0.081))
    assert advice is not None
    assert advice.id == "a-000002"
    assert advice.mix.volume < before.mix.volume - 10.0


def test_done_is_told():
    """After the top-up the kind changes to none."""
    memory, before = first(*LOW)
    after = before.after

    _, advice = again(memory, sump_holding(SUMP, after.volume.value, after.concentration.value))
    assert advice is not None
    assert advice.kind == "none"


def test_noise_about_the_edge_does_not_make_it_come_and_go():
    """A level that hovers at the top-up mark gives one advice, not one a minute."""
    edge = volume_at(SUMP.tank, SUMP.levels.top_up)
    memory, _ = first(edge + 1.0, 0.08)
    told = []
    for step in range(30):
        volume = edge + (0.6 if step % 2 else -0.6)
        memory, advice = again(memory, sump_holding(SUMP, volume, 0.08), step + 1)
        told += [advice.kind] if advice else []

    assert told == ["top-up"]


def test_an_expired_advice_is_issued_anew():
    """The same advice, with a new id and a new end, when its time is over."""
    memory, before = first(*LOW)

    state = sump_holding(SUMP, *LOW)
    _, none_yet = reconsider(memory, state, SUMP, before.valid_until - 1)
    _, advice = reconsider(memory, state, SUMP, before.valid_until)
    assert none_yet is None
    assert advice is not None
    assert (advice.id, advice.mix) == ("a-000002", before.mix)
    assert advice.valid_until == before.valid_until + LONGEST


def test_none_is_valid_until_the_next_need():
    """At least an hour, at most a day."""
    _, soon = first(296.0, 0.08, losses=replace(sump_holding(SUMP, *WELL).losses))
    _, late = first(399.0, 0.08)

    assert soon.valid_until - START == pytest.approx((296.0 - 294.0) / 19.4 * DAY, rel=1e-6)
    assert late.valid_until - START == DAY


def test_none_is_valid_for_an_hour_at_least():
    """However near the need."""
    _, advice = first(294.2, 0.08)

    assert advice.kind == "none"
    assert advice.valid_until - START == HOUR


def test_evidence_going_stale_is_told_under_the_same_id():
    """The advice stands; what it stands on is told."""
    memory, before = first(*LOW)
    stale = {**dict.fromkeys(Signal, Quality.GOOD), Signal.BRIX: Quality.STALE}

    memory, advice = again(memory, sump_holding(SUMP, *LOW, qualities=stale))
    _, later = again(memory, sump_holding(SUMP, *LOW, qualities=stale), 2)

    assert advice is not None
    assert (advice.id, advice.mix, advice.valid_until) == (
        before.id,
        before.mix,
        before.valid_until,
    )
    assert "stale" not in advice.why[0]
    assert any("stale" in reason for reason in advice.why)
    assert later is None


def test_other_reasons_for_the_same_kind_are_told_under_the_same_id():
    """Measuring the depth leaves the concentration to be measured: still a check."""
    memory, before = first(None, None)

    _, advice = again(memory, sump_holding(SUMP, 380.0, None))
    assert advice is not None
    assert (advice.id, advice.kind) == (before.id, "check")
    assert "refractometer" in " ".join(advice.why)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.one_of(st.none(), st.floats(0.0, 470.0)),
            st.one_of(st.none(), st.floats(0.0, 0.3)),
            st.floats(0.0, 60.0),
            st.floats(0.0, 0.03),
            st.booleans(),
        ),
        max_size=6,
    )
)
def test_any_state_is_advised_on_and_nothing_is_told_twice(states):
    """No state makes it fail; ids count up; the memory holds what was told last."""
    sump = a_sump()
    memory, newest = AdviceMemory(), 0
    for step, (volume, strength, volume_sd, strength_sd, charging) in enumerate(states):
        state = replace(
            sump_holding(sump, None, strength, concentration_sd=strength_sd),
            volume=None if volume is None else Estimate(volume, volume_sd),
            charging=charging,
        )
        memory, advice = reconsider(memory, state, sump, START + step * HOUR)
        if advice is not None:
            number = int(advice.id[2:])
            assert number in (newest, newest + 1)
            newest = number
            assert memory.current == advice
            assert advice.why
        same, nothing = reconsider(memory, state, sump, START + step * HOUR)
        assert (same, nothing) == (memory, None)
