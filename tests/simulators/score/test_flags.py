"""Faults found and flags without a cause."""

import pytest

from simulators.instants import HOUR, MINUTE
from simulators.score.flags import judge_flags
from simulators.score.published import AlarmWord, Published, StateWord
from simulators.score.told import Blemish, Sight
from tests.simulators.score.witnesses import BEGIN, made_up, poured


def at(minute: float) -> int:
    """So many minutes after the beginning. [ms]"""
    return BEGIN + round(minute * MINUTE)


def published(*flagged: tuple[float, float], signal: str = "level", word: str = "suspect"):
    """A state each minute of ten hours, the signal flagged from minute to minute."""
    said = Published()
    for minute in range(600):
        bad = any(first <= minute < last for first, last in flagged)
        good = {"level": "good", "brix": "good"}
        signals = good | {signal: word} if bad else good
        said.states.append(
            StateWord(
                at(minute), at(minute), None, None, None, (None, None), 0.0, (None, None), signals
            )
        )
    return said


def step(begin: float, end: float, kind: str = "step") -> Blemish:
    """A fault of the level."""
    return Blemish("level", kind, at(begin), at(end))


def judged(blemishes, said, effects=(), **more):
    """Faults and false flags of a made-up sump."""
    witness = made_up(hours=10)
    witness.blemishes = list(blemishes)
    for name, value in more.items():
        setattr(witness, name, value)
    return judge_flags(witness, said, list(effects))


def test_a_fault_counts_from_where_it_shows():
    """The delay runs from the first reading more than four sd's off, not from the beginning."""
    effects = [("level", at(100 + i), 0.1 * i) for i in range(60)]
    flags = judged([step(100, 160, "drift")], published((150, 170)), effects)

    assert len(flags.faults) == 1
    assert flags.faults[0].shows == at(141)
    assert flags.faults[0].delay == pytest.approx(9.0)
    assert flags.false == []


def test_a_fault_that_never_shows_counts_for_nothing():
    """Below four sd's nobody is asked to find it, and a flag on it is not false."""
    effects = [("level", at(100 + i), 3.9) for i in range(60)]
    flags = judged([step(100, 160)], published((120, 170)), effects)

    assert (flags.faults, flags.false) == ([], [])


def test_a_fault_that_is_not_flagged_is_missed():
    """Without a flag from when it shows until half an hour after its end it is not found."""
    effects = [("level", at(100), 9.0)]
    assert not judged([step(100, 160)], published(), effects).faults[0].flagged
    late = judged([step(100, 160)], published((191, 200)), effects)
    assert not late.faults[0].flagged
    assert judged([step(100, 160)], published((189, 200)), effects).faults[0].flagged


def test_an_alarm_is_a_flag():
    """A sensor-fault alarm flags a fault as the state's word does."""
    said = published()
    said.alarms = [
        AlarmWord(at(110), "sensor-fault", "level", active=True),
        AlarmWord(at(170), "sensor-fault", "level", active=False),
    ]
    flags = judged([step(100, 160)], said, [("level", at(100), 9.0)])
    assert flags.faults[0].delay == pytest.approx(10.0)


def test_silence_counts_once_it_is_stale():
    """A dropout shows after ten intervals; a shorter one is nothing."""
    flags = judged([step(100, 160, "dropout")], published((112, 160), word="stale"))
    assert flags.faults[0].shows == at(110)
    assert flags.faults[0].delay == pytest.approx(2.0)
    assert judged([step(100, 109, "dropout")], published()).faults == []


def test_a_flag_without_a_cause_is_false():
    """Flagged where nothing was wrong; six hours after a fault the excuse has run out."""
    assert len(judged([], published((300, 320))).false) == 1
    assert judged([step(0, 10)], published((300, 320))).false == []
    assert len(judged([step(0, 10)], published((380, 400))).false) == 1


def test_flags_that_overlap_are_one():
    """State and alarm on the same trouble are one flag."""
    said = published((300, 320))
    said.alarms = [
        AlarmWord(at(310), "sensor-fault", "level", active=True),
        AlarmWord(at(330), "sensor-fault", "level", active=False),
    ]
    assert [(b, e) for _, b, e in judged([], said).false] == [(at(300), at(330))]


def test_a_bubble_excuses_a_short_flag_and_no_long_one():
    """A spoilt reading accounts for minutes of doubt, not for an hour."""
    bubble = Sight(at(299), True, 0.0, 1.0, True, {"brix": 5.0}, {"brix": 6.4})
    short = published((300, 302), signal="brix")
    long = published((300, 360), signal="brix")
    assert judged([], short, sights=[bubble]).false == []
    assert len(judged([], long, sights=[bubble]).false) == 1


def test_a_change_out_excuses_its_flags():
    """While the sensors are out of the tank, and a while after, flags have a cause."""
    charge = poured(200, 300.0, lasts=20, kind="charge")
    said = published((110, 330))
    assert judged([], said, happenings=[charge]).false == []
    assert at(0) + HOUR == at(60)
