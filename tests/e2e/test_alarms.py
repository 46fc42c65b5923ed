"""Every alarm through the replay of a small recording: raised, and withdrawn in its time."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from advisor.alarm_definitions import DEFINITIONS
from advisor.words import DAY, HOUR, MINUTE, Instant
from agent.plant.plant import Plant
from tests.e2e.alarm_recordings import (
    SUMP,
    Recording,
    Replayed,
    a_plant,
    said,
    text,
)

RETURNED, UNACKNOWLEDGED = "returned-unacknowledged", "unacknowledged"


@dataclass(frozen=True)
class Scenario:
    """A recording in which one alarm comes and goes."""

    alarm: str
    record: Callable[[], Recording]
    words: tuple[str, ...]
    """What its sentences say."""
    within: tuple[Instant, Instant] = (0, 3650 * DAY)
    """Earliest and latest moment at which it is raised, after the recording's begin. [ms]"""
    others: frozenset[str] = frozenset()
    """Alarms that may be raised beside it: consequences, and what the same trouble is too."""
    ends: str = RETURNED
    plant: Callable[[], Plant] = field(default=a_plant)
    about: str = SUMP

    @property
    def key(self) -> str:
        """The alarm as in its topic."""
        return f"{self.about}/{self.alarm}" if self.about else self.alarm


def beside(*names: str) -> frozenset[str]:
    """Alarms of the one sump."""
    return frozenset(f"{SUMP}/{name}" for name in names)


# --- level and concentration ----------------------------------------------------------------------


def a_low_level() -> Recording:
    """Drained to 140 mm by and by, then filled up."""
    record = Recording().hours(2).hours(5, level=110.0).hours(2)
    record.say(f"{SUMP}/addition", water_l=230.0, concentrate_l=20.0)
    return record.now_reads(level=345.0).hours(2)


def a_low_level_of_unknown_pumps() -> Recording:
    """The same fall, and nobody says whether the pumps run."""
    record = Recording()
    del record.values["running"]
    return record.hours(2).hours(5, level=110.0).hours(2)


def a_high_level() -> Recording:
    """Filled to 427 mm at rest, 12 mm above the limit, then drained."""
    record = Recording().now_reads(level=370.0).hours(2)
    record.say(f"{SUMP}/addition", water_l=23.0, concentrate_l=2.0)
    record.now_reads(level=394.0).hours(2).say(f"{SUMP}/drain", volume_l=60.0)
    return record.now_reads(level=337.0).hours(2)


def a_weak_mix() -> Recording:
    """110 L of plain water into 245 L of 8 %, then 10 L of concentrate."""
    record = Recording().now_reads(level=200.0).hours(2)
    record.say(f"{SUMP}/addition", water_l=110.0, concentrate_l=0.0)
    record.now_reads(level=305.0, brix=4.41).hours(2)
    record.say(f"{SUMP}/addition", water_l=0.0, concentrate_l=10.0)
    return record.now_reads(level=314.0, brix=6.5).hours(2)


def a_strong_mix() -> Recording:
    """14 L of concentrate into 350 L of 8 %, then 70 L of water."""
    record = Recording().now_reads(level=300.0).hours(2)
    record.say(f"{SUMP}/addition", water_l=0.0, concentrate_l=14.0)
    record.now_reads(level=313.0, brix=9.3).hours(2)
    record.say(f"{SUMP}/addition", water_l=70.0, concentrate_l=0.0)
    return record.now_reads(level=380.0, brix=7.8).hours(2)


# --- losses and gains -----------------------------------------------------------------------------


def a_dry_hall() -> Recording:
    """75 L of water a day instead of none, over a day; concentrate stays."""
    record = Recording(step=5)
    record.hours(20, level=345.0 - 60.0, brix=6.4 * 380.0 / 320.0)
    return record.hours(18)


def a_leak() -> Recording:
    """20 L of mix an hour for three hours, then mended."""
    return Recording(step=2).hours(6).hours(3, level=345.0 - 57.0).hours(30)


def a_slow_leak() -> Recording:
    """Eight ordinary days, then 5 L of mix a day more for five days, by day and night; mended."""
    record = Recording(step=10)
    for leak in [0.0] * 8 + [5.0] * 5 + [0.0] * 5:
        gone = leak / 24.0 / 1.05
        record.hours(16, level=345.0 - 14.0 - 16.0 * gone, brix=6.6)
        night = 345.0 - 14.0 - 16.0 * gone + 33.0
        record.now_reads(running=0.0, level=night).hours(7.5, level=night - 0.75 - 7.5 * gone)
        record.now_reads(running=1.0, level=night - 33.75 - 7.5 * gone).hours(0.5)
        record.say(f"{SUMP}/addition", water_l=15.2 + 0.92 * leak, concentrate_l=0.3 + 0.08 * leak)
        record.now_reads(level=345.0, brix=6.4)
    return record


