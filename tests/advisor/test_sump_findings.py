"""What is found wrong at a sump beyond its balance."""

import pytest

from advisor.effects import Advice, Limits, Mix
from advisor.plan import Supply
from advisor.sump_findings import (
    INTERVALS,
    advice_open,
    bacteria_high,
    check_overdue,
    chloride_high,
    conductivity_out_of_band,
    delivery_differs,
    hardness_high,
    nitrite_high,
    ph_out_of_band,
    stagnant,
    tramp_oil_high,
    wrong_concentrate,
)
from advisor.words import DAY, HOUR, Addition, CheckKind, Delivery, Estimate
from tests.alarm_watch import START
from tests.plants import a_sump

NO_LIMITS = Limits(
    level_running=None,
    level_stopped=None,
    level_unit="mm",
    brix=None,
    water_loss_high=None,
    concentrate_loss_high=None,
)


def an_advice(kind: str) -> Advice:
    """Advice of a kind, with nothing in it."""
    return Advice(
        id="a-1",
        sump="mill-07",
        issued_at=START,
        valid_until=START + DAY,
        kind=kind,
        mix=None,
        batches=None,
        drain=0.0,
        after=None,
        limits=NO_LIMITS,
        next=None,
        why=(),
        cautions=(),
    )


class TestAdvice:
    """Advice that nobody carries out."""

    def test_it_is_open_after_a_day(self):
        """A day is patience enough."""
        assert advice_open(an_advice("top-up"), START, START + DAY) is None
        found = advice_open(an_advice("top-up"), START, START + DAY + HOUR)
        assert found is not None
        assert found.detail == "a top-up has been advised for 25 h."

    def test_no_advice_is_never_open(self):
        """Where nothing is advised nothing waits."""
        assert advice_open(an_advice("none"), START, START + 30 * DAY) is None


class TestDelivery:
    """A station that pours other than it was asked."""

    @pytest.mark.parametrize(
        ("water", "concentrate", "finished", "differs"),
        [
            (20.0, 2.0, True, False),
            (22.0, 2.5, True, False),
            (22.1, 2.0, False, True),
            (20.0, 2.6, True, True),
            (10.0, 1.0, False, False),
            (17.9, 2.0, True, True),
            (20.0, 1.4, True, True),
        ],
    )
    def test_a_tenth_or_half_a_litre_is_let_pass(self, water, concentrate, finished, differs):
        """More counts at once, less only when the station has finished."""
        delivery = Delivery(
            at=START, setpoint="s-1", water=water, concentrate=concentrate, finished=finished
        )

        assert (delivery_differs(delivery, Mix(20.0, 2.0)) is not None) == differs

    def test_a_fault_of_the_station_is_told_in_its_words(self):
        """What the station says stands in the alarm."""
        delivery = Delivery(
            at=START, setpoint="s-1", water=20.0, concentrate=2.0, finished=True, fault="no flow"
        )
        found = delivery_differs(delivery, Mix(20.0, 2.0))

        assert found is not None
        assert found.detail == "the station reports: no flow"


class TestConcentrate:
    """Another concentrate than the sump's own."""

    PLAN = a_sump(supplies=(Supply(id="drum-2", kind="drum", fluid="synth-b"),))

    @pytest.mark.parametrize(
        ("fluid", "supply", "litres", "wrong"),
        [
            ("semi-a", None, 1.0, False),
            ("synth-b", None, 1.0, True),
            (None, "drum-2", 1.0, True),
            (None, None, 1.0, False),
            (None, "no-such-drum", 1.0, False),
            ("synth-b", None, 0.0, False),
        ],
    )
    def test_it_is_told_by_name_or_by_the_drum_it_came_from(self, fluid, supply, litres, wrong):
        """Named in the report or drawn from a drum of another fluid; water alone is never wrong."""
        addition = Addition(
            at=START, id="a", water=9.0, concentrate=litres, fluid=fluid, supply=supply, by="ann"
        )

        assert (wrong_concentrate(addition, self.PLAN) is not None) == wrong


