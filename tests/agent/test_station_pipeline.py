"""Automatic dosing through the whole pipeline, with a station that keeps the protocol or fails."""

import json
from pathlib import Path
from typing import Any

import pytest

from advisor.estimate import SCHEMA
from advisor.words import MINUTE, Delivery
from agent.arrival import Arrival, Outgoing, Tick
from agent.instants import text_of
from agent.pipeline import Pipeline
from agent.plant.load import parse_plant
from agent.store.ledger import Ledger
from tests.a_station import AStation, Saying
from tests.e2e.plant_north import PLANT, PREFIX, START

STATION = """
[sump.signals.water_meter]
topic = "north/mill-07/water"
unit = "L"

[sump.signals.concentrate_meter]
topic = "north/mill-07/concentrate"
unit = "L"

[sump.station]
automatic = true
max_dose_l = 40
max_day_l = 120
"""
TEXT = PLANT.format(port=1883).replace("needs_flow = false", "needs_flow = true") + STATION
BEGIN = 1000 * START
ABOUT = f"{PREFIX}/mill-07"


class Shop:
    """One sump at a pipeline with a ledger in memory, and its station."""

    def __init__(self, text: str = TEXT, station: AStation | None = None) -> None:
        self.plant = parse_plant(text, Path("north.toml"))
        self.ledger = Ledger.open(None, belief_schema=SCHEMA)
        self.pipeline = Pipeline(self.plant, self.ledger)
        self.station = station or AStation()
        self.now = BEGIN
        self.volume = 372.0
        self.flow = 6.0
        """What the station pours in a minute. [L]"""
        self.silent = False
        """No readings come."""
        self.deaf = False
        """The station hears nothing."""
        self.times = 1
        """How often each message comes, both ways."""
        self.told: list[Outgoing] = []

    def take(self, *items: Arrival | Tick) -> None:
        """Take items in, commit, and let the station hear what was published."""
        for item in items:
            self.pipeline.take(item)
        fresh = [outgoing for _, outgoing in self.pipeline.published]
        self.ledger.commit(self.pipeline.seal())
        self.told += fresh
        for outgoing in fresh * self.times if self.times > 1 else fresh:
            what = outgoing.topic.rpartition("/")[2]
            if what in ("setpoint", "lease") and not self.deaf:
                self.say(*self.station.hear(what, json.loads(outgoing.payload), self.now))

    def say(self, *sayings: Saying) -> None:
        """The station speaks."""
        for what, body in sayings:
            arrival = Arrival(self.now, f"{ABOUT}/{what}", json.dumps(body).encode())
            self.take(*[arrival] * self.times)

    def minute(self, count: int = 1) -> None:
        """Minutes pass: the station pours, the sensors tell, the clock ticks."""
        for _ in range(count):
            self.now += MINUTE
            before = self.station.memory.water_total + self.station.memory.concentrate_total
            said = self.station.pour(self.flow, self.now)
            poured = self.station.memory.water_total + self.station.memory.concentrate_total
            self.volume += poured - before
            if not self.silent:
                self.take(*self.readings())
            self.say(*said)
            self.take(Tick(self.now + 15_000))

    def readings(self) -> list[Arrival]:
        """What the sensors say: pumps run, 35 L are up, 6.4 °Brix are 8 %."""
        memory = self.station.memory
        values = {
            "pumps": "on",
            "level": json.dumps({"v": (self.volume - 35.0) / 1.05, "t": text_of(self.now)}),
            "brix": json.dumps({"v": 6.4, "t": text_of(self.now)}),
            "water": f"{memory.water_total:.2f}",
            "concentrate": f"{memory.concentrate_total:.3f}",
        }
        return [
            Arrival(self.now, f"north/mill-07/{name}", value.encode())
            for name, value in values.items()
        ]

    def restart(self) -> None:
        """The agent goes on with what is stored."""
        self.pipeline = Pipeline(self.plant, self.ledger)

    def until_asked(self, count: int = 1) -> dict[str, Any]:
        """Wait for so many setpoints in all; the last one."""
        for _ in range(240):
            if len(self.bodies("setpoint")) >= count:
                return self.bodies("setpoint")[-1]
            self.minute()
        raise AssertionError(f"{count} setpoints did not come")

    def bodies(self, what: str) -> list[dict[str, Any]]:
        """All that was published on a topic of the sump."""
        told = [outgoing for outgoing in self.told if outgoing.topic == f"{ABOUT}/{what}"]
        return [json.loads(outgoing.payload) for outgoing in told if outgoing.payload]

    @property
    def alarm(self) -> dict[str, Any] | None:
        """`delivery-differs` as told last."""
        told = self.bodies("alarm/delivery-differs")
        return told[-1] if told else None

    def poured(self, asked: dict[str, Any]) -> bool:
        """Whether exactly what was asked for has been poured, in all."""
        memory = self.station.memory
        return (memory.water_total, memory.concentrate_total) == (
            pytest.approx(asked["water_l"], abs=0.02),
            pytest.approx(asked["concentrate_l"], abs=0.02),
        )


