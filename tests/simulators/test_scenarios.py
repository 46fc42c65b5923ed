"""The scenarios that come along: sound, reproducible, described; and what a bad file is told."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.plant.load import load_plant, parse_plant
from simulators.catalogue import NAME, table
from simulators.errors import ScenarioError, SimulatorError
from simulators.instants import When, instant, rfc3339
from simulators.marks import marks, updated
from simulators.plant_file import plant_toml
from simulators.scenario.load import find, known_scenarios, load, merged, scenario_from
from tests.simulators.floors import BASE

ROOT = Path(__file__).resolve().parents[2]
NAMES = [path.stem for path in known_scenarios()]


def test_there_are_at_least_twenty():
    """From a quiet week to everything that goes wrong."""
    assert len(NAMES) >= 20
    assert {"quiet-week", "everything-goes-wrong", "demo"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_scored_scenarios_last_a_fortnight(name):
    """What is scored is long enough for cumulative losses to mean something."""
    scenario = load(find(name))
    assert scenario.days >= 14 or not scenario.scored


@pytest.mark.parametrize("name", NAMES)
def test_tramp_oil_comes_at_rates_that_plants_see(name):
    """Half a litre to two a day of work (common practice); none only beside a separator."""
    scenario = load(find(name))
    rates = {sump.machine.tramp_oil_l_per_day for sump in scenario.sumps()}
    separated = not scenario.scored and rates == {0.0}
    assert separated or all(0.5 <= rate <= 2.0 for rate in rates)


@pytest.mark.parametrize("name", NAMES)
def test_plant_file_of_every_scenario_is_accepted(name):
    """The agent's own loader takes each plant file that the simulator writes."""
    scenario = load(find(name))
    plant = parse_plant(plant_toml(scenario), ROOT / "config" / f"{name}.toml")
    assert sorted(plant.sumps) == sorted(sump.id for sump in scenario.sumps())


def test_demo_plant_file_is_that_of_the_demo_scenario():
    """config/demo.toml is what `millpond-sim plant demo` prints."""
    path = ROOT / "config" / "demo.toml"
    assert path.read_text(encoding="utf-8") == plant_toml(load(find("demo")))
    assert len(load_plant(path).sumps) == 4


def test_plant_file_says_nothing_of_the_truth():
    """Errors, offsets and people stay out of it."""
    said = plant_toml(load(find("everything-goes-wrong")))
    for secret in ("error", "offset", "film", "sludge", "operators", "fault", "wave"):
        assert secret not in said


def test_holdup_that_is_not_told_is_absent():
    """A plant that does not know its holdup says none."""
    plant = tomllib.loads(plant_toml(load(find("no-running-signal"))))
    assert "holdup_l" not in plant["sump"][0]
    assert "running" not in plant["sump"][0]["signals"]


def test_table_in_the_docs_is_current():
    """docs/scenarios.md has the table that `millpond-sim table` prints."""
    page = (ROOT / "docs" / "scenarios.md").read_text(encoding="utf-8")
    assert updated(page, NAME, table(), "docs/scenarios.md") == page
    assert all(f"`{name}`" in table() for name in NAMES)


def test_page_without_marks_is_refused():
    """The table goes nowhere but between its marks."""
    with pytest.raises(SimulatorError, match="expected the marks"):
        updated(f"{marks('t')[0]} but no end", "t", "new", "page.md")
    begin, end = marks("t")
    page = f"a\n{begin}\nold\n{end}\nb"
    assert updated(page, "t", "new", "page.md") == f"a\n{begin}\nnew\n{end}\nb"


