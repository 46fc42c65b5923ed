"""One sump: what to pour, ticked off with the bucket in hand, and what was."""

import json
from dataclasses import replace

import pytest

from advisor.effects import AlarmState, PublishAdvice, PublishAlarm, PublishEvent, PublishState
from advisor.effects import Batch as Portion
from advisor.words import (
    DAY,
    HOUR,
    MINUTE,
    Account,
    Check,
    CheckKind,
    Estimate,
    Service,
    SumpEvent,
)
from agent.page.losses_view import shift_losses
from agent.page.marks import alarm_marks
from agent.page.visitor import speech_for
from agent.store.batch import Batch, StoredEntry
from agent.store.changes import AlarmChange
from tests.page.shop import (
    NOW,
    SUMP,
    Shop,
    a_state,
    an_addition,
    an_advice,
    an_alarm,
    token_of,
    words_of,
)

PATH = f"/sumps/{SUMP}"


def bodies(shop: Shop) -> list[dict[str, object]]:
    """What was sent, read."""
    return [json.loads(message.payload) for message in shop.sent]


def tick(client, number: int, done: int = 1, advice: str = "a-000001", **headers: str):
    """Put a tick, as the page's button does."""
    token = token_of(client.get(PATH).text)
    data = {"token": token, "advice": advice, "number": str(number), "done": str(done)}
    return client.post(f"{PATH}/steps", data=data, headers=headers, follow_redirects=False)


@pytest.fixture
def advised(shop: Shop) -> Shop:
    """A sump that wants three buckets of 8 L of water and 2 L of concentrate."""
    shop.tell(PublishState(a_state(shop.plant)), PublishAdvice(an_advice()))
    return shop


def test_before_anything_is_told_the_page_stands(shop: Shop):
    """A sump of which nothing is known has a page that says so, charts included."""
    with shop.client() as client:
        said = words_of(client.get(PATH).text)

    assert "Not known yet" in said
    assert said.count("Nothing was told in this time.") == 4
    assert "Nothing was entered or found yet." in said


def test_an_unknown_sump_is_no_page(shop: Shop):
    """Mistyped, renamed: a page that says so, status 404."""
    with shop.client() as client:
        answer = client.get("/sumps/nowhere")
    assert answer.status_code == 404
    assert "There is no such page." in words_of(answer.text)


