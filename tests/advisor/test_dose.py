"""What a dose promises for every state of every sump."""

import os
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.dose import (
    DosePlan,
    confidence_in_band,
    plan_charge,
    plan_top_up,
    target_tolerance,
    task_for,
    volume_tolerance,
)
from advisor.effects import After
from advisor.errors import AdvisorError
from advisor.geometry import LyingCylinder, UprightCylinder, volume_at
from advisor.plan import Levels, SumpPlan, Supply, Vessel
from advisor.units import FLUID_OUNCE, GALLON
from advisor.words import Estimate
from tests.plants import FLUID, a_sump

EXACT = 1e-6

STATES = int(os.environ.get("MILLPOND_STATES", "1000"))
"""Random states that a property is tried on; more in a soak."""

TAP = Supply(
    id="tap", kind="proportioner", fluid="semi-a", settings=(0.0, 0.02, 0.04, 0.06, 0.08, 0.3)
)
TOTE = Supply(id="tote", kind="premix", fluid="semi-a", strength=0.15)
DRUM = Supply(id="drum", kind="drum", fluid="semi-a", volume=200.0)

sumps = st.builds(
    lambda tank, vessels, weak, margin: a_sump(
        tank=tank[0],
        levels=tank[1],
        vessels=vessels,
        fluid=replace(FLUID, weak_mix=weak),
        margin_sd=margin,
    ),
    st.sampled_from(
        [
            (a_sump().tank, a_sump().levels),
            (
                UprightCylinder(diameter=600.0, height=900.0),
                Levels(low=250.0, target=700.0, brim=850.0, top_up=475.0),
            ),
            (
                LyingCylinder(diameter=700.0, length=1200.0),
                Levels(low=200.0, target=500.0, brim=650.0, top_up=350.0),
            ),
        ]
    ),
    st.sampled_from(
        [
            (),
            (Vessel(id="bucket", volume=20.0, graduation=0.5, carry_fill=0.8),),
            (
                Vessel(id="pail", volume=5 * GALLON, graduation=GALLON / 2),
                Vessel(id="jug", volume=32 * FLUID_OUNCE, graduation=FLUID_OUNCE, carry_fill=1.0),
            ),
        ]
    ),
    st.sampled_from([0.0, 0.01]),
    st.sampled_from([0.0, 2.0]),
)

shares = st.floats(0.4, 1.0)
"""Of the volume at the brim."""


def after_by_hand(plan: DosePlan, volume: float, concentration: float) -> tuple[float, float]:
    """Volume [L] and concentration [1] from the batches, counted one by one."""
    volume, pure = volume - plan.drain, (volume - plan.drain) * concentration
    for batch in plan.batches:
        for _ in range(batch.count):
            volume += batch.water + batch.concentrate
            pure += batch.concentrate
    return volume, pure / volume


@dataclass(frozen=True)
class Case:
    """A sump and what is in it."""

    sump: SumpPlan
    volume: Estimate
    concentration: Estimate
    correlation: float
    stock: dict[str, float]


cases = st.builds(
    lambda sump, share, sd, strength, correlation, stock: Case(
        sump=replace(sump, supplies=(DRUM,)),
        volume=Estimate(share * volume_at(sump.tank, sump.levels.brim), sd),
        concentration=Estimate(*strength),
        correlation=correlation,
        stock=stock,
    ),
    sumps,
    shares,
    st.floats(0.0, 6.0),
    st.tuples(st.floats(0.02, 0.16), st.floats(0.0, 0.005)),
    st.floats(-0.9, 0.9),
    st.sampled_from([{}, {}, {}, {"drum": 3.0}]),
)


@settings(max_examples=STATES, deadline=None)
@given(cases)
def test_every_dose_conserves_and_keeps_the_limits(case):
    """Nothing is lost in the reckoning, no limit is broken, all of it can be measured."""
    plan = plan_top_up(
        case.volume, case.concentration, case.correlation, case.sump, stock=case.stock
    )

    assert_conserved(plan, case)
    assert_within_limits(plan, case)
    assert_measurable(plan, case.sump)


