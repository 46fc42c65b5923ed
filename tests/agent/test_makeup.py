"""What `millpond water` promises for whatever is typed."""

import json
from dataclasses import asdict

import pytest

from agent.cli import main
from agent.errors import MillpondError
from agent.makeup import WaterInput, answer, as_json, as_sheet
from agent.typed import ImpossibleInputError, content

KNOWN = WaterInput(
    volume="300 L",
    hardness="180 mg/L",
    chloride="25 mg/L",
    hardness_limit="600 mg/L",
    chloride_limit="90 mg/L",
    evaporation="15 L",
    carry_off="5 L",
)


def answered(**changes: str):
    """The answer to what was typed, with changes."""
    return answer(WaterInput(**{**asdict(KNOWN), **changes}))


def test_a_tower_of_two_cycles_agrees_with_print():
    """Make-up of 300 ppm, limit 600 ppm: 2 cycles, and the water alone just never exceeds it.

    1620 gal/h evaporate, 1620 gal/h blow down: a water-treatment page's worked example.
    """
    found = as_json(
        answered(
            evaporation="1620 gal",
            carry_off="1620 gal",
            hardness="300 mg/L",
            hardness_limit="600 mg/L",
            chloride_limit="",
        )
    )

    assert found["cycles"] == 2.0
    (tap, *_) = found["waters"]
    assert tap["salts"][0]["settles_at_mg_l"] == 600.0
    assert tap["salts"][0]["limit_reached_in_d"] is None
    assert found["blends"][0]["share_pct"] == 100.0


def test_thirty_days_of_fifteen_and_five_litres():
    """From 150 mg/L to 327.06 mg/L in 30 days, by the closed form."""
    found = as_json(answered(hardness="150 mg/L", hardness_limit="327.06 mg/L", chloride_limit=""))

    assert found["waters"][0]["salts"][0]["limit_reached_in_d"] == pytest.approx(30.0, abs=0.01)


def test_water_and_concentrate_lost_are_the_same_losses():
    """19.6 L of water and 0.4 L of concentrate at 8 % are 15 L and 5 L."""
    other = answered(
        evaporation="",
        carry_off="",
        water_loss="19.6 L",
        concentrate_loss="0.4 L/day",
        concentration="8",
    )

    assert as_json(other) == as_json(answered())


def test_the_sheet_says_what_each_water_does():
    """Softened helps hardness alone, the blend never reaches a limit, nitrate is named."""
    sheet = as_sheet(answered(nitrate="80 mg/L"))

    assert "the water, softened: hardness settles at 0 mg/L; chloride reaches" in sheet
    assert "never reaches\n" in sheet
    assert "TRGS 611" in sheet
    assert "upper bound" in sheet
    assert max(map(len, sheet.splitlines())) <= 88  # the last line is one sentence, unwrapped


@pytest.mark.parametrize(
    ("hardness", "said"),
    [
        ("40 mg/L", "foams"),
        ("200 mg/L", "will do"),
        ("500 mg/L", "too hard"),
    ],
)
def test_a_first_fill_is_told_apart_from_top_ups(hardness, said):
    """Very soft water foams, hard water begins too hard; top-ups take little salt."""
    found = answered(hardness=hardness, hardness_limit="600 mg/L")

    assert said in found.first_fill


def test_hardness_in_the_trades_units():
    """10 German degrees are 178.48 mg/L as CaCO3; 1 grain per gallon 17.118 mg/L."""
    assert content("--hardness", "10 dH") == pytest.approx(178.48)
    assert content("--hardness", "1 gpg") == pytest.approx(17.118, abs=5e-4)
    assert content("--hardness", "") is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"volume": "0 L"}, "--volume"),
        ({"hardness": "180"}, "--hardness is '180'"),
        ({"hardness": "-1 mg/L"}, "--hardness"),
        ({"hardness": ""}, "--hardness-limit needs --hardness"),
        ({"hardness_limit": "", "chloride_limit": ""}, "give --hardness-limit or --chloride-limit"),
        ({"carry_off": ""}, "give --evaporation and --carry-off"),
        ({"evaporation": "5 mm"}, "--evaporation"),
        (
            {
                "evaporation": "",
                "water_loss": "1 L",
                "concentrate_loss": "1 L",
                "concentration": "0",
            },
            "--concentration",
        ),
    ],
)
def test_what_cannot_be_is_refused(changes, said):
    """What was typed or left out, and what is needed."""
    with pytest.raises(MillpondError) as caught:
        answered(**changes)
    assert said in str(caught.value)
    assert isinstance(caught.value, ImpossibleInputError) or "give" in said or "needs" in said


def test_the_command_prints_sheet_or_json(capsys):
    """As the command line does, with exit codes."""
    typed = ["water", "--volume", "300 L", "--evaporation", "15 L", "--carry-off", "5 L"]
    typed += ["--hardness", "10 dH", "--hardness-limit", "600 mg/L"]

    assert main([*typed, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["cycles"] == 4.0
    assert main(typed) == 0
    assert "cycles          4" in capsys.readouterr().out
    assert main(typed[:-2]) == 2
    assert "give --hardness-limit" in capsys.readouterr().err