class TestSteps:
    """Ticking off what is poured."""

    def test_water_is_named_before_concentrate_in_every_bucket(self, advised: Shop):
        """The order is said in every step, not in one caution alone."""
        with advised.client() as client:
            said = words_of(client.get(PATH).text)
        for number in (1, 2, 3):
            assert f"Bucket {number} 8 L water then 2 L concentrate into it" in said
        assert "Afterwards: 342 ± 4 L at 8.7 ± 0.2 %, 7.0 °Brix on the refractometer." in said
        assert "Water first, then the concentrate into the water." in said

    def test_a_tick_reports_the_bucket(self, advised: Shop):
        """One bucket is one addition, as anybody on the broker would report it."""
        with advised.client() as client:
            client.cookies.set("millpond-wishes", "by=Ann")
            assert tick(client, 0).status_code == 303
            said = words_of(client.get(PATH).text)

        assert advised.sent[0].topic == "millpond/north/mill-07/addition"
        (body,) = bodies(advised)
        assert body["water_l"] == 8.0
        assert body["concentrate_l"] == 2.0
        assert body["advice"] == "a-000001"
        assert body["by"] == "Ann"
        assert body["at"] == "2026-03-02T06:00:00Z"
        assert "replaces" not in body
        assert "Being poured since 06:00 by Ann" in said
        assert "Reported so far: 8 L water, then 2 L concentrate" in said

    def test_further_ticks_correct_the_report(self, advised: Shop):
        """At every moment one report stands, and says all that was ticked."""
        with advised.client() as client:
            for number in (0, 1, 2):
                tick(client, number)
            said = words_of(client.get(PATH).text)
        first, second, third = bodies(advised)

        assert second["replaces"] == first["id"]
        assert third["replaces"] == second["id"]
        assert third["water_l"] == 24.0
        assert third["concentrate_l"] == 6.0
        assert {body["at"] for body in bodies(advised)} == {"2026-03-02T06:00:00Z"}
        assert "All poured: 24 L water, then 6 L concentrate, reported." in said
        assert "run the pumps for 30 minutes" in said

    def test_a_tick_taken_back_is_taken_out_of_the_report(self, advised: Shop):
        """Nothing poured after all is told as nothing."""
        with advised.client() as client:
            tick(client, 0)
            tick(client, 0, done=0)
        last = bodies(advised)[-1]

        assert last["water_l"] == last["concentrate_l"] == 0.0
        assert last["replaces"] == bodies(advised)[0]["id"]

    def test_the_list_stays_while_the_advice_moves_on(self, advised: Shop):
        """What one pours by is not changed under one's hands."""
        with advised.client() as client:
            tick(client, 0)
            advised.tell(PublishAdvice(an_advice("none", id="a-000002")))
            said = words_of(client.get(PATH).text)
            assert "Bucket 3" in said
            assert tick(client, 1).status_code == 303
        assert bodies(advised)[-1]["water_l"] == 16.0

    def test_an_advice_that_changed_before_the_first_tick_is_shown_anew(self, advised: Shop):
        """A tick on yesterday's list reports nothing."""
        with advised.client() as client:
            advised.tell(PublishAdvice(an_advice(id="a-000002")))
            answer = tick(client, 0, advice="a-000001")
        assert "The advice changed while you looked." in words_of(answer.text)
        assert advised.sent == []

    def test_stopping_halfway_keeps_what_was_reported(self, advised: Shop):
        """The rest is not poured, and the list is gone."""
        with advised.client() as client:
            tick(client, 0)
            token = token_of(client.get(PATH).text)
            client.post(f"{PATH}/steps/end", data={"token": token})
            said = words_of(client.get(PATH).text)
        assert "Being poured" not in said
        assert len(advised.sent) == 1

    def test_a_list_that_was_forgotten_goes_away(self, advised: Shop):
        """Two hours later somebody else begins anew."""
        with advised.client() as client:
            tick(client, 0)
            advised.commit(Batch(clock=NOW + 2 * HOUR + MINUTE))
            assert "Being poured" not in words_of(client.get(PATH).text)

    def test_without_the_broker_nothing_is_ticked(self, advised: Shop):
        """What could not be sent is not shown as done, and the page says why."""
        advised.is_connected = False
        with advised.client() as client:
            said = words_of(tick(client, 0).text)
            assert "The broker cannot be reached." in said
            assert "Being poured" not in words_of(client.get(PATH).text)

    def test_draining_comes_first_and_is_reported_as_such(self, shop: Shop):
        """An exchange has its drain as a step, told on the drain's own topic."""
        advice = an_advice("exchange", drain=35.0, batches=(Portion(1, 20.0, 2.5),))
        shop.tell(PublishState(a_state(shop.plant)), PublishAdvice(advice))
        with shop.client() as client:
            said = words_of(client.get(PATH).text)
            tick(client, 0)
            tick(client, 1)
        assert said.index("Drain 35 L and keep it for disposal") < said.index("Bucket 1")
        assert [m.topic.rsplit("/", 1)[1] for m in shop.sent] == ["drain", "addition"]
        assert bodies(shop)[0]["volume_l"] == 35.0

    def test_a_script_gets_the_list_alone(self, advised: Shop):
        """The piece that a script puts in place is no whole page."""
        with advised.client() as client:
            answer = tick(client, 0, **{"x-piece": "todo"})
        assert answer.status_code == 200
        assert answer.text.lstrip().startswith("<section")
        assert "<html" not in answer.text

    @pytest.mark.parametrize("number", ["-1", "3", "x", "", "1e3", "９"])
    def test_a_step_that_is_none_is_refused(self, advised: Shop, number: str):
        """Whatever is sent as a number, nothing is reported."""
        with advised.client() as client:
            token = token_of(client.get(PATH).text)
            data = {"token": token, "advice": "a-000001", "number": number, "done": "1"}
            assert client.post(f"{PATH}/steps", data=data).status_code == 400
        assert advised.sent == []