@settings(max_examples=60, deadline=None)
@given(
    cases,
    st.sampled_from([(TAP,), (TAP, TOTE), (DRUM, TOTE)]),
    st.sampled_from([{}, {"drum": 1.0, "tote": 12.0}]),
)
def test_limits_hold_whatever_the_mix_comes_from(case, supplies, stock):
    """Out of a proportioner, a tote or a drum: conserved, and within every limit."""
    case = replace(case, sump=replace(case.sump, supplies=supplies), stock=stock)
    plan = plan_top_up(
        case.volume, case.concentration, case.correlation, case.sump, stock=case.stock
    )

    assert_conserved(plan, case)
    assert_within_limits(plan, case)


@settings(max_examples=60, deadline=None)
@given(
    sumps,
    st.sampled_from([(), (DRUM,), (DRUM, TOTE), (TAP,)]),
    st.sampled_from([{}, {"drum": 20.0, "tote": 12.0}]),
)
def test_every_charge_conserves_and_keeps_the_limits(sump, supplies, stock):
    """From nothing, too: what is poured is what there is then, within every limit."""
    sump, empty = replace(sump, supplies=supplies), Estimate(0.0, 0.0)
    plan = plan_charge(sump, stock=stock)
    case = Case(sump=sump, volume=empty, concentration=empty, correlation=0.0, stock=stock)

    assert plan.batches
    assert_conserved(plan, case)
    assert_within_limits(plan, case)


def assert_conserved(plan: DosePlan, case: Case) -> None:
    """What the plan says of afterwards is what its batches and its drain make of the sump."""
    by_hand = after_by_hand(plan, case.volume.value, case.concentration.value)
    assert (plan.after.volume.value, plan.after.concentration.value) == pytest.approx(by_hand)
    if plan.mix is not None:
        water = sum(batch.count * batch.water for batch in plan.batches)
        pure = sum(batch.count * batch.concentrate for batch in plan.batches)
        assert (plan.mix.water, plan.mix.concentrate) == pytest.approx((water, pure))


def assert_within_limits(plan: DosePlan, case: Case) -> None:
    """Not over the brim less headroom less margin, not too strong, no water that harms."""
    sump, volume = case.sump, case.volume
    room_to = volume_at(sump.tank, sump.levels.brim - sump.headroom)
    safe = room_to - sump.margin_sd * volume.sd
    assert plan.after.volume.value <= max(safe, volume.value) + EXACT
    assert 0.0 <= plan.drain <= volume.value
    if plan.drain > 0.0:
        low = volume_at(sump.tank, sump.levels.low)
        assert plan.after.volume.value >= min(low, safe) - EXACT
    assert sum(b.count * b.concentrate for b in plan.batches) <= at_hand(case) + EXACT
    for batch in plan.batches:
        total = batch.water + batch.concentrate
        assert batch.concentrate <= sump.fluid.premix_max * total + EXACT
        assert batch.concentrate >= sump.fluid.weak_mix * total - EXACT


def at_hand(case: Case) -> float:
    """Concentrate that the supplies hold; a tap has no end, nor has what nobody named. [L]"""
    if not case.sump.supplies:
        return float("inf")
    left = {"drum": float("inf"), "tote": float("inf"), "tap": float("inf"), **case.stock}
    strengths = {"drum": 1.0, "tote": 0.15, "tap": 1.0}
    return sum(strengths[supply.id] * left[supply.id] for supply in case.sump.supplies)


def assert_measurable(plan: DosePlan, sump: SumpPlan) -> None:
    """Amounts stand on marks of the vessels; a carried batch fits one of them."""
    marks = [vessel.graduation for vessel in sump.vessels] or [0.1]
    for batch in plan.batches:
        assert any(is_multiple(batch.water, mark) for mark in marks)
        assert is_multiple(batch.concentrate, min(marks))
    if sump.vessels and len(plan.batches) > 1:
        fill = max(vessel.fill for vessel in sump.vessels)
        assert all(b.water + b.concentrate <= fill + EXACT for b in plan.batches)


def is_multiple(volume: float, mark: float) -> bool:
    """Whether a volume stands on a mark."""
    return abs(volume / mark - round(volume / mark)) < 1e-5


@settings(max_examples=60, deadline=None)
@given(st.floats(150.0, 380.0), st.floats(0.06, 0.10))
def test_the_target_is_met_where_marks_are_fine(volume, strength):
    """With room enough, volume and concentration end within the tolerances."""
    sump = a_sump(vessels=())
    wanted, fluid = volume_at(sump.tank, sump.levels.target), sump.fluid
    missing = fluid.target * wanted - strength * volume

    plan = plan_top_up(Estimate(volume, 1.0), Estimate(strength, 0.0005), 0.0, sump)

    if 0.0 < missing < fluid.premix_max * (wanted - volume):
        after = plan.after
        assert after.volume.value == pytest.approx(wanted, abs=volume_tolerance(sump) + EXACT)
        assert after.concentration.value == pytest.approx(
            fluid.target, abs=target_tolerance(sump) + EXACT
        )


