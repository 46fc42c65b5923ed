"""The start after a standstill, stage by stage."""

from advisor.effects import Mix
from advisor.startup import start_up


def test_the_oil_goes_before_the_pumps_start_and_the_top_up_comes_last():
    """Skim, circulate, discard readings until the line has passed, look and smell, then top up."""
    names = [stage.name for stage in start_up(Mix(14.0, 0.4))]

    assert names == ["look", "skim", "circulate", "discard", "check", "top-up"]


def test_each_stage_has_the_cautions_that_fit_it():
    """Lock out where somebody reaches in, air that harms where somebody smells, the air gap where
    water is drawn."""
    cautions = {stage.name: " ".join(stage.cautions) for stage in start_up(Mix(14.0, 0.4))}

    assert "rotten eggs" in cautions["look"]
    assert "lock it out" in cautions["skim"]
    assert "hose" in cautions["top-up"]
    assert "lock it out" not in cautions["circulate"]


def test_what_is_expected_to_be_missing_is_said():
    """Amount, strength and how; nothing where nothing is."""
    (*_, last) = start_up(Mix(14.0, 0.4), "1 bucket.")
    (*_, none) = start_up(None)

    assert "14.4 L at 2.78 %: 1 bucket." in last.text
    assert "Nothing is expected to be missing" in none.text