class TestCondition:
    """Bands of what is recorded beside level and concentration."""

    # DGUV Regel 109-003, annex 3: weekly; a fall of more than 0.5 from the first fill: act as the
    # supplier says; of more than 1.0: change the fluid and clean the circuit (seen).
    @pytest.mark.parametrize(
        ("ph", "words"),
        [
            (8.7, None),
            (8.69, "act as the supplier says"),
            (8.2, "act as the supplier says"),
            (8.19, "change the fluid"),
        ],
    )
    def test_a_falling_ph_is_acted_on_as_printed(self, ph, words):
        """From 9.2 at the first fill: nothing to 8.7, act below, change below 8.2."""
        found = ph_out_of_band(Estimate(ph, 0.0), START, low=None, high=None, first=9.2)

        assert (found is None) == (words is None)
        assert found is None or words in found.detail

    def test_a_ph_that_is_not_surely_outside_is_let_pass(self):
        """Two sds must lie outside, since strips read to 0.2."""
        band = {"low": 8.5, "high": 9.5, "first": None}

        assert ph_out_of_band(Estimate(8.3, 0.1), START, **band) is None
        assert ph_out_of_band(Estimate(8.29, 0.1), START, **band) is not None
        assert ph_out_of_band(Estimate(9.71, 0.1), START, **band) is not None

    def test_each_band_names_its_quantity_and_unit(self):
        """Value and limit stand with their units."""
        salty = conductivity_out_of_band(Estimate(5.2, 0.1), START, low=1.0, high=4.0)
        hard = hardness_high(Estimate(520.0, 10.0), START, 450.0)
        rusty = chloride_high(Estimate(120.0, 5.0), START, 75.0)

        assert salty is not None
        assert salty.detail == "conductivity 5.2 mS/cm, the band ends at 4 mS/cm."
        assert hard is not None
        assert (hard.value, hard.limit, hard.unit) == (520.0, 450.0, "mg/L")
        assert rusty is not None
        assert rusty.name == "chloride-high"

    # TRGS 611, 5.3: above 20 mg/L nitrite something is to be done.
    @pytest.mark.parametrize(("nitrite", "high"), [(20.0, False), (20.1, True), (0.0, False)])
    def test_nitrite_is_high_above_twenty(self, nitrite, high):
        """The rule speaks of the reading as it is read."""
        assert (nitrite_high(nitrite, START) is not None) == high

    # HSE, metalworking fluids, bacterial contamination: below 10^4 good, to 10^6 reasonable: review
    # and adjust; from 10^6 (from memory) poor: act at once.
    @pytest.mark.parametrize(
        ("count", "then"),
        [(9.9e3, None), (1e4, "review and adjust"), (9e5, "review and adjust"), (1e6, "at once")],
    )
    def test_dip_slides_say_whether_to_adjust_or_to_act(self, count, then):
        """Ten thousand ask for a look, a million for action."""
        found = bacteria_high(count, START)

        assert (found is None) == (then is None)
        assert found is None or then in found.detail

    def test_tramp_oil_is_told_in_percent(self):
        """Two percent of the volume are let pass, more is not."""
        assert tramp_oil_high(0.02, START) is None
        found = tramp_oil_high(0.035, START)
        assert found is not None
        assert found.detail == "tramp oil 3.5 %, at most 2 %."

    def test_without_a_limit_nothing_is_too_high(self):
        """A fluid whose data sheet gives no limit is not judged."""
        assert hardness_high(Estimate(5000.0, 1.0), START, None) is None

    def test_fluid_that_stands_over_a_long_weekend_is_not_stagnant_yet(self):
        """Three days are let pass, a moment longer is not; running pumps never are."""
        assert stagnant(START, START + 3 * DAY) is None
        assert stagnant(START, START + 3 * DAY + 1) is not None
        assert stagnant(None, START + 300 * DAY) is None


class TestChecks:
    """Checks that were due."""

    def test_a_weekly_check_is_overdue_half_a_day_late(self):
        """A check at half past seven on Monday may come at noon a week later."""
        last = {CheckKind.PH: START}

        assert check_overdue(last, START + 7 * DAY + 12 * HOUR, INTERVALS) is None
        assert check_overdue(last, START + 7 * DAY + 13 * HOUR, INTERVALS) is not None

    def test_all_that_is_overdue_stands_in_one_alarm(self):
        """Two late checks are one walk to the sump."""
        last = {CheckKind.PH: START, CheckKind.DIP_SLIDE: START - DAY, CheckKind.TITRATION: 0}

        found = check_overdue(last, START + 8 * DAY, INTERVALS)
        assert found is not None
        assert found.detail == "not checked: dip-slide for 9 d, ph for 8 d."
        assert found.since == START + 6 * DAY

    def test_a_check_never_made_is_not_overdue(self):
        """Until a sump has been charged or checked there is nothing to count from."""
        assert check_overdue({}, START, INTERVALS) is None
