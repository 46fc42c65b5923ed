"""An outlook from the store of a plant."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from advisor.estimate import SCHEMA
from advisor.words import DAY, HOUR, Account, Estimate, SumpState
from agent.cli import main
from agent.errors import StoreError
from agent.outlook.gather import NoSumpError, foresee, weekly_losses
from agent.outlook.report import as_json
from agent.outlook.sheet import as_sheet
from agent.plant.load import load_plant
from agent.plant.plant import Plant
from agent.store.history import Snapshot, history_row
from agent.store.ledger import Ledger
from tests.agent.alarms.shop import START, Shop, a_shop
from tests.plants import a_sump
from tests.sump_states import sump_holding

FILE = """
[plant]
id = "shop"
name = "The shop"
timezone = "Europe/Dublin"

[broker]
url = "mqtt://127.0.0.1:1883"

[[concentrate]]
id = "semi-a"
refractometer_factor = 1.25
band_pct = [6.0, 10.0]
target_pct = 8.0
weak_mix_pct = 1.0
price_per_l = 5.0
disposal_per_l = 0.5
hardness_limit_mg_l = 600
chloride_limit_mg_l = 150

[[supply]]
id = "town"
name = "Town water"
kind = "water"
hardness_mg_l = 200
chloride_mg_l = 30
nitrate_mg_l = 60

[[supply]]
id = "drum-1"
name = "Drum 1"
kind = "drum"
concentrate = "semi-a"
volume_l = 200

[[supply]]
id = "drum-9"
kind = "drum"
concentrate = "semi-a"

[[sump]]
id = "mill-0"
name = "Mill 0"
concentrate = "semi-a"
supplies = ["town", "drum-1"]
tank = { shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }
level_mm = { low = 180, target = 380, brim = 430 }
holdup_l = 35
signals.level = { topic = "shop/0/level", unit = "mm", sd = 1.5, interval_s = 60 }
signals.brix = { topic = "shop/0/brix", sd = 0.08, interval_s = 60, needs_flow = false }
signals.running = { topic = "shop/0/running" }

[[sump]]
id = "mill-1"
concentrate = "semi-a"
tank = { shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }
level_mm = { low = 180, target = 380, brim = 430 }
signals.level = { topic = "shop/1/level", unit = "mm" }
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant file beside the store that half a day's run left.

    One of its sumps loses 30 mm, the other says nothing.
    """
    file = tmp_path_factory.mktemp("shop") / "shop.toml"
    file.write_text(FILE)
    plant = load_plant(file)
    ledger = Ledger.open(plant.store, belief_schema=SCHEMA)
    shop = Shop(plant, ledger)
    shop.values = {"running": 0.0}
    for hour in range(13):
        shop.minutes(60, silent=[1], level=360.0 - 2.5 * hour, brix=round(6.4 - 0.02 * hour, 3))
    shop.say("supply/drum-1/stock", id="s1", volume_l=70.0)
    shop.say("supply/drum-1/stock", id="s2", volume_l=60.0)
    shop.say("mill-0/check", id="c1", kind="hardness", value=310.0)
    ledger.close()
    return file


@pytest.fixture
def worked(file: Path) -> Plant:
    """The plant of that file."""
    return load_plant(file)


def test_the_newest_state_goes_on(worked):
    """What the sump holds is what was told last; the next top-up and the drum follow from it."""
    (sump,) = as_json(foresee(worked, None))["sumps"]

    assert sump["sump"] == "mill-0"
    assert sump["at"] == "2026-03-02T19:00:00Z"
    assert sump["volume_l"]["value"] == pytest.approx(346.0, abs=5.0)
    assert sump["losses"]["water_l_per_day"]["value"] > 20.0
    assert sump["next"]["at"]["value"] > sump["at"]
    assert sump["idle"]["assumed"] is True


def test_a_sump_of_which_nothing_was_told_says_so(worked):
    """It has no outlook, and is not passed over in silence."""
    found = foresee(worked, None)

    assert found.untold == {"mill-1": "nothing has been told of it yet"}
    assert "mill-1: nothing has been told of it yet" in as_sheet(found)


def test_the_newest_count_of_a_drum_lasts_so_long(worked):
    """60 L, not 70; a drum nobody counted is left out."""
    found = as_json(foresee(worked, None))
    (drum,) = found["supplies"]
    pure = found["sumps"][0]["losses"]["concentrate_l_per_day"]["value"]

    assert (drum["supply"], drum["volume_l"]) == ("drum-1", 60.0)
    assert drum["days"]["value"] == pytest.approx(60.0 / pure, rel=0.01)


def test_what_was_measured_of_the_fluid_goes_before_what_is_assumed(worked):
    """The hardness by its check, the chloride as in a fresh fill."""
    water = as_json(foresee(worked, "mill-0"))["sumps"][0]["water"]

    salts = {salt["salt"]: salt for salt in water["salts"]}
    assert (salts["hardness"]["now_mg_l"], salts["hardness"]["assumed"]) == (310.0, False)
    assert (salts["chloride"]["now_mg_l"], salts["chloride"]["assumed"]) == (30.0, True)
    assert water["waters"][0]["nitrate_high"] is True


def test_without_times_the_next_weekend_is_planned(worked):
    """From Friday 18:00 to Monday 06:00 on the plant's clocks, counted from the newest state."""
    still = as_json(foresee(worked, "mill-0"))["sumps"][0]["standstill"]

    assert (still["from"], still["until"]) == ("2026-03-06T18:00:00Z", "2026-03-09T06:00:00Z")
    assert still["before"]["kind"] == "top-up"
    assert [step["name"] for step in still["steps"]][:2] == ["look", "skim"]


