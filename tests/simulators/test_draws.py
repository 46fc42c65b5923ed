"""Randomness: seeded, one stream for each source, with the spread that is claimed."""

import math
import statistics

import pytest

from simulators.draw_machine import draw_machine
from simulators.draws import Draws
from simulators.wander import Wander
from tests.simulators.floors import plant, run


def test_same_seed_and_names_give_the_same_numbers():
    """A stream is fixed by its seed and its names."""
    one, two = (Draws.named(7, "m1", "level") for _ in range(2))
    assert [one.normal() for _ in range(600)] == [two.normal() for _ in range(600)]


def test_other_names_give_other_numbers():
    """Streams of other names, and of other seeds, differ."""
    first = [Draws.named(seed, name).uniform() for seed in (1, 2) for name in ("a", "b")]
    assert len(set(first)) == 4


def test_one_more_sensor_changes_no_other():
    """Fitting a temperature sensor and a fault leaves level readings and the truth as they were."""
    plain = plant(NOISY)
    more = plant(
        NOISY
        + '[each.signals.temperature]\nsd = 0.1\nunit = "degC"\n'
        + '[[each.fault]]\nsignal = "temperature"\nkind = "spike"\nevery_h = 1\nsize = 9\n'
    )
    level = [m for m in run(plain, 3) if m.topic.endswith("/level")]
    level_more = [m for m in run(more, 3) if m.topic.endswith("/level")]
    assert [m.payload for m in level] == [m.payload for m in level_more]
    assert plain.tools["m1"].sump.volume == more.tools["m1"].sump.volume


NOISY = "[each.signals.level]\nsd_mm = 1.0\nwave_mm = 2.0\nfoam_mm = 1.0\n"


@pytest.mark.parametrize("spacing_s", [1.0, 20.0, 300.0])
def test_wander_has_its_spread_and_its_memory(spacing_s):
    """At any spacing: spread 2, and exp(-t/60 s) of a deviation left, to sampling error."""
    wander = Wander(2.0, 60.0, Draws.named(3, f"w{spacing_s}"))
    count = 60_000
    values = [wander.at(round(i * spacing_s * 1000)) for i in range(count)]
    keep = math.exp(-spacing_s / 60.0)
    independent = count * (1.0 - keep) / (1.0 + keep)
    sd = statistics.pstdev(values)
    assert sd == pytest.approx(2.0, abs=4.0 * 2.0 / math.sqrt(2.0 * independent))
    lagged = statistics.correlation(values[:-1], values[1:])
    assert lagged == pytest.approx(keep, abs=4.0 / math.sqrt(independent))


def test_a_machine_is_off_by_as_much_as_its_scenario_lets_it():
    """Over 300 seeds the tank's area and the factor go up to 10 % either way, the holdup 50 %."""
    scenario = plant(
        "[each]\narea_error = 0.1\nholdup_error = 0.5\n"
        '[[concentrate]]\nid = "semi-a"\nrefractometer_factor = 1.25\nband_pct = [6, 10]\n'
        "target_pct = 8\nfactor_error = 0.1\n"
    ).scenario
    drawn = [draw_machine(scenario.sumps()[0], scenario, seed) for seed in range(300)]
    areas = [one.area_factor for one in drawn]
    factors = [one.optics.factor / 1.25 for one in drawn]

    for found in (areas, factors):
        assert 0.9 <= min(found) < 0.91
        assert 1.09 < max(found) <= 1.1
        assert statistics.fmean(found) == pytest.approx(1.0, abs=0.015)
    assert {round(one.body.holdup, 9) for one in drawn} == {15.0, 45.0}


def test_waiting_times_have_their_mean():
    """Exponential waiting: the mean of 20 000 is within 3 % of the stated one."""
    draws = Draws.named(1, "wait")
    mean = statistics.fmean(draws.waiting(5.0) for _ in range(20_000))
    assert mean == pytest.approx(5.0, rel=0.03)
