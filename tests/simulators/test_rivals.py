"""Who keeps the sumps beside the agent: perfect knowledge, and a bucket a week."""

import pytest

from simulators.close import compared, summary
from simulators.rivals import RIVALS, play_by
from tests.simulators.floors import plant

QUIET = "days = 15\nstep_s = 60\ntick_s = 300\n[work]\nbreaks = []\n"


def kept(kind):
    """A plant that one of them kept: the floor, and the row about it."""
    floor = plant(QUIET)
    rows = summary(floor, play_by(floor, kind), kind)
    return floor, rows[0]


def test_perfect_knowledge_holds_level_and_target():
    """What is lost comes back within a tick: to 0.05 % of the mix, and to a litre."""
    floor, row = kept("perfect knowledge")
    tool = floor.tools["m1"]
    wanted = tool.drawn.body.tank.volume(tool.spec.level_mm.target)

    assert row["within_half_pct"] == 100.0
    assert row["mean_pct"] == pytest.approx(8.0, abs=0.05)
    assert tool.sump.volume == pytest.approx(wanted, abs=1.0)
    assert row["spilled_l"] == 0.0


def test_perfect_knowledge_pours_what_is_lost():
    """Concentrate added is what was lost and what was missing at the beginning."""
    floor, row = kept("perfect knowledge")
    sump = floor.tools["m1"].sump
    book = sump.book
    lost = book.carry_off_concentrate + book.depletion + book.drained_concentrate
    begun = floor.tools["m1"].drawn
    first = begun.body.tank.volume(begun.depth) * begun.strength

    assert row["concentrate_l"] == pytest.approx(sump.concentrate - first + lost, abs=0.05)


def test_a_week_is_too_long_for_the_hand():
    """It pours three times in a fortnight, ends in the band less often, and never overfills."""
    floor, row = kept("weekly by hand")
    _, perfect = kept("perfect knowledge")

    assert row["within_half_pct"] < perfect["within_half_pct"]
    assert row["spilled_l"] == 0.0
    assert floor.tools["m1"].sump.book.water_added > 0.0


def test_all_sumps_together_stand_beside_the_perfect_use():
    """One row for each who kept them; the concentrate relative to perfect knowledge."""
    rows = [
        {"sump": name, "by": by, "in_band_pct": share, "within_half_pct": share, "mean_pct": 8.0,
         "spilled_l": 0.0, "concentrate_l": used, "water_l": 10.0}
        for name, by, share, used in (
            ("a", "agent", 90.0, 10.0), ("b", "agent", 100.0, 11.0),
            ("a", "perfect knowledge", 100.0, 10.0), ("b", "perfect knowledge", 100.0, 10.0),
        )
    ]  # fmt: skip
    agent, perfect = compared(rows)

    assert (agent["sump"], agent["by"], agent["in_band_pct"]) == ("all 2", "agent", 95.0)
    assert agent["concentrate_over_perfect_pct"] == 5.0
    assert perfect["concentrate_over_perfect_pct"] == 0.0


def test_without_perfect_knowledge_there_is_nothing_to_compare_with():
    """The column stays, and says nothing."""
    floor = plant("days = 0.1\n")
    rows = summary(floor, play_by(floor, "weekly by hand"), "weekly by hand")

    assert compared(rows)[0]["concentrate_over_perfect_pct"] is None
    assert set(RIVALS) == {"perfect knowledge", "weekly by hand"}
