"""Which published event is which true one: the rule, case by case."""

from dataclasses import replace

import numpy as np
import pytest

from simulators.instants import MINUTE
from simulators.score.matching import match
from simulators.score.published import EventWord
from tests.simulators.score.witnesses import BEGIN, made_up, poured


def word(minute: float, name: str = "a", clock: float | None = None, **more: object) -> EventWord:
    """An account of 20 L begun so many minutes after the beginning, told five minutes later."""
    known: dict[str, object] = {
        "kind": "addition", "source": "inferred", "volume": (20.0, 1.0), "strength": (0.04, 0.01),
    }  # fmt: skip
    at = BEGIN + round(minute * MINUTE)
    told = at + 5 * MINUTE if clock is None else BEGIN + round(clock * MINUTE)
    return EventWord(clock=told, id=name, at=at, **(known | more))


def matched(events, words, **tracks):
    """What comes of true events and published words."""
    witness = made_up(**tracks)
    witness.happenings = list(events)
    return match(witness, words)


def test_an_event_is_found_once():
    """One pouring, one account: found, with its delay from the first drop, nothing false."""
    result = matched([poured(600)], [word(601)])

    assert [found.told for found in result.found] == [True]
    assert result.found[0].delay == pytest.approx(6.0)
    assert result.found[0].large
    assert (result.false, result.published) == ([], 1)


@pytest.mark.parametrize(("minute", "told"), [(569, False), (571, True), (631, True), (633, False)])
def test_half_an_hour_is_the_limit(minute, told):
    """From half an hour before the first drop to half an hour after the last, and no farther."""
    result = matched([poured(600, lasts=2.0)], [word(minute)])

    assert result.found[0].told is told
    assert len(result.false) == (0 if told else 1)


def test_in_and_out_are_never_the_same():
    """A drain does not find an addition, nor the other way round."""
    result = matched([poured(600)], [word(600, kind="drain")])

    assert not result.found[0].told
    assert len(result.false) == 1
    assert matched([poured(600, kind="drain")], [word(600, kind="drain")]).found[0].told


def test_what_is_told_twice_is_false_once():
    """Of two accounts of one pouring the closer is it, the other one is false."""
    result = matched([poured(600)], [word(598, "early"), word(610, "late")])

    assert result.found[0].told
    assert [story.id for story in result.false] == ["late"]
    assert result.published == 2


def test_each_of_two_pourings_has_its_own():
    """Two pourings within the limit of each other are matched by their beginnings."""
    result = matched([poured(600), poured(620)], [word(621, "b"), word(601, "a")])

    assert [found.told for found in result.found] == [True, True]
    assert [found.delay for found in result.found] == [pytest.approx(6.0), pytest.approx(6.0)]


def test_a_better_account_is_the_same_event():
    """The last account is judged, the first one counts for the delay."""
    words = [word(600, clock=604), word(600, clock=640, volume=(21.0, 0.5), strength=(0.05, 0.002))]
    found = matched([poured(600, 21.5)], words).found[0]

    assert found.delay == pytest.approx(4.0)
    assert found.volume == pytest.approx((-0.5, 0.5))
    assert found.strength == pytest.approx((0.01, 0.002))


def test_a_strength_is_told_when_it_has_settled():
    """Its delay runs from the pumps running with all of it in to the first sd near the last."""
    running = np.zeros(2880)
    running[630:] = 1.0
    words = [
        word(600, clock=604, strength=(0.04, 0.2)),
        word(600, clock=638, strength=(0.05, 0.006)),
        word(600, clock=700, strength=(0.05, 0.005)),
    ]
    found = matched([poured(600)], words, running=running).found[0]
    assert found.strength_delay == pytest.approx(7.0)

    running[:] = 1.0
    found = matched([poured(600, lasts=2.0)], words, running=running).found[0]
    assert found.strength_delay == pytest.approx(36.0, abs=1.0)


def test_a_withdrawn_event_was_false_unless_something_was_there():
    """Taken back: false where nothing happened, no harm where another id tells it."""
    taken = replace(word(900, "t"), kind="withdrawn", volume=None, strength=None)
    result = matched([poured(600)], [word(600, "a"), word(900, "t"), taken])
    assert [story.id for story in result.false] == ["t"]
    assert result.published == 2

    back = replace(word(601, "t"), kind="withdrawn", volume=None, strength=None)
    result = matched([poured(600)], [word(601, "t"), back, word(600, "a")])
    assert (result.false, result.published) == ([], 1)
    assert result.found[0].told


def test_what_was_taken_back_is_not_found():
    """An event whose only account was withdrawn is missed."""
    taken = replace(word(600), kind="withdrawn", volume=None, strength=None)
    assert not matched([poured(600)], [word(600), taken]).found[0].told


def test_large_is_ten_litres_or_three_percent():
    """The larger of 10 L and 3 % of the volume at the brim: of 400 L that is 12 L."""
    result = matched([poured(600, 11.9), poured(900, 12.0)], [])
    assert [found.large for found in result.found] == [False, True]


def test_emptying_may_be_part_of_the_charge():
    """A drain of everything that nobody tells is not missed; told, it is found."""
    emptied = poured(600, 290.0, kind="drain", all=True)
    charge = poured(640, 300.0, kind="charge")

    result = matched([emptied, charge], [word(640, kind="charge")])
    assert [found.event.kind for found in result.found] == ["charge"]
    assert len(matched([emptied], [word(600, kind="drain")]).found) == 1
