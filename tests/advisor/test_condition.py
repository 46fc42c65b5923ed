"""What is remembered of a fluid, and what that says is wrong."""

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from advisor.condition import (
    EMPTY,
    KEPT,
    TREND,
    Condition,
    mean,
    newest,
    note,
    run,
    standstills,
    withdrawn,
)
from advisor.condition_findings import Care, condition_findings, corrected, looked_at, noted
from advisor.plan import AlarmPlan, SignalPlan, SumpPlan
from advisor.words import (
    DAY,
    HOUR,
    MINUTE,
    Addition,
    Charge,
    Check,
    CheckKind,
    Evidence,
    Finding,
    Instant,
    Reading,
    Service,
    Signal,
)
from tests.alarm_watch import START
from tests.plants import FLUID, a_sump

FLUID_WITH_LIMITS = type(FLUID)(
    id="semi-a",
    refractometer_factor=1.25,
    band_low=0.06,
    band_high=0.10,
    target=0.08,
    ph_low=8.6,
    ph_high=9.6,
    conductivity_low=1.0,
    conductivity_high=4.0,
    hardness_limit=600.0,
    chloride_limit=150.0,
)
PLAN = a_sump(fluid=FLUID_WITH_LIMITS)


def a_check(kind: CheckKind, value: float, at: Instant, name: str = "") -> Check:
    """A check of a kind."""
    return Check(at=at, id=name or f"{kind}-{at}", kind=kind, value=value)


def remembered(*evidence: Evidence, begin: Condition = EMPTY) -> Condition:
    """The memory once all that has come, in this order."""
    for piece in evidence:
        begin = note(begin, piece)
    return begin


def findings(
    condition: Condition, now: Instant = START, plan: SumpPlan = PLAN
) -> dict[str, Finding]:
    """What is found wrong, by alarm."""
    return {finding.name: finding for finding in condition_findings(condition, plan, now)}


