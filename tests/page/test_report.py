"""The report: a month added up from what was told, with nothing claimed that is not known."""

import json
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from advisor.words import DAY, HOUR
from agent.instants import instant_of
from agent.page.report.baseline import compare, usual_baseline
from agent.page.report.gather import CHANGED_OUT, FOUND, NOT_SAID, SumpMonth, gather, together
from agent.page.report.months import Month, month_of, read_month
from agent.page.report.totals import hours_within, totals
from tests.page.reported import BEGIN, CHARGED, FEBRUARY, NOW, priced_plant, tell_hours, two_months
from tests.page.shop import SUMP, Shop, a_plant, words_of
from tests.page.test_hostile import EVIL, assert_harmless

UTC = ZoneInfo("UTC")
MARCH = Month(2026, 3).begin(UTC)
FEB = Month(2026, 2)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """Two sumps with two months behind them."""
    shop = Shop(tmp_path, priced_plant(tmp_path))
    two_months(shop)
    yield shop
    shop.close()


def february(shop: Shop, sump: str = SUMP) -> SumpMonth:
    """One sump's February."""
    return gather(shop.office, shop.plant.sumps[sump], FEBRUARY, MARCH, ())


# --- months --------------------------------------------------------------------------------------


def test_months_are_the_plants_own():
    """In Dublin March 2026 has an hour less: clocks go forward on the 29th (IANA, tzdata)."""
    dublin = ZoneInfo("Europe/Dublin")
    march = Month(2026, 3)
    assert march.end(dublin) - march.begin(dublin) == 31 * DAY - HOUR
    assert month_of(instant_of("2026-03-31T23:30:00Z"), dublin) == Month(2026, 4)
    assert Month(2026, 1).moved(-1) == Month(2025, 12)


@pytest.mark.parametrize("text", ["", "2026", "2026-00", "2026-13", "0001-01", "2026-2", "x"])
def test_what_is_no_month_is_none(text: str):
    """Nothing is guessed from an address."""
    assert read_month(text) is None


# --- sums ----------------------------------------------------------------------------------------


def test_a_month_is_the_difference_of_the_accounts(shop: Shop):
    """The quiet sump: 8 L of water a day over 28 days, a twentieth of that of concentrate."""
    found = february(shop, "mill-08").totals
    assert found is not None
    assert found.days == pytest.approx(28.0, abs=0.05)
    assert found.added_water.value == pytest.approx(8.0 * 28.0, abs=0.4)
    assert found.lost_concentrate.value == pytest.approx(0.4 * 28.0, abs=0.05)
    # two totals, each with an sd of 1 L
    assert found.lost_water.sd == pytest.approx(2.0**0.5, rel=1e-3)


def test_a_charge_begins_a_new_account_and_nothing_is_lost_of_the_old(shop: Shop):
    """10 L a day before and after it; the fresh mix of 400 L at 8 % counts as used."""
    found = february(shop)
    assert found.totals is not None
    assert found.totals.added_water.value == pytest.approx(10.0 * 28.0, abs=1.0)
    assert (found.charges.water, found.charges.concentrate) == (
        pytest.approx(368.0),
        pytest.approx(32.0),
    )
    assert found.consumption is not None
    assert found.consumption.concentrate == pytest.approx(14.0 + 32.0, abs=0.1)


def test_of_a_month_before_anything_was_told_there_are_no_sums(shop: Shop):
    """Not zero: nothing."""
    begin = instant_of("2025-06-01T00:00:00Z")
    assert totals(shop.office.database, SUMP, begin, begin + 30 * DAY) is None
    month = gather(shop.office, shop.plant.sumps[SUMP], begin, begin + 30 * DAY, ())
    assert month.consumption is None
    assert month.cost.concentrate is None
    assert month.known_for is None


def test_a_month_that_begins_in_the_middle_counts_from_there(tmp_path: Path):
    """The first state told is the zero of its sums, whatever its totals say."""
    shop = Shop(tmp_path, priced_plant(tmp_path, sumps=1))
    tell_hours(shop, FEBRUARY + 10 * DAY, FEBRUARY + 20 * DAY, 10.0, since=BEGIN)
    found = totals(shop.office.database, SUMP, FEBRUARY, MARCH)
    assert found is not None
    assert found.days == pytest.approx(10.0)
    assert found.added_water.value == pytest.approx(100.0, abs=0.1)
    shop.close()


