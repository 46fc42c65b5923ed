"""An outlook of a sump without a plant."""

import json
from dataclasses import asdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.words import DAY
from agent.cli import main
from agent.outlook.report import as_json
from agent.outlook.sheet import as_sheet
from agent.outlook.typed import OutlookInput, foresee_typed, per_day
from agent.typed import ImpossibleInputError
from tests.alarm_watch import START

KNOWN = OutlookInput(
    volume="280 L",
    concentration="8.43",
    water_loss="19.6 L",
    concentrate_loss="0.4 L",
    to_volume="300 L",
    target="8",
)


def foreseen(**changes: str):
    """What is foreseen of a sump, with a weekend in four days."""
    typed = OutlookInput(**{**asdict(KNOWN), **changes})
    return foresee_typed(typed, START, (START + 4 * DAY, START + 7 * DAY), "UTC")


def test_two_percent_hold_fifteen_litres_of_water_and_five_of_mix():
    """19.6 L of water and 0.4 L of concentrate a day: 2 % (published, the design's own sum)."""
    (sump,) = as_json(foreseen())["sumps"]

    assert sump["holding_strength_pct"] == pytest.approx(2.0)
    assert sump["per_week"]["water_l"]["value"] == pytest.approx(137.2)
    assert sump["losses"]["window_d"] is None


def test_the_next_top_up_is_due_where_the_low_volume_is():
    """From 280 L to three quarters of 300 L at 20 L a day; or where somebody said."""
    due = as_json(foreseen())["sumps"][0]["next"]["at"]["value"]
    sooner = as_json(foreseen(low_volume="270 L", band="4:14"))["sumps"][0]["next"]["at"]["value"]

    assert sooner == "2026-03-02T18:00:00Z"
    assert due > sooner


def test_the_sheet_is_in_the_unit_that_was_typed():
    """Gallons in, gallons out."""
    assert "74 gal at 8.43 %" in as_sheet(foreseen(volume="74 gal", to_volume="80 gal"))
    assert "280 L at 8.43 %" in as_sheet(foreseen())


def test_prices_weak_mix_and_bucket_are_reckoned_with():
    """Cost of a week, when the weak mix creeps, how many buckets."""
    found = foreseen(price="5", weak_mix="1", bucket="20 L", graduation="0.5 L", disposal="0.5")
    (sump,) = as_json(found)["sumps"]

    assert sump["per_week"]["cost"] == pytest.approx(14.0)
    assert sump["idle"]["leaves_band_on_weak_mix_at"] is not None
    assert sump["rhythms"][0]["buckets"] >= 29
    for batch in sump["standstill"]["before"]["batches"]:
        assert batch["water_l"] % 0.5 == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"volume": "280"}, "--volume"),
        ({"concentration": "0"}, "--concentration is '0'; expected more than 0 %"),
        ({"water_loss": "-3 L"}, "--water-loss"),
        ({"water_loss": "much"}, "--water-loss"),
        ({"concentrate_loss": "1e9 L/day"}, "--concentrate-loss"),
        ({"low_volume": "400 L"}, "--low-volume is '400 L'; expected less than 300 L"),
        ({"brim_volume": "200 L"}, "--brim-volume is '200 L'; expected at least 300 L"),
        ({"band": "6"}, "--band"),
        ({"band": "9:10"}, "--band is '9:10'"),
        ({"target": "0"}, "--target"),
        ({"weak_mix": "30"}, "--weak-mix"),
    ],
)
def test_what_cannot_be_is_refused_by_its_option(changes, said):
    """What was typed, and what would have been accepted."""
    with pytest.raises(ImpossibleInputError) as caught:
        foreseen(**changes)
    assert said in str(caught.value)


def test_losses_may_be_written_per_day_or_not():
    """19 L, 19 L/day and the same in gallons."""
    assert per_day("--water-loss", "19 L") == 19.0
    assert per_day("--water-loss", "19 L/day") == pytest.approx(19.0)
    assert per_day("--water-loss", "5 gal/day") == pytest.approx(18.927, abs=1e-3)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(1.0, 3000.0),
    st.floats(0.5, 30.0),
    st.floats(0.0, 500.0),
    st.floats(0.0, 50.0),
    st.sampled_from(["", "1"]),
)
def test_whatever_is_typed_is_foreseen_or_refused(volume, concentration, water, pure, weak):
    """Sheet and JSON of any sump; no line of the sheet is too long."""
    typed = {
        "volume": f"{volume} L",
        "concentration": str(concentration),
        "water_loss": f"{water} L",
        "concentrate_loss": f"{pure} L",
        "to_volume": f"{volume * 1.1} L",
        "target": "",
        "weak_mix": weak,
    }
    try:
        found = foreseen(**typed)
    except ImpossibleInputError:
        return
    assert json.dumps(as_json(found), allow_nan=False)
    assert max(map(len, as_sheet(found).splitlines())) <= 80


def test_the_command_takes_what_is_typed(capsys):
    """Without a plant file, as JSON."""
    typed = ["--volume", "280 L", "--concentration", "8.43", "--water-loss", "19.6 L"]

    assert main(["outlook", *typed, "--concentrate-loss", "0.4 L", "--json"]) == 0
    (sump,) = json.loads(capsys.readouterr().out)["sumps"]
    assert sump["holding_strength_pct"] == pytest.approx(2.0)