class TestMemory:
    """What is kept."""

    def test_the_newest_checks_of_each_kind_are_kept(self):
        """Three of each kind, by the time at which they were made."""
        checks = [a_check(CheckKind.PH, 9.0 + day / 10, START + day * DAY) for day in range(5)]
        condition = remembered(*checks, a_check(CheckKind.LOOK, 0.0, START))

        assert [n.value for n in run(condition, CheckKind.PH)] == pytest.approx([9.2, 9.3, 9.4])
        assert set(newest(condition)) == {CheckKind.PH, CheckKind.LOOK}

    def test_a_corrected_check_is_forgotten(self):
        """The one before it stands again, also as the first of the fill."""
        condition = remembered(
            Charge(at=START, id="c", stage="done"),
            a_check(CheckKind.PH, 9.9, START + HOUR, "wrong"),
            a_check(CheckKind.PH, 9.2, START + 2 * HOUR, "right"),
        )
        assert condition.first_ph is not None
        corrected = withdrawn(condition, "wrong")

        assert corrected.first_ph is not None
        assert corrected.first_ph.id == "right"
        assert [n.id for n in run(corrected, CheckKind.PH)] == ["right"]
        assert withdrawn(corrected, "unheard-of") is corrected

    def test_what_was_measured_before_a_charge_is_of_another_fluid(self):
        """Checks from before the emptying do not count, those made at the fill do."""
        condition = remembered(
            a_check(CheckKind.HARDNESS, 900.0, START),
            Charge(at=START + HOUR, id="b", stage="begun"),
            a_check(CheckKind.PH, 9.3, START + 3 * HOUR),
            Charge(at=START + 4 * HOUR, id="d", stage="done"),
        )

        assert set(newest(condition)) == {CheckKind.PH}
        assert condition.filled_at == START + HOUR
        assert condition.done_at == START + 4 * HOUR
        assert condition.first_ph is not None
        assert condition.first_ph.value == 9.3

    def test_the_next_charge_is_another_one(self):
        """Half a year later everything begins anew."""
        condition = remembered(
            Charge(at=START, id="1", stage="done"),
            a_check(CheckKind.PH, 9.3, START + HOUR),
            Charge(at=START + 180 * DAY, id="2", stage="begun"),
        )

        assert condition.filled_at == START + 180 * DAY
        assert condition.first_ph is None

    def test_inline_readings_are_told_as_the_mean_of_the_last_hour(self):
        """Bubbles pass; what is older than an hour is gone."""
        readings = [Reading(START + n * MINUTE, Signal.PH, 9.0 + 0.1 * (n % 2)) for n in range(180)]
        known = mean(remembered(*readings).ph)

        assert known is not None
        assert known[1] == pytest.approx(9.05)
        assert len(remembered(*readings).ph) == TREND // (10 * MINUTE)

    def test_sensors_in_the_air_say_nothing_of_the_new_fluid(self):
        """What they said before the end of a charge does not count, even when it comes late."""
        done = Charge(at=START + HOUR, id="d", stage="done")
        early, late = Reading(START, Signal.PH, 4.0), Reading(START + 59 * MINUTE, Signal.PH, 4.0)

        assert remembered(early, done, late).ph == ()

    def test_pumps_that_switch_are_remembered_by_their_standstills(self):
        """Reports that repeat themselves do not move when the pumps stopped."""
        reports = [(0, 1), (60, 1), (120, 0), (180, 0), (240, 1), (300, 1), (360, 0), (420, 0)]
        condition = remembered(
            *(Reading(START + at * MINUTE, Signal.RUNNING, float(on)) for at, on in reports)
        )

        assert standstills(condition) == (
            (START + 120 * MINUTE, START + 240 * MINUTE),
            (START + 360 * MINUTE, None),
        )

    def test_it_is_stored_and_read_back_exactly(self):
        """Nothing of it is lost through JSON."""
        condition = remembered(
            Charge(at=START, id="d", stage="done"),
            a_check(CheckKind.PH, 9.3, START + HOUR),
            Service(at=START + HOUR, id="s", kind="skimmed"),
            *(Reading(START + n * HOUR, Signal.PH, 9.0 + 0.01 * n) for n in range(5)),
            *(Reading(START + n * HOUR, Signal.RUNNING, float(n % 2)) for n in range(5)),
        )
        codec = TypeAdapter(Condition)

        assert codec.validate_json(codec.dump_json(condition)) == condition

    def test_what_says_nothing_of_the_fluid_is_passed_over(self):
        """Additions, levels and biocide change nothing here."""
        assert note(EMPTY, Reading(START, Signal.LEVEL, 300.0)) is EMPTY
        assert note(EMPTY, Addition(at=START, id="a", water=1.0, concentrate=0.1)) is EMPTY
        assert note(EMPTY, Service(at=START, id="s", kind="biocide")) is EMPTY


pieces = st.one_of(
    st.builds(
        lambda kind, at, value: a_check(kind, value, START + at * HOUR),
        st.sampled_from([CheckKind.PH, CheckKind.NITRITE]),
        st.integers(0, 60),
        st.sampled_from([8.0, 9.0, 9.5]),
    ),
    st.builds(
        lambda at, value: Reading(START + at * 3 * MINUTE, Signal.CONDUCTIVITY, value),
        st.integers(0, 19),
        st.floats(0.5, 9.0),
    ),
    st.builds(
        lambda at, on: Reading(START + at * MINUTE, Signal.RUNNING, on),
        st.integers(0, 5),
        st.sampled_from([0.0, 1.0]),
    ),
    st.builds(lambda at: Charge(at=START + at, id="c", stage="done"), st.integers(0, HOUR)),
)


@given(st.data(), st.lists(pieces, max_size=8, unique_by=lambda p: (type(p), p.at)))
def test_the_order_in_which_evidence_comes_makes_no_difference(data, evidence):
    """Whatever comes late takes its place, as far as what is kept reaches."""
    by_kind = [e.kind for e in evidence if isinstance(e, Check)]
    if any(by_kind.count(kind) > KEPT for kind in set(by_kind)):
        return
    if len({e.at for e in evidence if isinstance(e, Charge)}) > 1:
        return
    in_order = remembered(*sorted(evidence, key=lambda e: e.at))
    otherwise = remembered(*data.draw(st.permutations(evidence)))

    assert otherwise.checks == in_order.checks
    assert otherwise.first_ph == in_order.first_ph
    assert otherwise.filled_at == in_order.filled_at
    assert standstills(otherwise)[-1:] == standstills(in_order)[-1:]
    if not any(isinstance(e, Charge) for e in evidence):
        assert otherwise.conductivity == in_order.conductivity