def test_waste_is_told_by_where_it_went(shop: Shop):
    """Reported with and without a place, found by the balance, and what a change-out took."""
    waste = february(shop).waste
    assert waste == {
        "oily water tank": 40.0,
        NOT_SAID: 60.0,  # emptied: the volume is the event's
        FOUND: 7.0,
        CHANGED_OUT: 330.0,
    }


def test_cost_is_concentrate_and_disposal_at_the_plant_files_prices(shop: Shop):
    """46 L at 5 a litre, 437 L of waste at 0.50; per litre of the mix poured in."""
    found = february(shop)
    assert found.cost.concentrate == pytest.approx(46.0 * 5.0, abs=0.5)
    assert found.cost.disposal == pytest.approx(437.0 * 0.5)
    assert found.consumption is not None
    assert found.cost_per_litre == pytest.approx(found.cost.known / found.consumption.mix)


def test_without_prices_no_cost_is_claimed(tmp_path: Path):
    """The page says that there is no price."""
    shop = Shop(tmp_path, a_plant(tmp_path))
    tell_hours(shop, FEBRUARY, MARCH, 10.0, since=BEGIN)
    month = february(shop)
    assert not month.cost.is_known
    assert month.cost_per_litre is None
    with shop.client() as client:
        assert "no price" in words_of(client.get("/report?month=2026-02").text)
    shop.close()


def test_the_fluids_age_counts_from_the_last_fresh_filling(shop: Shop):
    """By the end of February 14 days; of a sump that was never filled, since the first reading."""
    assert february(shop).age == MARCH - CHARGED
    quiet = february(shop, "mill-08")
    assert quiet.age is None
    assert quiet.known_for == MARCH - BEGIN


def test_condition_is_told_with_its_extremes_and_held_against_the_band(shop: Shop):
    """pH 9.2, 9.0, 8.5; the plant file allows 8.8 to 9.4."""
    [ph] = february(shop).measured
    assert (ph.count, ph.last, ph.low, ph.high, ph.is_good) == (3, 8.5, 8.5, 9.2, False)


def test_the_share_of_hours_in_the_band(tmp_path: Path):
    """Hours of which nothing was told count neither way."""
    shop = Shop(tmp_path, priced_plant(tmp_path, sumps=1))
    tell_hours(shop, FEBRUARY, FEBRUARY + 9 * HOUR, 10.0, since=BEGIN)
    stretch, database = (FEBRUARY, MARCH), shop.office.database
    assert hours_within(database, SUMP, stretch, "concentration", (0.06, 0.1)).share == 1.0
    outside = hours_within(database, SUMP, stretch, "concentration", (0.09, 0.1))
    assert (outside.told, outside.within) == (10, 0)
    assert hours_within(database, "mill-99", stretch, "volume", (0.0, 1.0)).share is None
    shop.close()


def test_the_plant_is_the_sum_of_its_sumps(shop: Shop):
    """Litres and costs add up; errors of different sumps are independent."""
    months = [february(shop, name) for name in shop.plant.sumps]
    whole = together(months)
    assert whole.consumption.mix == pytest.approx(
        sum(m.consumption.mix for m in months if m.consumption)
    )
    assert whole.wasted == pytest.approx(437.0)
    assert whole.lost_water.sd == pytest.approx(
        sum(m.totals.lost_water.sd**2 for m in months if m.totals) ** 0.5
    )


# --- the baseline --------------------------------------------------------------------------------


