"""A charge with the work around it, its check, and its page for the printer."""

import json
import re
from pathlib import Path

import pytest

from agent.calculators import charge, top_up
from agent.cli import main
from agent.printing import as_page
from agent.sheets import all_cautions, as_json, as_sheet, stages
from agent.typed import ChargeInput, ImpossibleInputError, TopUpInput
from tests.page.browser import chromium

TYPED = {"volume": "300 L", "target": "8", "bucket": "20 L", "factor": "1.25"}


def charged(**changes: object):
    """A charge of 300 L at 8 %, with changes."""
    return charge(ChargeInput(**{**TYPED, **changes}))  # type: ignore[arg-type]


# --- the sequence ---------------------------------------------------------------------------------


def test_a_change_out_has_all_the_work_around_the_charge():
    """From having everything ready to the report; the charge's own batches in between."""
    names = [stage.name for stage in stages(charged(change_out=True))]

    assert names[0] == "ready"
    assert names[-3:] == ["circulate", "check", "report"]
    assert names.count("charge 1") == 1


def test_without_it_there_is_the_pouring_alone():
    """Batches, circulating, the check."""
    names = [stage.name for stage in stages(charged())]

    assert names == ["pour 1", "pour 2", "circulate", "check"]


def test_cautions_of_stages_are_said_once():
    """On the sheet beside their stage and not again below; in JSON all of them, none twice."""
    recipe = charged(change_out=True)
    sheet, cautions = as_sheet(recipe), as_json(recipe)["cautions"]

    assert len(cautions) == len(set(cautions))
    assert cautions == all_cautions(recipe)
    assert "confined spaces" in " ".join(cautions)
    assert "Cautions\n" not in sheet


def test_residue_beyond_the_share_asks_for_another_rinse():
    """10 L of 300 L are more than 2 %."""
    said = " ".join(as_json(charged(residue="10 L"))["why"])

    assert "3.3 % of the charge: rinse and drain again" in said
    assert "their concentrate is not counted" in said


@pytest.mark.parametrize(
    ("hardness", "said"),
    [("", "tap water in the fluid's range"), ("2 dH", "foams")],
)
def test_the_water_of_a_first_fill_is_said(hardness, said):
    """Tap water for the charge, water low in salts for top-ups; very soft water foams."""
    why = " ".join(as_json(charged(hardness=hardness))["why"])

    assert said in why
    assert "top-ups" in why.lower()


# --- the reading ----------------------------------------------------------------------------------


def test_what_it_will_read_is_said_before_and_after_the_factor():
    """8 % by 1.25 are 6.4 °Brix."""
    recipe = charged()

    assert as_json(recipe)["reading_brix"] == pytest.approx(6.4)
    said = " ".join(as_sheet(recipe).split())
    assert "6.4 °Brix, which times the factor 1.25 is 8 % of the mix" in said


def test_a_reading_gives_a_correction_and_the_factor_it_implies():
    """6 °Brix instead of 6.4: add 12.5 L at 20 %, or a factor of 1.333."""
    found = as_json(charged(check="6 degBrix"))
    check = found["check"]

    assert check["implied_factor"] == pytest.approx(4 / 3, abs=1e-5)
    assert check["factor_plausible"] is True
    assert check["concentration_pct"] == pytest.approx(7.5)
    assert check["correction"]["concentrate_l"] == pytest.approx(2.5)
    said = " ".join(found["why"])
    assert "add 12.5 L at 20 %: 10 L of water, then 2.5 L of concentrate into it" in said
    assert "drain 12 L and add as much of that mix" in said
    assert "the factor is 1.333" in said
    assert "titration" in said


def test_too_strong_is_corrected_with_what_may_take_the_place_of_water():
    """6.8 °Brix are 8.5 %: 18.75 L of water; or more of a weak mix."""
    with_water = as_json(charged(check="6.8 degBrix"))["check"]["correction"]
    with_weak = as_json(charged(check="6.8 degBrix", weak_mix="1"))["check"]["correction"]

    assert with_water == {"water_l": 18.75, "concentrate_l": 0.0, "strength_pct": 0.0}
    assert with_weak["strength_pct"] == pytest.approx(1.0)
    assert with_weak["water_l"] + with_weak["concentrate_l"] == pytest.approx(300 * 0.5 / 7)


def test_a_reading_as_expected_says_so():
    """Nothing to add, no caution."""
    found = as_json(charged(check="6.5 degBrix"))

    assert found["check"]["as_expected"] is True
    assert found["check"]["correction"] is None
    assert any("as it was measured in" in why for why in found["why"])