def test_the_sheet_says_it_all_within_eighty_columns(worked):
    """Every part has its heading, and no line is too long."""
    sheet = as_sheet(foresee(worked, None, "2026-03-04", "2026-04-20"))

    for part in (
        "The shop",
        "mill-0, Mill 0",
        "next top-up",
        "it is held by",
        "a week takes",
        "Standstill, Wed 2026-03-04 18:00 to Mon 2026-04-20 06:00",
        "the band is left",
        "Idle from now on",
        "every 7 days",
        "Make-up water",
        "Nitrate of make-up water: at most 50 mg/L (TRGS 611)",
        "lasts for",
    ):
        assert part in sheet
    assert max(map(len, sheet.splitlines())) <= 80


def test_a_plant_of_us_units_reads_gallons(worked):
    """Volumes of the sheet in gallons, JSON in litres as ever."""
    found = foresee(replace(worked, units="us"), "mill-0")

    assert "it holds        9" in as_sheet(found)
    assert " gal" in as_sheet(found)
    assert as_json(found)["sumps"][0]["volume_l"]["value"] > 300.0


def test_the_same_store_gives_the_same_answer(worked):
    """It takes its present from the data, not from the clock."""
    assert as_json(foresee(worked, None)) == as_json(foresee(worked, None))


def test_looking_does_not_change_the_store(worked):
    """Not a byte."""
    before = worked.store.read_bytes()
    foresee(worked, None)

    assert worked.store.read_bytes() == before


def test_a_sump_that_there_is_not_is_refused(worked):
    """The message names those that there are."""
    with pytest.raises(NoSumpError, match="mill-0, mill-1"):
        foresee(worked, "mill-7")


def test_a_plant_that_has_not_run_is_said_to_have_no_store(tmp_path):
    """As it is: the agent has to run first."""
    plant = replace(a_shop(), store=tmp_path / "none.db")
    with pytest.raises(StoreError, match="has the agent of this plant run yet"):
        foresee(plant, None)


# --- losses of a week -----------------------------------------------------------------------------


def snapshot(at: int, water: float, concentrate: float, since: int, sd: float = 0.1) -> Snapshot:
    """A state that was told, with so much lost since the beginning. [L]"""
    lost = Account(
        since=since, water=Estimate(water, sd), concentrate=Estimate(concentrate, sd / 10)
    )
    state: SumpState = replace(sump_holding(a_sump(), 380.0, 0.08, at), lost=lost)
    row = history_row(state)
    assert row is not None
    return Snapshot((*row, None, None, None, None))


def test_a_week_is_what_the_account_gained_in_it():
    """140 L in seven days; the error made before is in both ends and does not count."""
    now = snapshot(START + 20 * DAY, 400.0, 8.0, START, sd=5.0)
    before = snapshot(START + 13 * DAY, 260.0, 5.2, START, sd=4.0)
    days, losses = weekly_losses(now, before)

    assert days == pytest.approx(7.0)
    assert losses.water is not None
    assert losses.concentrate is not None
    assert losses.water.value == pytest.approx(20.0)
    assert losses.water.sd == pytest.approx(3.0 / 7.0, rel=0.01)
    assert losses.concentrate.value == pytest.approx(0.4)


def test_a_younger_account_counts_from_its_beginning():
    """A charge two days ago began it anew."""
    now = snapshot(START + 20 * DAY, 40.0, 0.8, START + 18 * DAY)
    before = snapshot(START + 13 * DAY, 260.0, 5.2, START)
    days, losses = weekly_losses(now, before)

    assert days == pytest.approx(2.0)
    assert losses.water is not None
    assert losses.water.value == pytest.approx(20.0)


def test_less_than_a_day_is_as_was_told():
    """The mean of the hours there are."""
    now = snapshot(START + 5 * HOUR, 4.0, 0.1, START)
    days, losses = weekly_losses(now, None)

    assert days == 1.0
    assert losses.water == now.water_loss


# --- the command ----------------------------------------------------------------------------------


def run_command(*arguments: str) -> int:
    """Run it as the command line does."""
    return main(["outlook", *arguments])


def test_the_command_prints_sheet_or_json(file, capsys):
    """One sump of a plant file."""
    assert run_command(str(file), "mill-0") == 0
    assert capsys.readouterr().out.startswith("The shop\n")
    assert run_command(str(file), "mill-0", "--json") == 0
    assert json.loads(capsys.readouterr().out)["sumps"][0]["sump"] == "mill-0"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "give PLANT.toml, or else --volume"),
        (["--volume", "300 L"], "--concentration and --water-loss"),
        (["FILE", "--volume", "300 L"], "--volume is for a sump without a plant"),
        (["FILE", "--from", "tomorrow"], "--from is 'tomorrow'"),
        (["FILE", "--until", "2020-01-01"], "a time after Mon 2026-03-02"),
    ],
)
def test_wrong_use_says_what_was_expected(file, capsys, arguments, said):
    """One line on standard error, exit 2."""
    assert run_command(*(str(file) if a == "FILE" else a for a in arguments)) == 2
    assert said in capsys.readouterr().err