def refusals(shop: Shop) -> list[str]:
    """Details of all refusals, oldest first."""
    return [refusal.detail for _, refusal in reversed(shop.ledger.refusals(100))]


def test_a_dose_from_setpoint_to_report():
    """Asked, answered, poured, reported: the balance has it, no alarm, one lease at most."""
    shop = Shop()
    asked = shop.until_asked()
    shop.minute(20)

    assert shop.poured(asked)
    assert asked["sump"] == "mill-07"
    assert asked["advice"] in {advice["id"] for advice in shop.bodies("advice")}
    assert asked["stop_at_level"]["unit"] == "mm"
    assert asked["water_meter_end_l"] == pytest.approx(asked["water_l"], abs=0.01)
    assert shop.alarm is None
    assert refusals(shop) == []
    added = shop.bodies("state")[-1]["added_total"]
    assert added["water_l"]["value"] == pytest.approx(asked["water_l"], abs=0.5)
    assert len(shop.bodies("setpoint")) == 1


def test_the_next_dose_has_another_id():
    """Little and often: each with an advice of its own."""
    shop = Shop()
    first = shop.until_asked()
    shop.minute(40)
    shop.volume -= 15.0
    second = shop.until_asked(2)

    assert first["id"] != second["id"]
    assert first["advice"] != second["advice"]
    shop.minute(20)
    assert shop.alarm is None


@pytest.mark.parametrize("step", ["asked", "accepted", "pouring", "reported"])
@pytest.mark.parametrize("away", [0, 3])
def test_a_restart_at_any_step_pours_once_and_goes_on(step, away):
    """The open setpoint is stored with the messages that it led to."""
    shop = Shop()
    shop.flow = 2.0
    shop.deaf = step == "asked"
    asked = shop.until_asked()
    shop.minute({"asked": 0, "accepted": 0, "pouring": 3, "reported": 14}[step])
    shop.now += away * MINUTE
    shop.restart()
    if shop.deaf:
        shop.deaf = False
        shop.say(*shop.station.hear("setpoint", asked, shop.now))
    shop.minute(20)

    assert len(shop.bodies("setpoint")) == 1
    assert shop.poured(asked)
    assert shop.alarm is None


def test_away_for_longer_than_the_lease_the_station_stops_by_itself():
    """Its report closes the setpoint after the restart, what was poured counts, nothing pauses."""
    shop = Shop()
    shop.flow = 1.0
    asked = shop.until_asked()
    shop.minute(2)
    shop.now += 30 * MINUTE
    stopped = shop.station.pour(1.0, shop.now)
    shop.restart()
    shop.say(*stopped)
    shop.minute(10)

    assert stopped[0][1]["fault"] == "lease ran out"
    assert not shop.poured(asked)
    assert shop.alarm is None
    shop.until_asked(2)


def test_every_message_three_times_pours_and_counts_once():
    """Setpoints, leases, answers and reports."""
    shop = Shop()
    shop.times = 3
    shop.flow = 1.5
    asked = shop.until_asked()
    shop.minute(30)

    assert shop.poured(asked)
    assert len(shop.bodies("setpoint")) == 1
    assert shop.alarm is None
    deliveries = [e for e in shop.ledger.evidence("mill-07", 0) if isinstance(e, Delivery)]
    assert len(deliveries) == len({d.at for d in deliveries})