def a_depletion() -> Recording:
    """Concentrate goes and no water with it; titrations say the same as the prism."""
    record = Recording(step=5).hours(24)
    for turn in range(1, 9):
        record.hours(4, brix=6.4 - 0.35 * turn, level=345.0 - 1.6 * turn)
        record.check("titration", 8.0 - 0.4375 * turn, unit="%")
    return record.hours(24)


def a_passing_valve() -> Recording:
    """37 L of water come in over half a day."""
    record = Recording(step=5).hours(6).hours(12, level=380.0, brix=6.4 * 380.0 / 415.0)
    return record.hours(36)


# --- sensors --------------------------------------------------------------------------------------


def a_blind_prism() -> Recording:
    """Checks find 1 % more than the inline refractometer, again and again, until it is cleaned."""
    record = Recording(step=5)
    for _ in range(4):
        record.hours(12).check("refractometer", 7.2, unit="degBrix")
    record.say(f"{SUMP}/service", kind="prism-cleaned")
    record.now_reads(brix=7.2).hours(12).check("refractometer", 7.2, unit="degBrix")
    return record.hours(12)


def a_torn_cable() -> Recording:
    """The level sensor says 5 mm for two hours."""
    record = Recording().hours(3).now_reads(level=5.0).hours(2)
    return record.now_reads(level=345.0).hours(2)


def a_silent_sensor() -> Recording:
    """Nothing of the refractometer for half an hour."""
    return Recording().hours(2).minutes(30, mute=["brix"]).minutes(30)


# --- people ---------------------------------------------------------------------------------------


def an_open_advice() -> Recording:
    """Low since the beginning; somebody tops up after a day and a half."""
    record = Recording(step=5).now_reads(level=225.0).hours(36)
    record.say(f"{SUMP}/addition", water_l=115.0, concentrate_l=10.0)
    return record.now_reads(level=344.0).hours(3)


def another_drum() -> Recording:
    """Concentrate out of the other drum; the fluid keeper has looked into it."""
    record = Recording().hours(1)
    record.say(f"{SUMP}/addition", water_l=0.0, concentrate_l=2.0, supply="drum-2", by="Ben")
    record.minutes(30).say(
        f"{SUMP}/alarm-command", alarm="wrong-concentrate", command="acknowledge"
    )
    record.say(f"{SUMP}/alarm-command", alarm="wrong-concentrate", command="reset", by="Ann")
    return record.minutes(10)


def a_missed_look() -> Recording:
    """Nobody looks for two days, then somebody does."""
    return Recording(step=10).hours(44).check("look", 0.0).hours(1)


def a_shutdown() -> Recording:
    """The pumps stand from Friday noon to Wednesday."""
    record = Recording(step=5).hours(2).now_reads(running=0.0, level=378.0).hours(24 * 4)
    return record.now_reads(running=1.0, level=345.0).hours(2)


def checked(kind: str, bad: float, good: float) -> Callable[[], Recording]:
    """A check beyond its limit, and an hour later one within it."""

    def record() -> Recording:
        return Recording().hours(1).check(kind, bad).hours(1).check(kind, good).minutes(10)

    return record


def drifted(signal: str, good: float, bad: float) -> Callable[[], Recording]:
    """An inline signal that leaves its band for some hours."""

    def record() -> Recording:
        grown = Recording().now_reads(**{signal: good}).hours(2)
        return grown.minutes(30, **{signal: bad}).hours(3).minutes(30, **{signal: good}).hours(3)

    return record


# --- the plant ------------------------------------------------------------------------------------


def a_lost_feed() -> Recording:
    """All four sumps are silent for an hour."""
    record = Recording(4).hours(1)
    return record.hours(1, mute=["level", "brix", "running"]).minutes(30)


def a_low_drum() -> Recording:
    """39 L of 200 are left; a new drum comes."""
    record = Recording().minutes(10).say("supply/drum-1/stock", volume_l=39.0).minutes(10)
    return record.say("supply/drum-1/stock", volume_l=200.0).minutes(10)


def an_old_lot() -> Recording:
    """A lot whose label says yesterday is replaced by one of next year."""
    record = Recording().minutes(10)
    record.say("supply/drum-1/stock", volume_l=150.0, lot="L7", expires="2026-03-01").minutes(10)
    record.say("supply/drum-1/stock", volume_l=150.0, lot="L8", expires="2027-03-01")
    return record.minutes(10)