def test_a_top_up_says_water_first_and_how_it_will_read():
    """The reasons name the batches in the order of pouring, and the reading afterwards."""
    plan = plan_top_up(Estimate(350.0, 2.0), Estimate(0.078, 0.0008), 0.0, a_sump())

    said = " ".join(plan.why)
    assert plan.kind == "top-up"
    assert said.index("of water") < said.index("of concentrate into it")
    assert "°Brix" in said
    assert any("never the other way round" in caution for caution in plan.cautions)


def test_too_strong_and_full_takes_an_exchange():
    """Out of the band with no room to dilute: drain first, and end in the band."""
    plan = plan_top_up(Estimate(398.0, 2.0), Estimate(0.13, 0.0008), 0.0, a_sump())

    assert plan.kind == "exchange"
    assert plan.drain > 0.0
    assert 0.06 <= plan.after.concentration.value <= 0.10
    assert any("waste" in caution for caution in plan.cautions)


def test_nothing_is_drained_where_the_band_can_be_reached_by_adding():
    """In the band but off target and full: nothing is drained, an exchange is only named."""
    plan = plan_top_up(Estimate(399.0, 2.0), Estimate(0.095, 0.0008), 0.0, a_sump())

    assert plan.kind != "exchange"
    assert plan.drain == 0.0
    assert any("exchange" in reason for reason in plan.why)


def test_in_band_goes_before_the_volume_wanted():
    """Too lean at the level wanted: it is filled farther, as far as it is safe."""
    sump = a_sump()
    plan = plan_top_up(Estimate(398.0, 2.0), Estimate(0.055, 0.0005), 0.0, sump)

    assert plan.kind == "top-up"
    assert plan.after.concentration.value >= 0.06
    assert plan.after.volume.value > volume_at(sump.tank, sump.levels.target)


def test_what_would_run_over_is_drained():
    """More fluid than the tank holds to its brim: what is too much has to go."""
    sump = a_sump()
    plan = plan_top_up(Estimate(460.0, 2.0), Estimate(0.08, 0.0008), 0.0, sump)

    safe = volume_at(sump.tank, sump.levels.brim - sump.headroom) - 4.0
    assert plan.kind == "exchange"
    assert plan.after.volume.value <= safe
    assert "over its brim" in plan.why[0]


def test_less_certain_means_less_full():
    """The cap falls by the margin times the sd of the volume."""
    strength = Estimate(0.08, 0.0005)
    sure = task_for(Estimate(380.0, 0.5), strength, 0.0, a_sump())
    unsure = task_for(Estimate(380.0, 8.0), strength, 0.0, a_sump())

    assert sure.cap - unsure.cap == pytest.approx(15.0)


def test_a_weak_mix_counts():
    """A fluid that takes no plain water ends at the same target."""
    weak = a_sump(fluid=replace(FLUID, weak_mix=0.01), vessels=())
    plan = plan_top_up(Estimate(330.0, 1.0), Estimate(0.085, 0.0005), 0.0, weak)

    assert plan.mix is not None
    assert plan.mix.strength >= 0.01
    assert plan.after.concentration.value == pytest.approx(0.08, abs=target_tolerance(weak))


def test_a_short_drum_is_said_by_what_it_gives():
    """With less concentrate than needed the plan takes what there is."""
    sump = a_sump(supplies=(DRUM,))
    plan = plan_top_up(Estimate(330.0, 1.0), Estimate(0.07, 0.0005), 0.0, sump, stock={"drum": 1.0})

    assert plan.mix is not None
    assert plan.mix.concentrate <= 1.0
    assert any("Only 1 L of concentrate are at hand" in reason for reason in plan.why)


def test_drums_are_counted_together_and_only_where_all_are_counted():
    """Two drums hold what both hold; one that nobody counted may hold anything."""
    other = replace(DRUM, id="drum-2")
    known = Estimate(330.0, 1.0), Estimate(0.07, 0.0005), 0.0, a_sump(supplies=(DRUM, other))

    both = plan_top_up(*known, stock={"drum": 1.0, "drum-2": 1.5, "elsewhere": 0.0})
    one = plan_top_up(*known, stock={"drum": 1.0})

    assert both.mix is not None
    assert one.mix is not None
    assert both.mix.concentrate == pytest.approx(2.5)
    assert one.mix.concentrate > 5.0


