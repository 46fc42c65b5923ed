"""Counts over many runs."""

import pytest

from simulators.instants import MINUTE
from simulators.score.dosing import Poured
from simulators.score.flags import Flags
from simulators.score.matching import Matched, Story
from simulators.score.tallies import tally_advice, tally_events, tally_faults
from tests.simulators.score.runs import a_run, fault, found
from tests.simulators.score.test_matching import word
from tests.simulators.score.witnesses import BEGIN


def with_events(*events, false=0, published=None):
    """A run with these true events, so many published ones of which some are false."""
    stories = [Story(f"f{i}", [word(900, f"f{i}")]) for i in range(false)]
    told = sum(event.told for event in events) + false
    return a_run(events=Matched(list(events), stories, told if published is None else published))


def test_recall_is_of_large_ones_that_nobody_told():
    """Reported and metered ones, and those near a start, are counted apart."""
    tally = tally_events(
        [
            with_events(
                found(),
                found(told=False),
                found(near_start=True),
                found(reported=True),
                found(told=False, metered=True),
            )
        ]
    )
    assert (tally.unknown, tally.recall) == (3, pytest.approx(2 / 3))
    assert (tally.at_start, tally.recall_at_start) == (1, 1.0)
    assert (tally.known, tally.recall_known) == (2, 0.5)


def test_precision_is_of_all_that_was_published():
    """Three true and one false: three quarters; in 10 days one false is nine in 90."""
    tally = tally_events([with_events(found(), found(), found(), false=1)])

    assert (tally.published, tally.precision) == (4, 0.75)
    assert tally.false_per_90_days == pytest.approx(9.0)


def test_soon_is_of_all_large_unknown_ones():
    """What was never told was not told soon either; 20 minutes are soon, 21 are not."""
    run = with_events(found(delay=20.0), found(delay=21.0), found(told=False), found(delay=1.0))
    tally = tally_events([run])

    assert tally.soon == 0.5
    assert tally.median_delay == 20.0


def test_errors_are_held_against_their_sds():
    """Errors of 1 and 3 sd: an rms of sqrt(5), half of them within 2."""
    tally = tally_events([with_events(found(z=1.0), found(z=3.0))])

    assert (tally.volume.count, tally.volume.rms_z) == (2, pytest.approx(5.0**0.5))
    assert tally.strength.covered == 0.5


def test_faults_are_counted_by_kind_and_length():
    """Short ones are faults but not lasting ones; delays are of those that were flagged."""
    faults = [fault(), fault(delay=10.0), fault(flagged=False), fault(lasts=2.0, flagged=False)]
    false = [("level", BEGIN, BEGIN + MINUTE)]
    tally = tally_faults([a_run(flags=Flags(faults, false))])

    assert (tally.shown, tally.flagged) == (4, 0.5)
    assert (tally.lasting, tally.lasting_flagged) == (3, pytest.approx(2 / 3))
    assert tally.median_delay == pytest.approx(7.0)
    assert tally.by_kind == {"level step": (4, 2)}
    assert tally.false_per_90_days == pytest.approx(9.0)


def test_advice_is_counted_where_it_ends():
    """In the band afterwards, over the brim, and how far off the target."""
    good = Poured(BEGIN, "top-up", True, False, 0.003, 0.9)
    over = Poured(BEGIN, "top-up", False, True, -0.004, 1.02)
    tally = tally_advice([a_run(advice=[good, over])])

    assert (tally.count, tally.in_band, tally.was_in_band) == (2, 0.5, 0.5)
    assert (tally.overfill, tally.fullest) == (1, 1.02)
    assert tally.off_target == pytest.approx(100.0 * (12.5e-6**0.5))


def test_nothing_counted_is_no_share():
    """Without events, faults and advice there is no recall, no share, and no division by zero."""
    empty = a_run(events=Matched([], [], 0), advice=[])

    assert tally_events([empty]).recall is None
    assert tally_events([empty]).precision is None
    assert tally_faults([empty]).lasting_flagged is None
    assert tally_advice([empty]).in_band is None