def daily_looks() -> Plant:
    """A plant that asks for a look each day."""
    return a_plant(more="[sump.checks]\nlook_d = 1\n")


SCENARIOS = [
    Scenario(
        "level-low",
        a_low_level,
        ("the low limit is 180 mm", "top up"),
        others=beside("mix-loss-high"),
    ),
    Scenario(
        "level-low",
        a_low_level_of_unknown_pumps,
        ("the low limit is 180 mm", "top up"),
        within=(5 * HOUR, 8 * HOUR),
        others=beside("mix-loss-high"),
        ends=UNACKNOWLEDGED,
    ),
    Scenario(
        "level-high",
        a_high_level,
        ("the high limit is 415 mm", "add nothing"),
        within=(2 * HOUR + 35 * MINUTE, 3 * HOUR),
    ),
    Scenario(
        "concentration-low",
        a_weak_mix,
        ("the band begins at 6 %",),
        within=(2 * HOUR + 30 * MINUTE, 3 * HOUR),
    ),
    Scenario(
        "concentration-high",
        a_strong_mix,
        ("the band ends at 10 %",),
        within=(2 * HOUR + 30 * MINUTE, 3 * HOUR),
    ),
    Scenario(
        "water-loss-high",
        a_dry_hall,
        ("more water leaves",),
        within=(12 * HOUR, DAY),
        others=beside("advice-open"),
    ),
    Scenario("mix-loss-high", a_leak, ("look for the leak",), within=(6 * HOUR, 7 * HOUR)),
    Scenario(
        "mix-loss-high",
        a_slow_leak,
        ("look for the leak", "more mix leaves"),
        within=(8 * DAY, 12 * DAY),
    ),
    Scenario(
        "concentrate-loss-high",
        a_depletion,
        ("more concentrate leaves",),
        others=beside("sensor-drift/brix", "concentration-low", "advice-open"),
    ),
    Scenario("water-gain", a_passing_valve, ("find the water",), within=(6 * HOUR, 18 * HOUR)),
    Scenario("sensor-drift/brix", a_blind_prism, ("clean the sensor",)),
    Scenario(
        "sensor-fault/level",
        a_torn_cable,
        ("look at the sensor",),
        within=(3 * HOUR, 4 * HOUR),
    ),
    Scenario(
        "signal-stale/brix",
        a_silent_sensor,
        ("nothing heard for",),
        within=(2 * HOUR + 10 * MINUTE, 2 * HOUR + 15 * MINUTE),
    ),
    Scenario(
        "advice-open",
        an_open_advice,
        ("has been advised for", "carry out the advice"),
        within=(DAY, DAY + HOUR),
    ),
    Scenario(
        "wrong-concentrate",
        another_drum,
        ("2 L of synth-b poured by Ben", "the sump runs on semi-a"),
        within=(HOUR, HOUR + MINUTE),
        ends="normal",
    ),
    Scenario(
        "ph-out-of-band",
        drifted("ph", 9.1, 8.0),
        ("the band begins at 8.6",),
        within=(2 * HOUR + 30 * MINUTE, 4 * HOUR),
    ),
    Scenario(
        "conductivity-out-of-band",
        drifted("conductivity", 2.0, 5.0),
        ("the band ends at 4 mS/cm",),
        within=(2 * HOUR + 30 * MINUTE, 4 * HOUR),
    ),
    Scenario("hardness-high", checked("hardness", 700.0, 300.0), ("700 mg/L", "softened")),
    Scenario("chloride-high", checked("chloride", 200.0, 80.0), ("200 mg/L", "low in chloride")),
    Scenario("nitrite-high", checked("nitrite", 25.0, 5.0), ("act above 20 mg/L", "NDELA")),
    Scenario("bacteria-high", checked("dip-slide", 1e6, 1e3), ("act at once",)),
    Scenario("tramp-oil-high", checked("tramp-oil", 4.0, 0.5), ("at most 2 %", "skim")),
    Scenario(
        "stagnant",
        a_shutdown,
        ("the pumps have stood still for",),
        within=(3 * DAY, 3 * DAY + 3 * HOUR),
    ),
    Scenario(
        "check-overdue",
        a_missed_look,
        ("not checked: look for",),
        within=(36 * HOUR, 37 * HOUR),
        plant=daily_looks,
    ),
    Scenario(
        "feed-lost",
        a_lost_feed,
        ("4 of 4 sumps silent",),
        within=(HOUR + 10 * MINUTE, HOUR + 13 * MINUTE),
        plant=lambda: a_plant(4),
        about="",
    ),
    Scenario("stock-low", a_low_drum, ("39 L are left", "ordered at 40 L"), about="supply/drum-1"),
    Scenario("expired", an_old_lot, ("lot L7 expired",), about="supply/drum-1"),
]


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.alarm)
def test_it_is_raised_in_its_time_and_withdrawn_and_nothing_else_is(scenario: Scenario):
    """Raised once, in the time that its physics allows, with its words; gone with its reason."""
    record = scenario.record()
    begin = record.items[0].at // HOUR * HOUR
    told = Replayed(record, scenario.plant())

    assert scenario.key in told.raised(), told.timeline()
    first = told.first(scenario.key)
    earliest, latest = scenario.within
    assert earliest <= first.at - begin <= latest, told.timeline()
    assert said(first.body, scenario.words), first.body
    assert told.states(scenario.key).count(UNACKNOWLEDGED) == 1, told.timeline()
    assert told.states(scenario.key)[-1] == scenario.ends, told.timeline()
    assert told.raised() - {scenario.key} <= scenario.others, told.timeline()