def test_an_implausible_factor_is_a_caution():
    """3 °Brix instead of 6.4: nobody's factor doubles; look for the mistake."""
    found = as_json(charged(check="3 degBrix"))

    assert found["check"]["factor_plausible"] is False
    assert "not plausible beside the data sheet's 1.25" in found["cautions"][0]
    assert "Look for a mistake first" in found["cautions"][0]
    assert not any("use that from now on" in why for why in found["why"])


def test_without_a_factor_the_reading_speaks_for_one():
    """No correction can be said; an absurd factor is a caution all the same."""
    found = as_json(charged(factor="", check="6 degBrix"))
    absurd = as_json(charged(factor="", check="20 degBrix"))

    assert found["check"]["implied_factor"] == pytest.approx(1.333333)
    assert found["check"]["correction"] is None
    assert any("speaks for a factor of 1.333" in why for why in found["why"])
    assert "not plausible of any concentrate" in absurd["cautions"][0]


def test_an_instrument_that_shows_percent_has_the_factor_in_it():
    """7.5 % are 6 °Brix by 1.25; without a factor nobody can tell."""
    assert as_json(charged(check="7.5 %"))["check"]["reading_brix"] == pytest.approx(6.0)
    with pytest.raises(ImpossibleInputError, match="degBrix, or --factor"):
        charged(factor="", check="7.5 %")


@pytest.mark.parametrize("text", ["6", "6 L", "-1 degBrix", "0 degBrix", "99 degBrix", "six"])
def test_what_is_no_reading_is_refused(text):
    """By its option."""
    with pytest.raises(ImpossibleInputError, match="--check"):
        charged(check=text)


# --- paper ----------------------------------------------------------------------------------------

LONG = ChargeInput(
    volume="95 gal",
    target="6",
    convention="per-water",
    premix="4:1",
    bucket="5 gal",
    weak_mix="1",
    factor="1.25",
    residue="3 gal",
    hardness="2 dH",
    check="3 degBrix",
    price="4.8",
    change_out=True,
)
"""All that a charge can be asked for at once."""

PAGES = {
    "charge": charged,
    "change-out": lambda: charged(change_out=True),
    "everything": lambda: charge(LONG),
    "top-up": lambda: top_up(
        TopUpInput(volume="280 L", concentration="10", to_volume="300 L", target="8", exchange=True)
    ),
}


@pytest.mark.parametrize("name", PAGES)
def test_a_page_has_everything_in_it(name):
    """No script, nothing from elsewhere; a box for every stage, the blanks to fill in."""
    recipe = PAGES[name]()
    page = as_page(recipe)

    assert "<script" not in page
    assert not re.search(r"https?://|src=|@import|url\(", page)
    boxes = page.count('<span class="box"></span>')
    several = sum(batch.count for _, batch in recipe.portions if batch.count > 1)
    assert boxes == len(stages(recipe)) + several
    for stage in stages(recipe):
        assert stage.text.split(",")[0].split(" ")[0] in page
    assert "Sump" in page


def test_a_number_and_its_unit_stand_together():
    """No line breaks between them."""
    page = as_page(charged())

    assert "8\u00a0% of the mix" in page
    assert "16\u00a0L" in page


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_each_fits_on_one_sheet_of_paper(paper, tmp_path: Path):
    """As Chromium prints it, with the longest there is."""
    with chromium() as browser:
        for name, recipe in PAGES.items():
            file = tmp_path / f"{name}.html"
            file.write_text(as_page(recipe()), encoding="utf-8")
            view = browser.new_page()
            view.goto(file.as_uri())
            printed = view.pdf(format=paper, print_background=True)
            assert len(re.findall(rb"/Type\s*/Page[^s]", printed)) == 1, name
            width = view.evaluate("document.documentElement.scrollWidth - window.innerWidth")
            assert width <= 0, name
            view.close()


def test_the_command_writes_the_page_besides(tmp_path: Path, capsys):
    """The sheet or JSON goes to the terminal as ever."""
    page = tmp_path / "charge.html"
    typed = ["charge", "--volume", "300 L", "--target", "8", "--change-out", "--print", str(page)]

    assert main([*typed, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["steps"]
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_a_page_that_cannot_be_written_is_said(tmp_path: Path, capsys):
    """The file, and why; nothing is printed as if all were well."""
    typed = ["charge", "--volume", "300 L", "--target", "8", "--print", str(tmp_path / "no" / "x")]

    assert main(typed) == 2
    out = capsys.readouterr()
    assert "No such file" in out.err
    assert out.out == ""
