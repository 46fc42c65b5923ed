"""What goes wrong with sensors and lines, and that the truth tells it."""

import json

import pytest

from simulators.instants import MINUTE, instant
from tests.simulators.floors import plant, run, said, values


def faulty(kind: str, size: float = 0.0, signal: str = "level", when: str = "") -> str:
    """A fault from half past five for an hour."""
    when = when or 'begin = "0d 05:30"\nend = "0d 06:30"'
    return (
        "[work]\nweekdays = []\n"
        f'[[each.fault]]\nsignal = "{signal}"\nkind = "{kind}"\nsize = {size}\n{when}\n'
    )


def levels(toml: str) -> list[float]:
    """Level readings from 05:00 to 07:00, one a minute."""
    return values(run(plant(toml), 2.01), "level")


CLEAN = levels("[work]\nweekdays = []\n")


def test_step_lasts_as_long_as_its_window():
    """15 mm more for an hour, nothing before and after."""
    read = levels(faulty("step", 15.0))
    off = [a - b for a, b in zip(read, CLEAN, strict=True)]
    assert off[:28] == pytest.approx([0.0] * 28, abs=1e-6)
    assert off[32:88] == pytest.approx([15.0] * 56, abs=1e-6)
    assert off[92:] == pytest.approx([0.0] * len(off[92:]), abs=1e-6)


def test_drift_grows_at_its_rate():
    """24 mm a day are half a millimetre after half an hour."""
    read = levels(faulty("drift", 24.0))
    assert read[60] - CLEAN[60] == pytest.approx(0.5, abs=0.04)


def test_stuck_repeats_its_first_value():
    """The same reading for the whole window."""
    read = levels(faulty("stuck"))
    assert len(set(read[32:88])) == 1
    assert len(set(read[:28])) > 1


def test_dropout_sends_nothing():
    """An hour without readings."""
    assert len(levels(faulty("dropout"))) == pytest.approx(len(CLEAN) - 60, abs=1)


def test_zero_and_unit_and_noise():
    """A reboot reads zero; another unit is a factor; noise scatters."""
    assert set(levels(faulty("zero"))[32:88]) == {0.0}
    assert levels(faulty("unit", 0.1))[60] == pytest.approx(CLEAN[60] / 10.0, abs=0.001)
    noisy = levels(faulty("noise", 5.0))[32:88]
    assert max(noisy) - min(noisy) > 8.0


def test_spikes_hit_the_first_reading_and_some_later_ones():
    """Some readings of the window are far off, up and down, the rest untouched."""
    read = levels(faulty("spike", 60.0))
    off = [abs(a - b) > 30.0 for a, b in zip(read, CLEAN, strict=True)]
    assert off.index(True) in (29, 30, 31)
    assert 3 <= sum(off) <= 25
    assert not any(off[92:])


def test_single_spike_is_seen_however_short():
    """A fault of a second between two readings still spoils one reading."""
    when = 'begin = "0d 05:30:20"\nend = "0d 05:30:21"'
    read = levels(faulty("spike", 60.0, when=when))
    off = [abs(a - b) > 30.0 for a, b in zip(read, CLEAN, strict=True)]
    assert sum(off) == 1


def test_garbage_is_no_reading():
    """Nonsense in place of payloads."""
    messages = run(plant(faulty("garbage")), 1.4)
    payloads = [m.payload for m in messages if m.topic.endswith("/level")]

    def is_reading(payload: bytes) -> bool:
        try:
            return isinstance(json.loads(payload)["value"], float)
        except (ValueError, TypeError):
            return False

    spoilt = [payload for payload in payloads if not is_reading(payload)]
    assert len(spoilt) > 40
    assert len({*spoilt}) > 3


def test_wrong_clock_shows_in_the_payload_alone():
    """A clock 25 minutes slow: the payload's time is off, the arrival is not."""
    messages = run(plant(faulty("clock", -1500.0)), 1.4)
    off = [
        m.at - instant(json.loads(m.payload)["time"])
        for m in messages
        if m.topic.endswith("/level")
    ]
    assert max(off) == pytest.approx(25 * MINUTE, abs=3000)
    assert min(off) < 3000


def test_duplicates_come_twice():
    """The same payload two times."""
    bodies = [m.payload for m in run(plant(faulty("duplicate")), 1.4) if "level" in m.topic]
    assert len(bodies) - len(set(bodies)) > 45


def test_late_messages_come_out_of_order():
    """Delayed readings arrive after younger ones."""
    bodies = said(run(plant(faulty("late", 300.0)), 2), "/level")
    times = [body["time"] for body in bodies]
    assert times != sorted(times)


def test_faults_at_random_come_as_often_as_stated():
    """Every two hours on average over ten days: about 120 windows, all in the truth."""
    floor = plant("days = 10\nstep_s = 60\n" + faulty("spike", 9.0, when="every_h = 2\n"))
    run(floor, 240)
    found = [record for record in floor.take_truth() if record["type"] == "fault"]
    assert 80 < len(found) < 165
    assert {record["signal"] for record in found} == {"level"}


def test_outage_with_a_buffer_delays_and_without_one_loses():
    """What a gateway kept comes in order right after the outage; without one it is gone."""
    outage = '[network]\noutage = [{{ begin = "0d 05:30", end = "0d 06:00", buffered = {} }}]\n'
    kept = [m for m in run(plant(outage.format("true")), 1.5) if m.topic.endswith("/level")]
    lost = [m for m in run(plant(outage.format("false")), 1.5) if m.topic.endswith("/level")]
    assert len(kept) == 90
    assert len(lost) == 60
    times = [json.loads(m.payload)["time"] for m in kept]
    assert times == sorted(times)
    burst = [m for m in kept if m.at - instant(json.loads(m.payload)["time"]) > 10_000]
    assert len(burst) == 30
    assert burst[-1].at - burst[0].at < 10_000