def test_every_alarm_has_a_scenario():
    """All but the two that a recording alone cannot hold: they have tests of their own.

    What waits for the historian is no message (`tests/agent/alarms/test_plant_alarms.py`), and a
    station answers setpoints that only a replay gives (below).
    """
    covered = {scenario.alarm.partition("/")[0] for scenario in SCENARIOS}

    assert covered == set(DEFINITIONS) - {"historian-behind", "delivery-differs"}


STATION = """
[sump.station]
automatic = true
max_dose_l = 40
max_day_l = 120
"""


def test_a_station_that_fails_is_told_until_somebody_has_looked_into_it():
    """The setpoint that a first replay gives is answered with a fault in the second."""

    def begun() -> Recording:
        return Recording().now_reads(level=225.0).hours(4)

    plant = a_plant(more=STATION)
    first = Replayed(begun(), plant)
    (setpoint, *_) = [m for m in first.messages if m.topic.endswith("/setpoint")]
    ident = json.loads(setpoint.payload)["id"]
    record = Recording().now_reads(level=225.0)
    record.minutes((setpoint.at - begun().items[0].at) // MINUTE + 2)
    record.say(f"{SUMP}/accepted", setpoint=ident, accepted=True)
    record.say(
        f"{SUMP}/delivered",
        setpoint=ident,
        water_l=0.0,
        concentrate_l=0.0,
        finished=True,
        fault="no flow",
    )
    record.minutes(10).say(f"{SUMP}/alarm-command", alarm="delivery-differs", command="acknowledge")
    record.say(f"{SUMP}/alarm-command", alarm="delivery-differs", command="reset", by="Ann")
    told = Replayed(record.minutes(2), plant)

    key = f"{SUMP}/delivery-differs"
    assert told.states(key)[0] == UNACKNOWLEDGED
    assert said(told.first(key).body, ("no flow", "stop the station"))
    assert "normal" in told.states(key)


def test_good_days_raise_nothing():
    """A sump that loses what sumps lose, is topped up and checked: not one alarm in four days."""
    record = Recording(step=5)
    level, brix = 345.0, 6.4
    for _ in range(4):
        record.hours(16, level=level - 14.0, brix=brix + 0.2)
        record.now_reads(running=0.0, level=level - 14.0 + 33.0).hours(7.5)
        record.now_reads(running=1.0, level=level - 14.0).hours(0.5)
        record.say(f"{SUMP}/addition", water_l=14.5, concentrate_l=0.3)
        record.now_reads(level=level, brix=brix)
        record.check("refractometer", 6.4, unit="degBrix").check("ph", 9.1)
    told = Replayed(record)

    assert told.raised() == set(), told.timeline()


def test_an_outage_of_a_shop_is_one_alarm_and_no_flood():
    """Forty sumps silent for two hours, and back one after another: one alarm in all."""
    record = Recording(40, step=2).hours(1).hours(2, mute=["level", "brix", "running"])
    end = record.now
    told = Replayed(record.hours(1), a_plant(40))

    assert told.raised() == {"feed-lost"}
    meanwhile = [t for t in told.told if t.state == "suppressed" and t.at <= end]
    assert len({t.about for t in meanwhile}) == 80
    assert {t.body["because_of"] for t in meanwhile} == {"feed-lost"}


def test_a_moment_in_a_message_is_the_moment_of_the_recording():
    """Delays run on the recording's clock: the same recording gives the same times."""
    first, second = Replayed(a_low_drum()), Replayed(a_low_drum())

    assert [m.payload for m in first.messages] == [m.payload for m in second.messages]
    told = first.first("supply/drum-1/stock-low")
    assert told.body["raised_at"] == text(told.at)