def test_a_tote_gives_no_more_than_is_left_in_it():
    """12 L of premix of 15 % are 1.8 L of concentrate, whatever more would be wanted."""
    known = Estimate(330.0, 1.0), Estimate(0.07, 0.0005), 0.0, a_sump(supplies=(TOTE,))

    short = plan_top_up(*known, stock={"tote": 12.0})
    full = plan_top_up(*known)

    assert short.mix is not None
    assert full.mix is not None
    assert short.mix.concentrate == pytest.approx(1.8)
    assert full.mix.concentrate > 5.0


def test_a_charge_takes_no_more_than_the_drums_hold():
    """400 L at 8 % would take 32 L; with 20 L it ends in the band but less full, and says so."""
    plan = plan_charge(a_sump(supplies=(DRUM,)), stock={"drum": 20.0})

    assert plan.mix is not None
    assert plan.mix.concentrate <= 20.0
    assert plan.after.concentration.value >= 0.06
    assert plan.after.volume.value == pytest.approx(20.0 / 0.06, abs=1.0)
    assert any("at hand" in reason for reason in plan.why)


def test_nothing_is_drained_where_that_does_not_lead_into_the_band_either():
    """Too lean with hardly any concentrate left: adding what there is, and no draining."""
    sump = a_sump(supplies=(DRUM,))
    plan = plan_top_up(Estimate(330.0, 1.0), Estimate(0.02, 0.0005), 0.0, sump, stock={"drum": 3.0})

    assert (plan.kind, plan.drain) == ("top-up", 0.0)
    assert plan.mix is not None
    assert plan.mix.concentrate == pytest.approx(3.0)


def test_a_charge_is_premix_and_then_water():
    """An empty sump takes strong batches from a bucket, then water from the line."""
    sump: SumpPlan = a_sump()
    plan = plan_charge(sump)

    assert plan.kind == "charge"
    assert plan.after.volume.value == pytest.approx(399.0, abs=volume_tolerance(sump))
    assert plan.after.concentration.value == pytest.approx(0.08, abs=target_tolerance(sump))
    strong, *_, rest = plan.batches
    assert 0.1 < strong.concentrate / (strong.water + strong.concentrate) <= 0.2
    assert rest.concentrate == 0.0


def test_a_charge_of_a_fluid_that_takes_no_water_has_none():
    """Every batch of it is at least a weak mix, and the total is right."""
    sump = a_sump(fluid=replace(FLUID, weak_mix=0.01))
    plan = plan_charge(sump)

    assert all(b.concentrate >= 0.01 * (b.water + b.concentrate) - EXACT for b in plan.batches)
    assert plan.after.concentration.value == pytest.approx(0.08, abs=target_tolerance(sump))


def test_reading_marks_adds_to_the_sd():
    """The sd afterwards is the state's and that of reading marks, mark / sqrt 12 each."""
    plan = plan_top_up(Estimate(350.0, 0.0), Estimate(0.078, 0.0), 0.0, a_sump())

    count = sum(batch.count for batch in plan.batches)
    assert plan.after.volume.sd == pytest.approx((2 * count * 0.5**2 / 12) ** 0.5)
    assert 0.0 < plan.after.concentration.sd < 0.001


# mean, sd, probability of 6 to 10 %: from a table of the normal distribution.
CONFIDENCES = [
    (0.08, 0.01, 0.9545),  # two sds to either side
    (0.06, 0.01, 0.5),  # on the edge; the other is four sds away
    (0.08, 0.0, 1.0),
    (0.11, 0.0, 0.0),
]


@pytest.mark.parametrize(("mean", "sd", "probability"), CONFIDENCES)
def test_confidence_is_that_of_the_normal_distribution(mean, sd, probability):
    """Printed values of the normal distribution."""
    after = After(volume=Estimate(300.0, 1.0), concentration=Estimate(mean, sd))

    assert confidence_in_band(after, (0.06, 0.10)) == pytest.approx(probability, abs=5e-5)


