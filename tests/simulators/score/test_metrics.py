"""Errors of many runs as a few numbers."""

import numpy as np
import pytest

from simulators.score.bootstrap import interval
from simulators.score.metrics import (
    coverage_of,
    errors_of,
    geometric_mean,
    ratio_of,
    yardstick_coverage_of,
    yardstick_tuning,
)
from simulators.score.yardstick import QUANTITIES
from tests.simulators.score.runs import a_run, sample


def with_volume(*samples, **more):
    """Runs that differ in their errors of the volume."""
    base = {name: sample(2.0, 1.0) for name in QUANTITIES}
    return [
        a_run(seed=i + 1, samples=base | {"volume": own}, **more) for i, own in enumerate(samples)
    ]


def test_a_ratio_is_that_of_root_mean_squares():
    """Errors of 3 and 1 against 1 and 1: sqrt(5)."""
    runs = with_volume(sample(3.0, 1.0), sample(1.0, 1.0))
    errors = errors_of(runs, "volume")

    assert errors.agent == pytest.approx(5.0**0.5)
    assert errors.yardstick == pytest.approx(1.0)
    assert errors.ratio == pytest.approx(5.0**0.5)
    assert errors.hourly == pytest.approx(3.0 * 5.0**0.5)
    assert errors.weekly is None


def test_sumps_of_a_scenario_count_alike():
    """A large sump does not drown a small one: ratios 4 and 1 are 2 together."""
    large = with_volume(sample(400.0, 100.0))
    small = with_volume(sample(1.0, 1.0), sump="m2")
    assert ratio_of([*large, *small], "volume") == pytest.approx(2.0)


def test_a_naive_way_is_set_against_the_yardstick_where_both_spoke():
    """Hourly errors of 9 against 2 are 4.5, whatever the agent said; weekly said nothing."""
    own = sample(3.0, 2.0)
    own.agent[:] = np.nan
    own.hourly[:4] = np.nan
    errors = errors_of(with_volume(own), "volume")

    assert errors.hourly_ratio == pytest.approx(4.5)
    assert errors.weekly_ratio is None
    assert ratio_of(with_volume(own), "volume", "hourly") == pytest.approx(4.5)


def test_a_badly_tuned_yardstick_shows():
    """Errors of 3 under sd's of 1 are 3; under sd's of 6 they are a half."""
    loud = {name: sample(1.0, 3.0, sd=1.0) for name in QUANTITIES}
    shy = {name: sample(1.0, 3.0, sd=6.0) for name in QUANTITIES}

    assert yardstick_tuning([a_run(samples=loud)]) == pytest.approx(3.0)
    assert yardstick_tuning([a_run(samples=shy)]) == pytest.approx(0.5)


def test_concentration_is_shown_in_percent():
    """An error of 0.01 is one percent of the mix."""
    base = {name: sample(0.01, 0.005) for name in QUANTITIES}
    assert errors_of([a_run(samples=base)], "concentration").agent == pytest.approx(1.0)


def test_only_hours_at_which_both_spoke_are_compared():
    """Silence is counted as silence, and kept out of errors and coverage."""
    own = sample(2.0, 1.0)
    own.agent[:5] = np.nan
    errors = errors_of(with_volume(own), "volume")

    assert (errors.hours, errors.silent) == (5, 0.5)
    assert errors.agent == pytest.approx(2.0)


def test_nothing_said_is_no_number():
    """An agent that never spoke has no error, no ratio and no coverage."""
    own = sample(2.0, 1.0)
    own.agent[:] = np.nan
    errors = errors_of(with_volume(own), "volume")

    assert (errors.agent, errors.ratio, errors.coverage, errors.coverage_end) == (None,) * 4
    assert errors.silent == 1.0


def test_coverage_counts_hours_within_two_sds():
    """Errors of 2 sd are within, of 2.1 are not; at the end the last hour counts."""
    runs = with_volume(sample(2.0, 1.0), sample(2.1, 1.0), sample(1.0, 1.0))
    errors = errors_of(runs, "volume")

    assert errors.coverage == pytest.approx(2.0 / 3.0)
    assert errors.coverage_end == pytest.approx(2.0 / 3.0)
    assert errors.yardstick_coverage == 1.0
    assert coverage_of(runs, ["volume"])[0] == pytest.approx(2.0 / 3.0)
    assert yardstick_coverage_of(runs, QUANTITIES)[0] == 1.0


def test_an_interval_is_by_run():
    """Runs that are all alike leave no doubt, runs that differ leave much; two runs are too few."""
    alike = errors_of(with_volume(*[sample(2.0, 1.0)] * 8), "volume")
    differ = errors_of(with_volume(*[sample(1.0, 1.0), sample(4.0, 1.0)] * 4), "volume")

    assert alike.ratio_interval == pytest.approx((2.0, 2.0))
    assert differ.ratio_interval[0] < differ.ratio < differ.ratio_interval[1]
    assert differ.ratio_interval[1] - differ.ratio_interval[0] > 1.0
    assert errors_of(with_volume(*[sample(2.0, 1.0)] * 2), "volume").ratio_interval is None


def test_the_interval_of_a_ratio_is_about_the_ratio():
    """Of a large sump at 1 and a small one at 4 it is about 2, where the pooled ratio is 1."""
    large = with_volume(*[sample(100.0, 100.0), sample(110.0, 100.0)] * 4)
    small = with_volume(*[sample(4.0, 1.0), sample(4.4, 1.0)] * 4, sump="m2")
    errors = errors_of([*large, *small], "volume")

    assert errors.ratio == pytest.approx(2.1, abs=0.01)
    assert 1.9 < errors.ratio_interval[0] < errors.ratio < errors.ratio_interval[1] < 2.3


def test_the_bootstrap_finds_the_spread_of_a_mean():
    """For the mean of 50 standard normals it gives +-1.96/sqrt(50), as theory has it."""
    draw = np.random.default_rng(5)
    widths = []
    for _ in range(20):
        rows = [(x, 1.0) for x in draw.normal(size=50)]
        low, high = interval(rows, lambda sums: sums[:, 0] / sums[:, 1])
        widths.append(high - low)

    assert np.mean(widths) == pytest.approx(2.0 * 1.96 / 50.0**0.5, rel=0.06)


def test_the_bootstrap_is_the_same_each_time():
    """Its draws are fixed, so that a table can be made again."""
    rows = [(x, 1.0) for x in (0.0, 1.0, 4.0, 9.0)]
    first, second = (interval(rows, lambda sums: sums[:, 0] / sums[:, 1]) for _ in range(2))
    assert first == second


def test_a_geometric_mean_is_of_what_there_is():
    """2 and 8 give 4, whatever is missing; of nothing there is none."""
    assert geometric_mean([2.0, None, 8.0]) == pytest.approx(4.0)
    assert geometric_mean([None]) is None
