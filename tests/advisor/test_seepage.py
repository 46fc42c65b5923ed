"""The slow test for a leak: what is lost at rest, judged stretch by stretch."""

import random

import pytest

from advisor.seepage import (
    CALLED,
    DRY,
    NO_REST,
    RARELY,
    Seepage,
    close_rest,
    is_called,
    judge_stretch,
    rate_of,
    take_volume,
)
from advisor.words import DAY, HOUR, MINUTE

TARGET = 350.0


def a_night(loss: float, *, hours: float = 7.0, sd: float = 0.3, seed: int = 1) -> object:
    """A stretch of rest that loses so much a day, a volume every ten minutes. [L/d], [L]"""
    dice, rest = random.Random(seed), NO_REST
    for at in range(0, round(hours * HOUR), 10 * MINUTE):
        rest = take_volume(rest, at, 350.0 - loss * at / DAY + dice.gauss(0.0, sd))
    return rest


def nights(losses: list[float], *, concentrate: float = 0.5, begin: Seepage = DRY) -> Seepage:
    """Take in nights one after the other."""
    for loss in losses:
        begin = judge_stretch(begin, (loss, 0.5), TARGET, concentrate)
    return begin


def test_the_rate_is_that_of_the_line_and_its_sd_is_true():
    """Over 300 nights of 2.5 L/d: unbiased, and no less certain than it says."""
    found = [rate_of(a_night(2.5, seed=seed)) for seed in range(300)]  # type: ignore[arg-type]  # a rest
    rates = [rate for rate, _ in found if rate is not None]
    off = [rate - 2.5 for rate in rates]

    assert len(rates) == 300
    assert abs(sum(off) / 300) < 0.15
    inside = sum(
        1 for each in found if each is not None and abs(each[0] - 2.5) < 2.0 * each[1] ** 0.5
    )
    assert inside / 300 > 0.95


def test_a_short_rest_says_nothing():
    """A lunch break is no stretch."""
    assert rate_of(a_night(2.5, hours=2.0)) is None  # type: ignore[arg-type]  # a rest
    assert close_rest(DRY, TARGET, 0.5) is DRY


def test_a_gap_begins_a_new_stretch():
    """Nobody knows what was poured while nothing was heard."""
    rest = take_volume(take_volume(NO_REST, 0, 350.0), 2 * HOUR, 340.0)

    assert (rest.begin, rest.slots) == (2 * HOUR, 1)


@pytest.mark.parametrize("seed", range(10))
def test_five_litres_a_day_more_are_called_within_four_nights(seed):
    """Ten usual nights, then 5 L/d of mix more, with their concentrate: three or four nights."""
    dice = random.Random(seed)
    usual = nights([2.5 + dice.gauss(0.0, 0.8) for _ in range(10)])
    after = nights([7.5 + dice.gauss(0.0, 0.8) for _ in range(4)], begin=usual)

    assert usual.score < CALLED
    assert is_called(after, before=False, strength=0.08, concentrate=0.9)
    assert after.rate == pytest.approx(5.0, abs=2.0)


def test_evaporation_alone_is_no_leak():
    """The same with the concentrate as before: nobody is told of a leak."""
    after = nights([2.5] * 8 + [7.5] * 6)

    assert after.score >= CALLED
    assert not is_called(after, before=False, strength=0.08, concentrate=0.5)


def test_a_single_odd_night_is_no_leak():
    """However much is gone in one night, one night is not enough."""
    after = nights([2.5] * 8 + [80.0], concentrate=5.0)

    assert not is_called(after, before=False, strength=0.08, concentrate=50.0)


def test_a_mended_leak_is_over_within_days():
    """A leak of two weeks, then usual nights: no longer called after three of them."""
    leaking = nights([2.5] * 8 + [7.5] * 14)
    mended = nights([2.5] * 3, begin=leaking)

    assert is_called(leaking, before=True, strength=0.08, concentrate=0.9)
    assert not is_called(mended, before=True, strength=0.08, concentrate=0.9)


def test_usual_nights_are_called_as_seldom_as_stated():
    """Normal scatter about what is usual: the mean time between false calls is as promised."""
    dice, seepage, calls = random.Random(5), DRY, 0
    stretches = round(10 * RARELY)
    for _ in range(stretches):
        seepage = judge_stretch(seepage, (max(2.5 + dice.gauss(0.0, 1.2), 0.0), 1.0), TARGET, 0.5)
        if seepage.score >= CALLED:
            calls += 1
            seepage = nights([2.5] * 20)

    assert calls <= 10