def test_savings_are_the_difference_of_daily_rates_over_the_days_told(shop: Shop):
    """The quiet sump used as much in both months; the other one 1 L a day in January."""
    months = [february(shop, name) for name in shop.plant.sumps]
    found = compare(shop.office, months, Month(2026, 1))
    assert found is not None
    assert found.sumps == 2
    assert found.concentrate_a_day_before == pytest.approx(1.0 + 0.4, abs=0.01)
    used = 46.0 + 0.4 * 28.0
    assert found.concentrate_saved == pytest.approx(1.4 * 28.0 - used, abs=0.3)
    assert found.waste_saved == pytest.approx(-437.0)
    assert found.money_saved == pytest.approx(
        5.0 * found.concentrate_saved + 0.5 * found.waste_saved
    )


def test_the_usual_baseline_is_the_first_whole_month_before(shop: Shop):
    """January, of a store that begins with it; nothing before that."""
    assert usual_baseline(shop.office, FEB) == Month(2026, 1)
    assert usual_baseline(shop.office, Month(2026, 1)) is None


def test_without_a_baseline_nothing_is_claimed(shop: Shop):
    """The page says so in place of a figure."""
    with shop.client() as client:
        page = words_of(client.get("/report?month=2026-01").text)
        assert "no earlier whole month is stored. Nothing is claimed" in page
        page = words_of(client.get("/report?month=2026-02&against=2024-05").text)
        assert "nothing can be compared" in page
        page = words_of(client.get("/report?month=2026-02&against=2026-02").text)
        assert "cannot be held against itself" in page


# --- the page ------------------------------------------------------------------------------------


def test_the_page_states_what_it_compares_with(shop: Shop):
    """The baseline's month, rates and days stand beside the savings, and what is not corrected."""
    with shop.client() as client:
        page = words_of(client.get("/report").text)
        assert "February 2026" in page
        assert "Baseline: January 2026. The same sumps (2)" in page
        assert "not corrected for how much was machined" in page
        assert "oily water tank 40 L" in page
        assert "drained, nobody said where to 60 L" in page
        assert "at least 59 days" in page


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ("lang=en&units=us", ("1 gal", "Cost per gal of mix", "oily water tank 10.6 gal")),
        ("lang=de&units=metric", ("Bericht", "Februar 2026", "Verglichen mit", "40 L")),
    ],
)
def test_it_speaks_the_persons_language_and_units(shop: Shop, wishes: str, words: tuple[str, ...]):
    """10.6 gal are 40 L: 3.785411784 L each."""
    with shop.client() as client:
        client.cookies.set("millpond-wishes", wishes)
        page = words_of(client.get("/report").text)
        for word in words:
            assert word in page


def test_one_sump_alone(shop: Shop):
    """Its own sums, nothing of the others."""
    with shop.client() as client:
        page = words_of(client.get("/report?sump=mill-08").text)
        assert "mill-08, February 2026" in page
        assert "Nothing was drained." in page
        assert "None." in page


def test_an_empty_month_and_a_month_that_is_not_over(shop: Shop, tmp_path: Path):
    """Each says what it is."""
    with shop.client() as client:
        page = words_of(client.get("/report?month=2024-01").text)
        assert "Nothing was told of January 2024" in page
        page = words_of(client.get("/report?month=2026-03").text)
        assert "This month is not over" in page
    folder = tmp_path / "new"
    folder.mkdir()
    empty = Shop(folder)
    with empty.client() as client:
        assert "there is nothing to report" in words_of(client.get("/report").text)
    empty.close()


@pytest.mark.parametrize("evil", EVIL)
def test_hostile_names_and_places_are_text(tmp_path: Path, evil: str):
    """Names of sumps, places where waste went, months and sumps of the address."""
    from advisor.words import Drain
    from tests.page.reported import enter

    names = json.dumps(evil, ensure_ascii=False)
    shop = Shop(tmp_path, a_plant(tmp_path, names=names))
    tell_hours(shop, FEBRUARY, FEBRUARY + DAY, 10.0, since=BEGIN)
    enter(shop, Drain(at=FEBRUARY + HOUR, id="d", volume=5.0, to=evil))
    with shop.client() as client:
        for parameters in (
            {"month": "2026-02"},
            {"month": evil, "sump": evil, "against": evil},
        ):
            answer = client.get("/report", params=parameters)
            assert answer.status_code == 200
            assert_harmless(answer.text)
    shop.close()
    assert NOW > MARCH