def test_all_that_is_wrong_is_told_at_once():
    """Three mistakes, three lines, each with its place."""
    bad = merged(BASE, tomllib.loads("days = -1\nstep_s = 0\n[climate]\nmeen_c = 3\n"))
    with pytest.raises(ScenarioError) as caught:
        scenario_from(bad, "bad.toml")
    said = str(caught.value)
    assert len(caught.value.problems) == 3
    for place in ("days", "step_s", "climate.meen_c"):
        assert f"bad.toml: {place}: " in said


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ('[each]\nconcentrate = "other"\n', "concentrate 'other' is not described"),
        ("[each.signals.level]\ninterval_s = 15\n", "no multiple of step_s"),
        ('[plant]\ntimezone = "Mars/Base"\n', "'Mars/Base' is unknown"),
        ("begin = 2026-03-02T05:00:00Z\n", "without an offset"),
        ("tick_s = 15\n", "must be multiples of step_s"),
        ('[[sump]]\nid = "a"\n[[sump]]\nid = "a"\n', "sump ids repeat"),
        ('[[each.disturbance]]\nkind = "leak"\nbegin = "0d 06:00"\n', "needs l_per_day"),
        ('[[each.disturbance]]\nkind = "drain"\nbegin = "0d 06:00"\n', "needs volume_l"),
        ('[[each.fault]]\nsignal = "level"\nkind = "step"\n', "either begin or every_h"),
        ('[[each.disturbance]]\nkind = "skim"\nbegin = "noon"\n', "is no moment"),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(changes, said):
    """Each contradiction is named."""
    with pytest.raises(ScenarioError, match=said):
        scenario_from(merged(BASE, tomllib.loads(changes)), "bad.toml")


def test_files_that_are_none(tmp_path):
    """Missing, no TOML, in a circle, unknown by name: each says what it is."""
    with pytest.raises(ScenarioError, match="cannot be read"):
        load(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_text("title = ", encoding="utf-8")
    with pytest.raises(ScenarioError, match="is no TOML"):
        load(tmp_path / "bad.toml")
    (tmp_path / "round.toml").write_text('like = "round"', encoding="utf-8")
    with pytest.raises(ScenarioError, match="in a circle"):
        load(tmp_path / "round.toml")
    (tmp_path / "odd.toml").write_text("like = 3", encoding="utf-8")
    with pytest.raises(ScenarioError, match="expected the name of a file"):
        load(tmp_path / "odd.toml")
    with pytest.raises(ScenarioError, match="quiet-week"):
        find("no-such-scenario")


def test_tank_is_replaced_whole():
    """A tank of another shape inherits nothing of the old one's sides."""
    other = {"tank": {"shape": "table", "depth_mm": [0, 1], "volume_l": [0, 1]}}
    assert merged({"tank": {"shape": "box", "length_mm": 3}}, other) == other


@given(st.integers(0, 4_102_444_800_000))
def test_moments_are_written_and_read_back(at):
    """RFC 3339 to the millisecond, there and back."""
    assert instant(rfc3339(at)) == at


def test_time_without_offset_is_refused():
    """A time that could be anywhere is no moment."""
    with pytest.raises(ValueError, match="has no offset"):
        instant("2026-03-02T06:00:00")


@pytest.mark.parametrize("text", ["10:30", "2 10:30", "xd 10:30", "2d"])
def test_moments_of_a_scenario_need_days_and_time(text):
    """Everything else is told what is expected."""
    with pytest.raises(ValueError, match="2d 10:30"):
        When.parse(text)


def test_summer_time_moves_the_shifts():
    """Six o'clock in Dublin is 06:00 UTC in winter and 05:00 UTC after the clocks change."""
    from simulators.draws import Draws
    from simulators.instants import Calendar
    from simulators.schedule_of_work import Schedule

    scenario = scenario_from(merged(BASE, {"days": 5}), "test")
    begin = scenario.begin.replace(month=3, day=27)
    calendar = Calendar(begin, scenario.zone)
    shifts = Schedule(scenario.work, calendar, 5, Draws.named(1, "x")).shifts
    mornings = {rfc3339(shift.begin)[5:16] for shift in shifts}
    assert "03-27T06:00" in mornings
    assert "03-30T05:00" in mornings
