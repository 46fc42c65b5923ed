"""What a sheet promises to the person at the sump."""

import re

import pytest

from agent.calculators import Recipe, charge, say, top_up
from agent.sheets import WIDTH, as_sheet, stages
from agent.typed import ChargeInput, Measure, TopUpInput

GALLONS = ChargeInput(
    volume="95 gal",
    target="6",
    convention="per-water",
    premix="4:1",
    bucket="5 gal",
    weak_mix="1",
    factor="1.25",
)
LITRES = TopUpInput(
    volume="280 L", concentration="8.43", to_volume="300 L", target="8", bucket="10 L"
)


def texts(recipe: Recipe) -> list[str]:
    """What is to be done, stage by stage."""
    return [stage.text for stage in stages(recipe)]


RECIPES = {"charge": charge(GALLONS), "top-up": top_up(LITRES)}


@pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES.keys())
def test_water_comes_first_in_every_step(recipe):
    """Concentrate goes into the water, never the reverse."""
    batches = [step for step in texts(recipe) if "concentrate" in step]

    assert batches
    for step in batches:
        assert "water first, then" in step
        assert "concentrate into the water" in step


@pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES.keys())
def test_a_sheet_fits_a_page_and_reads_in_order(recipe):
    """Amounts, numbered steps, reasons, and the cautions at the end; 80 columns."""
    lines = as_sheet(recipe).splitlines()

    places = [lines.index(title) for title in ("Steps", "Why", "Cautions")]
    assert places == sorted(places)
    assert all(len(line) <= WIDTH or line == recipe.title or set(line) == {"="} for line in lines)
    assert any(line.startswith("  1. ") for line in lines)


def test_steps_are_numbered_without_a_gap():
    """As many numbers as steps."""
    recipe = RECIPES["charge"]
    found = re.findall(r"^ {0,2}(\d+)\. ", as_sheet(recipe), re.MULTILINE)

    assert [int(number) for number in found] == list(range(1, len(stages(recipe)) + 1))


def test_batches_are_counted_through():
    """Four full batches of premix and a fifth, then the weak mix from the sixth on."""
    said = texts(RECIPES["charge"])

    assert said[0].startswith("Batches 1 to 4, each (premix): 4 gal (15.14 L) of water first")
    assert said[1].startswith("Batch 5 (premix)")
    assert said[2].startswith("Batches 6 to 19, each (weak mix)")


def test_people_read_their_own_unit_with_litres_beside():
    """Gallons where gallons were written, ounces for what is measured in a jug."""
    gallon = Measure("gal", 3.785411784)

    assert say(18.927, gallon) == "5 gal (18.93 L)"
    assert say(0.207015, gallon) == "7 fl oz (207 mL)"
    assert say(4.54609 / 160, Measure("imperial_gallon", 4.54609)) == "1 fl oz (28 mL)"
    assert say(19.604, Measure()) == "19.6 L"
    assert say(0.396, Measure()) == "396 mL"


def test_the_reading_to_expect_is_said_before_and_after_the_factor():
    """5.66 % at a factor of 1.25 read 4.53 °Brix."""
    sheet = as_sheet(RECIPES["charge"])

    assert "4.53 °Brix" in sheet
    assert "5.66" in sheet


def test_nothing_to_pour_is_said_plainly():
    """A sump in order has one step."""
    recipe = top_up(TopUpInput(volume="300 L", concentration="8", to_volume="300 L", target="8"))

    assert texts(recipe) == ["Pour nothing."]
    assert "Nothing to add" in as_sheet(recipe)


def test_an_exchange_drains_first():
    """Drain, then fill; what is drained is waste."""
    recipe = top_up(
        TopUpInput(volume="300 L", concentration="10", to_volume="300 L", target="8", exchange=True)
    )

    assert texts(recipe)[0].startswith("Drain 60 L")
    assert "waste" in as_sheet(recipe)
