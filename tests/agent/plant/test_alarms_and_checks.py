"""What a plant file says of alarms, checks and supplies, and what becomes of it."""

from pathlib import Path

import pytest

from advisor.words import CheckKind
from agent.errors import PlantFileError
from agent.plant.load import parse_plant
from agent.plant.plant import Plant
from agent.resources import shipped

EXAMPLE = shipped("plant.example.toml").read_text(encoding="utf-8")


def plant_with(*more: str, sump: str = "", drum: str = "") -> Plant:
    """The example's plant with tables added to it."""
    text = EXAMPLE.replace("volume_l = 200\n", f"volume_l = 200\n{drum}\n", 1)
    return parse_plant("\n".join([text, sump, *more]), Path("north.toml"))


def test_what_holds_everywhere_holds_at_every_sump():
    """An override at the top of the file is every sump's, and the plant's own."""
    plant = plant_with(
        "[alarms.level-low]\non_delay_s = 600", "[alarms.stock-low]\nenabled = false"
    )

    assert plant.sumps["mill-07"].alarms["level-low"].on_delay == 600
    assert plant.alarms["stock-low"].enabled is False


def test_a_sump_s_own_word_goes_first_key_by_key():
    """What the sump says takes the place of what holds everywhere; the rest stands."""
    plant = plant_with(
        '[alarms.level-low]\non_delay_s = 600\npriority = "low"',
        sump='[sump.alarms.level-low]\npriority = "high"',
    )
    rule = plant.sumps["mill-07"].alarms["level-low"]

    assert (rule.priority, rule.on_delay) == ("high", 600)


def test_limits_of_shares_are_written_in_percent():
    """Tramp oil is said in % and counted as a fraction."""
    plant = plant_with("[alarms.tramp-oil-high]\nlimit = 3.5")

    assert plant.sumps["mill-07"].alarms["tramp-oil-high"].limit == pytest.approx(0.035)


def test_checks_are_due_as_the_plant_says_and_the_sump_may_differ():
    """A sump has the plant's intervals, its own where it says so, and none where that is 0."""
    plant = plant_with(
        "[checks]\nlook_d = 1\nph_d = 7\ndip_slide_d = 14",
        sump="[sump.checks]\nph_d = 3.5\ndip_slide_d = 0",
    )

    assert plant.sumps["mill-07"].checks == {CheckKind.LOOK: 1.0, CheckKind.PH: 3.5}


def test_nobody_is_reminded_of_checks_that_nobody_planned():
    """Without [checks] no check is ever due."""
    assert plant_with().sumps["mill-07"].checks == {}


def test_a_supply_has_a_name_and_a_volume_at_which_it_is_ordered():
    """Both stand in the plant file."""
    drum = plant_with(drum='name = "Blue drum"\nreorder_l = 40').supplies["drum-1"]

    assert (drum.name, drum.reorder) == ("Blue drum", 40.0)


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ("[alarms.feed-gone]", "no such alarm; the nearest one is feed-lost"),
        (
            "[sump.alarms.feed-lost]",
            "is no alarm of a sump; expected [alarms.feed-lost] at the top",
        ),
        ('[alarms."level-low/brix"]', "not about one signal"),
        ("[checks]\nlooks_d = 1", "did you mean look_d"),
        ("[checks]\nlook_d = -1", "at least 0"),
    ],
)
def test_mistakes_are_named(table: str, expected: str):
    """A name that is none, a place that is none, an interval that is none."""
    with pytest.raises(PlantFileError) as caught:
        plant_with(table)

    assert expected in str(caught.value)