def test_the_stages_of_a_charge_are_one_beginning_in_any_order():
    """A late report of the beginning moves the beginning, not the fluid."""
    stages = [
        Charge(at=START, id="1", stage="begun"),
        Charge(at=START + HOUR, id="2", stage="filled"),
        Charge(at=START + 2 * HOUR, id="3", stage="done"),
    ]

    assert {remembered(*order) for order in permutations(stages)} == {remembered(*stages)}


class TestFindings:
    """What is wrong."""

    def test_fluid_in_order_raises_nothing(self):
        """Every quantity inside its band, and a band for every quantity."""
        condition = remembered(
            a_check(CheckKind.PH, 9.2, START),
            a_check(CheckKind.CONDUCTIVITY, 2.0, START),
            a_check(CheckKind.HARDNESS, 300.0, START),
            a_check(CheckKind.CHLORIDE, 80.0, START),
            a_check(CheckKind.NITRITE, 5.0, START),
            a_check(CheckKind.DIP_SLIDE, 1e3, START),
            a_check(CheckKind.TRAMP_OIL, 0.01, START),
        )

        assert findings(condition) == {}

    @pytest.mark.parametrize(
        ("kind", "value", "alarm"),
        [
            (CheckKind.PH, 8.0, "ph-out-of-band"),
            (CheckKind.PH, 10.0, "ph-out-of-band"),
            (CheckKind.CONDUCTIVITY, 5.0, "conductivity-out-of-band"),
            (CheckKind.HARDNESS, 700.0, "hardness-high"),
            (CheckKind.CHLORIDE, 200.0, "chloride-high"),
            (CheckKind.NITRITE, 25.0, "nitrite-high"),
            (CheckKind.DIP_SLIDE, 1e5, "bacteria-high"),
            (CheckKind.TRAMP_OIL, 0.03, "tramp-oil-high"),
        ],
    )
    def test_a_check_beyond_its_limit_is_found_until_a_better_one_comes(self, kind, value, alarm):
        """The newest check counts, by the time at which it was made."""
        good = {CheckKind.PH: 9.2, CheckKind.CONDUCTIVITY: 2.0}.get(kind, 0.0)
        bad = remembered(a_check(kind, value, START))

        assert set(findings(bad)) == {alarm}
        assert findings(bad)[alarm].since == START
        assert findings(note(bad, a_check(kind, good, START + HOUR))) == {}
        assert set(findings(note(bad, a_check(kind, good, START - HOUR)))) == {alarm}

    def test_skimming_ends_what_was_said_of_tramp_oil(self):
        """After the oil has been taken off nobody knows how much there is."""
        oily = remembered(a_check(CheckKind.TRAMP_OIL, 0.05, START))
        skimmed = note(oily, Service(at=START + HOUR, id="s", kind="skimmed"))

        assert "tramp-oil-high" in findings(oily)
        assert findings(skimmed) == {}

    # DGUV Regel 109-003, annex 3: act after a fall of more than 0.5 from the first fill, change
    # after more than 1.0.
    @pytest.mark.parametrize(
        ("ph", "then"), [(9.0, None), (8.65, "act as the supplier says"), (8.0, "change the fluid")]
    )
    def test_the_ph_is_held_against_that_of_the_first_fill(self, ph, then):
        """A fall of two sds more than half a unit from the first check after the charge."""
        plan = a_sump()
        condition = remembered(
            Charge(at=START, id="c", stage="done"),
            a_check(CheckKind.PH, 9.4, START + HOUR),
            a_check(CheckKind.PH, ph, START + 30 * DAY),
        )
        found = findings(condition, START + 30 * DAY, plan).get("ph-out-of-band")

        assert (found is None) == (then is None)
        assert found is None or then in found.detail

    def test_an_inline_sensor_is_held_against_its_own_first_hours(self):
        """Two instruments that differ by a fixed amount make no fall."""
        plan = a_sump(signals={Signal.PH: SignalPlan(signal=Signal.PH, sd=0.05)})
        first = [Reading(START + HOUR + n * MINUTE, Signal.PH, 9.3) for n in range(60)]
        condition = remembered(
            Charge(at=START, id="c", stage="done"),
            a_check(CheckKind.PH, 9.9, START + HOUR),
            *first,
            *(Reading(START + DAY + n * MINUTE, Signal.PH, 9.2) for n in range(60)),
        )
        fallen = remembered(
            *(Reading(START + 2 * DAY + n * MINUTE, Signal.PH, 8.6) for n in range(60)),
            begin=condition,
        )

        assert findings(condition, plan=plan) == {}
        assert "ph-out-of-band" in findings(fallen, plan=plan)

    def test_whatever_spoke_last_counts(self):
        """A check after the sensor's last word, and the sensor's word after the check."""
        sensor = remembered(*(Reading(START + n * MINUTE, Signal.PH, 9.2) for n in range(60)))
        checked = note(sensor, a_check(CheckKind.PH, 8.0, START + HOUR))
        later = note(checked, Reading(START + 2 * HOUR, Signal.PH, 9.2))

        assert "ph-out-of-band" in findings(checked)
        assert findings(later) == {}

    def test_the_plant_file_may_set_the_limits(self):
        """Limits of the alarm's table go before those of the fluid and of the rules."""
        plan = a_sump(
            alarms={
                "nitrite-high": AlarmPlan(limit=30.0),
                "hardness-high": AlarmPlan(limit=100.0),
                "ph-out-of-band": AlarmPlan(limit=9.0),
                "stagnant": AlarmPlan(limit=1.0),
            }
        )
        condition = remembered(
            a_check(CheckKind.NITRITE, 25.0, START),
            a_check(CheckKind.HARDNESS, 200.0, START),
            a_check(CheckKind.PH, 8.7, START),
            Reading(START, Signal.RUNNING, 0.0),
        )

        found = findings(condition, START + 2 * DAY, plan)
        assert set(found) == {"hardness-high", "ph-out-of-band", "stagnant"}

    def test_fluid_that_stands_is_stagnant_after_three_days(self):
        """From the moment at which the pumps stopped, whatever is repeated since."""
        still = remembered(
            Reading(START, Signal.RUNNING, 1.0),
            *(Reading(START + hour * HOUR, Signal.RUNNING, 0.0) for hour in range(1, 60)),
        )
        ran = note(still, Reading(START + 60 * HOUR, Signal.RUNNING, 1.0))

        assert findings(still, START + HOUR + 3 * DAY) == {}
        assert "stagnant" in findings(still, START + HOUR + 3 * DAY + 1)
        assert findings(ran, START + 30 * DAY) == {}
        looked = looked_at(Care(condition=still), PLAN, at=START, now=START + HOUR)
        assert looked.look == START + HOUR + 3 * DAY + 1