@pytest.mark.parametrize(
    ("volume", "strength"),
    [
        (Estimate(-1.0, 1.0), Estimate(0.08, 0.001)),
        (Estimate(float("nan"), 1.0), Estimate(0.08, 0.001)),
        (Estimate(300.0, float("inf")), Estimate(0.08, 0.001)),
        (Estimate(300.0, 1.0), Estimate(1.0, 0.001)),
        (Estimate(300.0, 1.0), Estimate(-0.01, 0.001)),
    ],
)
def test_a_state_that_no_sump_has_is_refused(volume, strength):
    """Not a number, negative, or pure concentrate: an error that names it."""
    with pytest.raises(AdvisorError):
        plan_top_up(volume, strength, 0.0, a_sump())


def test_a_proportioner_is_set_to_what_it_can_be_set_to():
    """Batches have the strength of one of its settings, and say so."""
    sump = a_sump(supplies=(TAP,))
    plan = plan_top_up(Estimate(330.0, 1.0), Estimate(0.085, 0.0005), 0.0, sump)

    assert plan.batches
    for batch in plan.batches:
        strength = batch.concentrate / (batch.water + batch.concentrate)
        assert any(strength == pytest.approx(setting) for setting in TAP.settings)
    assert "mix from tap, set to" in plan.why[0]


def test_a_tote_of_premix_is_let_down_with_water():
    """Water first, then premix; nothing is stronger than what the tote holds."""
    plan = plan_top_up(Estimate(330.0, 1.0), Estimate(0.075, 0.0005), 0.0, a_sump(supplies=(TOTE,)))

    assert plan.after.concentration.value == pytest.approx(0.08, abs=0.00125)
    for batch in plan.batches:
        assert batch.concentrate <= 0.15 * (batch.water + batch.concentrate) + EXACT
        premix = batch.concentrate / 0.15
        assert is_multiple(premix, 0.5)
    assert plan.why[0].index("of water") < plan.why[0].index("premix from tote (15 %)")


def test_with_a_drum_beside_it_the_better_of_both_is_taken():
    """A proportioner that is too coarse does not stand in the way of mixing by hand."""
    tap = Supply(id="tap", kind="proportioner", fluid="semi-a", settings=(0.20,))
    known = Estimate(330.0, 1.0), Estimate(0.085, 0.0005), 0.0

    alone = plan_top_up(*known, a_sump(supplies=(tap,), vessels=()))
    both = plan_top_up(*known, a_sump(supplies=(tap, DRUM), vessels=()))
    hand = plan_top_up(*known, a_sump(vessels=()))

    assert both.after.concentration == hand.after.concentration
    assert abs(alone.after.concentration.value - 0.08) > target_tolerance(a_sump())


@pytest.mark.parametrize(
    ("fluid", "flow", "minutes"),
    [
        pytest.param(FLUID, None, 30, id="common practice"),
        pytest.param(replace(FLUID, circulate=45.0), None, 45, id="minutes of the data sheet"),
        pytest.param(replace(FLUID, turnovers=5.0), 110.0, 19, id="5 x 399 L at 110 L/min"),
        pytest.param(replace(FLUID, turnovers=5.0), None, 30, id="turnovers, flow not known"),
    ],
)
def test_it_is_said_how_long_to_circulate(fluid, flow, minutes):
    """As many turnovers or minutes as the data sheet asks for, else half an hour."""
    sump = a_sump(fluid=fluid, pump_flow=flow)
    for plan in (
        plan_top_up(Estimate(330.0, 1.0), Estimate(0.075, 0.0005), 0.0, sump),
        plan_charge(sump),
    ):
        assert plan.circulate == minutes
        assert sum(f"run the pumps for {minutes} minutes" in said for said in plan.cautions) == 1


def test_the_margin_under_the_brim_is_said():
    """Brim at 430 mm, 1.05 L/mm: 15 mm and two sds of 3 L under it are 429.75 L."""
    plan = plan_top_up(Estimate(330.0, 3.0), Estimate(0.075, 0.0005), 0.0, a_sump())

    (said,) = [reason for reason in plan.why if "brim" in reason]
    margin = "the brim less 15 mm and 2 times the sd of the volume"
    assert said == f"Room for 429.8 L at most: {margin}."


def test_fuller_than_the_margin_allows_is_said():
    """Too strong at 432 L: an exchange, and the most that it may end at."""
    plan = plan_top_up(Estimate(432.0, 3.0), Estimate(0.13, 0.0005), 0.0, a_sump())

    assert [reason for reason in plan.why if reason.startswith("It is filled no farther")]