class TestCharts:
    """What was, over time."""

    def test_every_span_is_drawn(self, shop: Shop):
        """From an hour to a year, with what happened on the time axis."""
        for hours in range(48, -1, -1):
            at = NOW - hours * HOUR
            shop.tell(PublishState(a_state(shop.plant, 300.0 + hours, at=at)))
        event = SumpEvent(
            id="e1", at=NOW - HOUR // 2, kind="addition", source="inferred",
            volume=Estimate(12.0, 1.0), strength=Estimate(0.04, 0.01),
        )  # fmt: skip
        shop.tell(PublishEvent(event))
        with shop.client() as client:
            for span in ("day", "week", "month", "quarter", "year"):
                text = client.get(f"{PATH}?span={span}").text
                assert text.count('class="line"') >= 2, span
                assert "12 ± 2 L of 4 % added (found by the balance)" in words_of(text)

    def test_any_stretch_can_be_asked_for(self, shop: Shop):
        """Zooming asks for begin and end; what makes no sense is refused."""
        shop.tell(*(PublishState(a_state(shop.plant, at=NOW - n * MINUTE)) for n in range(120)))
        with shop.client() as client:
            good = client.get(f"{PATH}/charts?begin={NOW - 2 * HOUR}&end={NOW}")
            assert good.status_code == 200
            assert good.text.count("<svg") == 4
            for begin, end in ((NOW, NOW), (NOW, 0), (0, 2**60), (-5, 5), (0, NOW)):
                bad = client.get(f"{PATH}/charts?begin={begin}&end={end}")
                assert bad.status_code == 422, (begin, end)
            for nonsense in ("until=x", "until=99999999999999999999", "span=aeon", "until=-3"):
                assert client.get(f"{PATH}?{nonsense}").status_code == 200

    def test_checks_stand_where_they_were_read(self, shop: Shop):
        """A refractometer's reading is drawn as the concentration that it means."""
        shop.tell(*(PublishState(a_state(shop.plant, at=NOW - n * MINUTE)) for n in range(60)))
        check = Check(at=NOW - HOUR // 2, id="c1", kind=CheckKind.REFRACTOMETER, value=6.4)
        shop.commit(Batch(entries=[StoredEntry(SUMP, check, NOW)]))
        with shop.client() as client:
            text = client.get(PATH).text
        concentration = text[text.index('class="panel is-concentration"') :]
        assert "<circle" in concentration[: concentration.index("</figure>")]


def test_the_account_is_the_one_that_was_told(shop: Shop):
    """Added, lost and in the sump, each with its span."""
    state = a_state(shop.plant)
    shop.tell(PublishState(state))
    with shop.client() as client:
        said = words_of(client.get(PATH).text)

    assert "Lost 100 ± 4 L 4 ± 1 L" in said
    assert "Drained not known not known" in said
    assert "In the sump 289 ± 4 L 23.8 ± 0.6 L" in said


def test_losses_are_told_day_by_day(shop: Shop):
    """The loss told at midnight is that of the day before; a day without data says so."""
    midnight = NOW - 6 * HOUR
    losses = replace(a_state(shop.plant).losses, water=Estimate(21.3, 0.6))
    shop.tell(PublishState(a_state(shop.plant, at=midnight, losses=losses)))
    shop.commit(Batch(clock=NOW))
    with shop.client() as client:
        said = words_of(client.get(PATH).text)

    assert "Sun 1 21 ± 1 L" in said
    assert "Sat 28 not known" in said


def test_losses_are_told_shift_by_shift(shop: Shop):
    """What the account gained from 14:00 to 22:00; by hand 8 L of water, 0.2 L of concentrate."""
    begin = NOW - 16 * HOUR
    for hours, water, concentrate in ((0, 100.0, 4.0), (8, 108.0, 4.2), (16, 115.0, 4.3)):
        lost = Account(
            since=NOW - 5 * DAY,
            water=Estimate(water, 0.0),
            concentrate=Estimate(concentrate, 0.0),
        )
        shop.tell(PublishState(a_state(shop.plant, at=begin + hours * HOUR, lost=lost)))
    shifts = shift_losses(shop.office, SUMP, speech_for("en", "metric", "Europe/Dublin"), NOW)

    assert [(s.until - s.at) // HOUR for s in shifts] == [8] * len(shifts)
    assert [s.water.value if s.water else None for s in shifts[:3]] == [
        pytest.approx(7.0), pytest.approx(8.0), None,
    ]  # fmt: skip
    assert shifts[1].concentrate is not None
    assert shifts[1].concentrate.value == pytest.approx(0.2, abs=0.001)


def test_a_shift_is_not_counted_across_a_charge(shop: Shop):
    """Two accounts have no difference: it says that it does not know."""
    for hours, since in ((8, NOW - 5 * DAY), (0, NOW - 4 * HOUR)):
        lost = Account(since=since, water=Estimate(100.0, 0.0), concentrate=Estimate(4.0, 0.0))
        shop.tell(PublishState(a_state(shop.plant, at=NOW - hours * HOUR, lost=lost)))
    shifts = shift_losses(shop.office, SUMP, speech_for("en", "metric", "Europe/Dublin"), NOW)
    assert shifts[0].water is None


def test_what_it_costs_is_told_with_its_span_or_said_to_be_unknown(shop: Shop):
    """4 L lost at 5 the litre are 20 ± 5; without a price no number is invented."""
    shop.tell(PublishState(a_state(shop.plant)))
    with shop.client() as client:
        assert "the plant file has no price" in words_of(client.get(PATH).text)
    plan = shop.plant.sumps[SUMP]
    priced = replace(plan, fluid=replace(plan.fluid, price=5.0))
    shop.office.plant = replace(shop.plant, sumps={**shop.plant.sumps, SUMP: priced})
    with shop.client() as client:
        assert "at its price: 20 ± 5." in words_of(client.get(PATH).text)


def test_alarms_stand_on_the_time_axis_of_the_chart_they_are_about(shop: Shop):
    """From the raising to the end; one that still stands goes on to the present."""
    shop.tell(*(PublishState(a_state(shop.plant, at=NOW - n * MINUTE)) for n in range(90)))
    common = {"about": SUMP, "signal": None, "priority": "high", "by": None, "value": 1.0,
              "limit": 2.0, "unit": "mm", "because_of": None, "until": None}  # fmt: skip
    past = [
        AlarmChange(at=NOW - 60 * MINUTE, name="concentration-low", was=AlarmState.NORMAL,
                    state=AlarmState.UNACKNOWLEDGED, raised_at=NOW - 60 * MINUTE, **common),
        AlarmChange(at=NOW - 30 * MINUTE, name="concentration-low", was=AlarmState.UNACKNOWLEDGED,
                    state=AlarmState.NORMAL, raised_at=NOW - 60 * MINUTE, **common),
    ]  # fmt: skip
    shop.commit(Batch(changes=past))
    shop.tell(PublishAlarm(an_alarm()))
    say = speech_for("en", "metric", "Europe/Dublin")
    marks = alarm_marks(shop.office, SUMP, NOW - 2 * HOUR, NOW, say)

    assert {(m.panel, m.at, m.until) for m in marks} == {
        ("concentration", NOW - 60 * MINUTE, NOW - 30 * MINUTE),
        ("volume", NOW - HOUR, NOW),
    }
    assert alarm_marks(shop.office, SUMP, NOW - 2 * DAY, NOW - DAY, say) == []
    with shop.client() as client:
        assert client.get(f"{PATH}?span=shift").text.count("mark is-alarm") == 2


def test_records_show_what_was_corrected(shop: Shop):
    """A corrected entry stays, is marked, and can be corrected no more."""
    wrong = an_addition("e-1", water=110.0)
    right = an_addition("e-2", water=11.0, replaces="e-1")
    note = Service(at=NOW - DAY, id="s-1", kind="prism-cleaned", note="with alcohol")
    shop.commit(Batch(entries=[StoredEntry(SUMP, e, NOW) for e in (wrong, right, note)]))
    with shop.client() as client:
        text = client.get(PATH).text

    said = words_of(text)
    assert "110 L water, then 1 L concentrate by ann (corrected since)" in said
    assert "prism cleaned: with alcohol" in said
    assert "corrects=e-2" in text
    assert "corrects=e-1" not in text