class TestSchedule:
    """Checks that are due."""

    PLAN = a_sump(checks={CheckKind.LOOK: 1.0, CheckKind.NITRITE: 7.0})

    def late(self, condition: Condition, now: Instant) -> str:
        """What is overdue."""
        found = findings(condition, now, self.PLAN).get("check-overdue")
        return "" if found is None else found.detail

    def test_what_was_never_checked_counts_from_when_the_sump_was_first_watched(self):
        """A plan of checks begins with the watch, or with the charge."""
        condition = Condition(since=START)
        charged = note(condition, Charge(at=START + 5 * DAY, id="c", stage="done"))

        assert self.late(condition, START + DAY + 12 * HOUR) == ""
        assert self.late(condition, START + DAY + 13 * HOUR) == "not checked: look for 37 h."
        assert self.late(charged, START + 6 * DAY) == ""

    # TRGS 611, 5.3: three readings in a row below 10 mg/L allow up to four weeks; one above brings
    # the week back.
    def test_nitrite_is_due_after_four_weeks_once_three_were_low(self):
        """A week, four weeks, and a week again."""
        low = [a_check(CheckKind.NITRITE, 5.0, START + week * 7 * DAY) for week in range(3)]
        looked = a_check(CheckKind.LOOK, 0.0, START + 50 * DAY)
        two, three = remembered(looked, *low[1:]), remembered(looked, *low)
        high = note(three, a_check(CheckKind.NITRITE, 12.0, START + 20 * DAY))
        last = START + 14 * DAY

        assert "nitrite" in self.late(two, last + 8 * DAY)
        assert self.late(three, last + 28 * DAY + 12 * HOUR) == ""
        assert "nitrite" in self.late(three, last + 29 * DAY)
        assert "nitrite" in self.late(high, START + 28 * DAY)

    def test_nothing_becomes_overdue_while_nobody_is_there(self):
        """A daily look that fell due on a weekend is due when the pumps run again."""
        friday, monday = START + 14 * HOUR, START + 3 * DAY
        weekend = remembered(
            a_check(CheckKind.LOOK, 0.0, START),
            a_check(CheckKind.NITRITE, 0.0, START),
            Reading(START, Signal.RUNNING, 1.0),
            Reading(friday, Signal.RUNNING, 0.0),
        )
        again = note(weekend, Reading(monday, Signal.RUNNING, 1.0))

        assert self.late(weekend, monday - 1) == ""
        assert self.late(again, monday + 11 * HOUR) == ""
        assert self.late(again, monday + 13 * HOUR) == "not checked: look for 3.5 d."

    def test_what_was_overdue_before_a_standstill_stays_so(self):
        """Stopping the pumps is no check, and running them again is none."""
        condition = remembered(
            Reading(START, Signal.RUNNING, 1.0),
            Reading(START + 3 * DAY, Signal.RUNNING, 0.0),
            begin=Condition(since=START),
        )
        again = note(condition, Reading(START + 5 * DAY, Signal.RUNNING, 1.0))

        for now in (START + 2 * DAY, START + 4 * DAY):
            assert "look" in self.late(condition, now)
        assert "look" in self.late(again, START + 5 * DAY)

    def test_the_next_moment_at_which_a_check_is_late_is_known_beforehand(self):
        """Looking then is enough: a moment before nothing is late."""
        condition = Condition(since=START)
        moment = looked_at(Care(condition=condition), self.PLAN, at=START, now=START).look

        assert moment is not None
        assert self.late(condition, moment - 1) == ""
        assert self.late(condition, moment) != ""