@pytest.mark.parametrize(
    ("off", "said"),
    [
        (4 * MINUTE, "ahead by 4 min"),
        (7 * MINUTE, "ahead by 7 min"),
        (-5 * MINUTE, "behind by at least"),
        (-9 * 1440 * MINUTE, "behind by at least"),
    ],
)
def test_a_station_with_a_wrong_clock_is_stopped_and_told(off, said):
    """Also where its messages are refused since they lie in the future or too far back."""
    shop = Shop(station=AStation(clock_off=off))
    shop.flow = 1.0
    shop.until_asked()
    shop.minute(3)

    assert shop.alarm is not None
    assert said in shop.alarm["cause"]
    assert shop.station.memory.dose is None
    assert shop.volume < 376.0


def test_without_readings_the_lease_ends():
    """The level has not been heard for a quarter of an hour."""
    shop = Shop()
    shop.flow = 0.4
    shop.until_asked()
    shop.silent = True
    shop.minute(20)

    ends = [lease for lease in shop.bodies("lease") if lease["until"] <= text_of(shop.now)]
    assert ends
    assert shop.station.memory.dose is None
    assert shop.alarm is None


def test_a_fault_pauses_until_the_alarm_is_reset():
    """An order on `delivery-differs`; acknowledged alone it stays paused."""
    shop = Shop()
    asked = shop.until_asked()
    report = {
        "at": text_of(shop.now),
        "setpoint": asked["id"],
        "water_l": 3.0,
        "concentrate_l": 0.0,
        "finished": True,
        "fault": "drum empty",
    }
    shop.station.memory.dose = None
    shop.say(("delivered", report))
    assert shop.alarm is not None
    assert (shop.alarm["state"], shop.alarm["active"]) == ("unacknowledged", True)
    assert "drum empty" in shop.alarm["cause"]

    shop.volume -= 10.0
    order(shop, "reset")
    assert "its condition still stands" in refusals(shop)[-1]
    shop.minute(90)
    order(shop, "acknowledge")
    shop.minute(30)
    assert len(shop.bodies("setpoint")) == 1
    assert shop.alarm["state"] == "latched-acknowledged"

    order(shop, "reset")
    shop.restart()
    shop.until_asked(2)
    assert shop.alarm["state"] == "normal"


@pytest.mark.parametrize("setting", ["enabled = false", "latching = false"])
def test_the_pause_ends_by_a_reset_whatever_the_plant_made_of_the_alarm(setting):
    """Switched off or not latching, the order still means that a person has looked."""
    shop = Shop(TEXT + f"\n[sump.alarms.delivery-differs]\n{setting}\n")
    asked = shop.until_asked()
    shop.station.memory.dose = None
    shop.say(("accepted", {"setpoint": asked["id"], "accepted": False, "reason": "busy"}))
    shop.volume -= 10.0
    shop.minute(60)
    assert len(shop.bodies("setpoint")) == 1

    order(shop, "reset")
    assert refusals(shop) == []
    shop.until_asked(2)


def order(shop: Shop, verb: str) -> None:
    """A person's order on the alarm."""
    body = {"alarm": "delivery-differs", "command": verb, "by": "Ada"}
    shop.take(Arrival(shop.now, f"{ABOUT}/alarm-command", json.dumps(body).encode()))


def test_an_answer_to_what_was_never_asked_is_refused():
    """With the reason, and without an effect."""
    shop = Shop()
    shop.minute(1)
    shop.say(("accepted", {"setpoint": "x", "accepted": True, "reason": None}))

    assert refusals(shop) == ["setpoint 'x' was never issued"]


def test_a_dose_that_was_never_asked_is_taken_in_and_told():
    """The fluid is in the sump, whoever asked for it."""
    shop = Shop()
    shop.volume = 396.0
    shop.minute(30)
    body = {"at": text_of(shop.now), "setpoint": "x", "water_l": 2.0, "concentrate_l": 0.1}
    shop.say(("delivered", {**body, "finished": True, "fault": None}))

    assert shop.alarm is not None
    assert "never issued" in shop.alarm["cause"]
    assert any(isinstance(e, Delivery) for e in shop.ledger.evidence("mill-07", 0))


def test_a_standing_of_another_version_does_not_reuse_a_setpoint_s_id():
    """Where the memory of the station is lost, the next number is still a new one."""
    shop = Shop()
    first = shop.until_asked()
    shop.minute(40)
    shop.pipeline._desks["mill-07"].standing = type(shop.pipeline._desks["mill-07"].standing)()
    shop.volume -= 15.0
    second = shop.until_asked(2)

    assert int(second["id"].removeprefix("s-")) > int(first["id"].removeprefix("s-"))