class TestLooking:
    """Looking only when something may have changed."""

    PLAN = a_sump(checks={CheckKind.LOOK: 1.0})

    def test_nothing_is_found_anew_before_something_may_have_changed(self):
        """Between evidence and the next due time the same value comes back."""
        care = looked_at(Care(), self.PLAN, at=START, now=START)

        assert care.condition.since == START
        assert care.look is not None
        assert looked_at(care, self.PLAN, at=START, now=care.look - 1) is care
        assert looked_at(care, self.PLAN, at=START, now=care.look).found != ()

    def test_evidence_asks_for_another_look(self):
        """A check that ends a finding, and one that is taken back, are looked at once."""
        late = looked_at(
            Care(condition=Condition(since=START)), self.PLAN, at=START, now=START + 2 * DAY
        )
        looked = noted(late, a_check(CheckKind.LOOK, 0.0, START + 2 * DAY, "l"))
        good = looked_at(looked, self.PLAN, at=START, now=START + 2 * DAY)
        taken_back = looked_at(corrected(good, "l"), self.PLAN, at=START, now=START + 2 * DAY)

        assert [f.name for f in late.found] == ["check-overdue"]
        assert good.found == ()
        assert [f.name for f in taken_back.found] == ["check-overdue"]

    def test_what_says_nothing_asks_for_no_look(self):
        """A level reading leaves everything as it was."""
        care = looked_at(Care(), self.PLAN, at=START, now=START)

        assert noted(care, Reading(START, Signal.LEVEL, 300.0)) is care
        assert corrected(care, "unheard-of") is care
