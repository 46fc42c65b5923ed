"""What happens when agent, broker, station or network dies or restarts at each step of a dose.

Each test is a row of the table in `docs/stations.md`.
"""

from pathlib import Path

import pytest

from advisor.words import MINUTE
from agent.instants import text_of
from tests.brokers import Mosquitto
from tests.e2e.a_wire import a_wire
from tests.e2e.station_floor import Floor, a_floor
from tests.waiting import wait_until

pytestmark = pytest.mark.broker


def finish(floor: Floor, asked: dict[str, object]) -> None:
    """The dose ends as asked: poured once, one setpoint, no alarm."""
    floor.until(lambda: floor.has_poured(asked), "all of the dose")
    floor.minute(3)
    assert floor.has_poured(asked)
    assert floor.setpoints() == {asked["id"]}
    assert floor.causes() == []


# --- the agent ------------------------------------------------------------------------------------


@pytest.mark.parametrize("when", ["before", "after"])
def test_the_agent_dies_with_the_setpoint_in_its_outbox(
    mosquitto: Mosquitto, tmp_path: Path, when: str
):
    """It was stored with the setpoint: sent once more under the same id, and poured once."""
    with a_floor(mosquitto, tmp_path / "agent", dies=(when, "/setpoint")) as floor:
        for _ in range(60):
            if floor.agent.process.poll() is not None:
                break
            floor.now += MINUTE
            floor._tell()
            wait_until(
                lambda: (
                    floor.agent.process.poll() is not None
                    or any(s["at"] == text_of(floor.now) for s in floor.bodies("state")[-3:])
                ),
                "the agent's end",
            )
        assert floor.agent.process.poll() is not None
        assert len(floor.bodies("setpoint")) == (when == "after")
        floor.agent.start()
        asked = floor.until_accepted()
        finish(floor, asked)
        assert len(floor.bodies("setpoint")) == (2 if when == "after" else 1)


@pytest.mark.parametrize("poured", [0, 2])
def test_the_agent_dies_and_is_back_within_the_lease(
    mosquitto: Mosquitto, tmp_path: Path, poured: int
):
    """Before the first litre or in mid-dose: it goes on with the same setpoint."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.flow = 1.5
        asked = floor.until_accepted()
        floor.minute(poured)
        floor.agent.kill()
        floor.skip(1)
        floor.agent.start()
        finish(floor, asked)


def test_the_agent_is_away_for_longer_than_the_lease(mosquitto: Mosquitto, tmp_path: Path):
    """The station stops by itself; its report has waited at the broker, and nothing pauses."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.flow = 1.5
        asked = floor.until_accepted()
        floor.minute(2)
        floor.agent.kill()
        floor.skip(15)
        assert floor.station.memory.dose is None
        floor.agent.start()
        floor.minute(2)

        assert not floor.has_poured(asked)
        assert floor.causes() == []
        floor.until_asked(2)


def test_the_agent_dies_as_the_report_comes(mosquitto: Mosquitto, tmp_path: Path):
    """The report waits at the broker, closes the setpoint, and counts once."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.flow = 8.0
        asked = floor.until_accepted()
        floor.minute(2)
        floor.agent.kill()
        floor.skip(1)
        floor.skip(1)
        assert floor.has_poured(asked)
        floor.agent.start()
        finish(floor, asked)
        added = floor.bodies("state")[-1]["added_total"]["water_l"]
        assert added["value"] == pytest.approx(asked["water_l"], abs=0.5)


# --- the broker -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("end", "minutes", "flow"),
    [
        pytest.param("stop", 0, 2.0, id="before the first litre"),
        pytest.param("stop", 1, 2.0, id="in mid-dose"),
        pytest.param("kill", 1, 2.0, id="killed in mid-dose"),
        pytest.param("kill", 1, 8.0, id="killed as the report comes"),
    ],
)
def test_the_broker_restarts(
    mosquitto: Mosquitto, tmp_path: Path, end: str, minutes: int, flow: float
):
    """Within the lease: agent and station come back, and the dose is finished."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.flow = flow
        asked = floor.until_accepted()
        floor.minute(minutes)
        floor.unplug()
        getattr(mosquitto, end)()
        floor.skip(1)
        connected = floor.agent.text().count("connected,")
        mosquitto.start()
        floor.plug()
        wait_until(lambda: floor.agent.text().count("connected,") > connected, "the agent", 20)
        finish(floor, asked)


def test_the_broker_is_away_for_longer_than_the_lease(mosquitto: Mosquitto, tmp_path: Path):
    """The station stops by itself, its report comes with the broker, and nothing pauses."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.flow = 1.5
        asked = floor.until_accepted()
        floor.minute(2)
        floor.unplug()
        mosquitto.stop()
        floor.skip(14)
        connected = floor.agent.text().count("connected,")
        mosquitto.start()
        wait_until(lambda: floor.agent.text().count("connected,") > connected, "the agent", 20)
        floor.minute(1)
        floor.plug()
        floor.minute(2)

        assert floor.station.memory.dose is None
        assert not floor.has_poured(asked)
        assert floor.causes() == []
        floor.until_asked(2)


# --- the station ----------------------------------------------------------------------------------


def test_the_station_is_off_when_it_is_asked(mosquitto: Mosquitto, tmp_path: Path):
    """Nobody answers: an alarm, and nothing more is asked; coming back, it finds it expired."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.unplug()
        asked = floor.until_asked()
        floor.until(lambda: floor.alarmed("has not answered"), "the alarm")
        assert floor.has_ended(asked)
        floor.plug()
        floor.minute(2)

        assert floor.station.memory.water_total == 0.0
        assert floor.station.memory.answers == {asked["id"]: False}
        floor.minute(40)
        assert floor.setpoints() == {asked["id"]}


@pytest.mark.parametrize("minutes", [0, 2], ids=["before the first litre", "in mid-dose"])
def test_the_station_loses_its_power(mosquitto: Mosquitto, tmp_path: Path, minutes: int):
    """It remembers the dose, and goes on where its counters stand."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        asked = floor.until_accepted()
        floor.minute(minutes)
        floor.unplug()
        floor.station = floor.station.lose_power()
        floor.plug()
        finish(floor, asked)


def test_the_station_dies_in_mid_dose(mosquitto: Mosquitto, tmp_path: Path):
    """After a quarter of an hour of silence: an alarm, an end, and nothing more is asked."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        asked = floor.until_accepted()
        floor.minute(2)
        floor.unplug()
        floor.flow = 0.0
        floor.until(lambda: floor.alarmed("says nothing more"), "the alarm")

        assert floor.has_ended(asked)
        floor.minute(40)
        assert floor.setpoints() == {asked["id"]}


def test_the_station_has_lost_its_memory_and_is_asked_again(mosquitto: Mosquitto, tmp_path: Path):
    """The counters stand there already: it accepts, and pours nothing more."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        asked = floor.until_accepted()
        floor.until(lambda: floor.has_poured(asked), "all of the dose")
        floor.minute(1)
        floor.station = floor.station.lose_power(memory=False)
        floor.send("setpoint", asked)
        wait_until(lambda: floor.station.memory.answers, "the station's answer")
        finish(floor, asked)


# --- the network ----------------------------------------------------------------------------------


def test_the_station_is_cut_off_in_mid_dose(mosquitto: Mosquitto, tmp_path: Path):
    """No lease reaches it: it stops, and reports a part when it is back; people are told."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.flow = 1.0
        asked = floor.until_accepted()
        floor.minute(1)
        floor.unplug()
        floor.minute(12)
        assert floor.station.memory.dose is None
        floor.plug()
        floor.until(lambda: floor.alarmed("lease ran out"), "the alarm", 5)

        assert not floor.has_poured(asked)
        assert floor.setpoints() == {asked["id"]}


@pytest.mark.parametrize(
    ("minutes", "flow"),
    [(0, 2.0), (1, 2.0), (1, 8.0)],
    ids=["before the first litre", "in mid-dose", "as the report comes"],
)
def test_the_agent_is_cut_off(mosquitto: Mosquitto, tmp_path: Path, minutes: int, flow: float):
    """Back within the lease it goes on; what the station said meanwhile has waited."""
    with (
        a_wire(mosquitto.port) as wire,
        a_floor(mosquitto, tmp_path / "agent", port=wire.port) as floor,
    ):
        floor.flow = flow
        asked = floor.until_accepted()
        floor.minute(minutes)
        wire.cut()
        floor.minute(3, deaf=True)
        connected = floor.agent.text().count("connected,")
        wire.mend()
        wait_until(lambda: floor.agent.text().count("connected,") > connected, "the agent", 20)
        finish(floor, asked)


# --- twice ----------------------------------------------------------------------------------------


def test_every_message_comes_twice(mosquitto: Mosquitto, tmp_path: Path):
    """Setpoint, lease, answer and report: poured once, counted once."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.flow = 1.5
        say = floor.say
        floor.say = lambda sayings: say([s for s in sayings for _ in (1, 2)])  # type: ignore[method-assign]
        asked = floor.until_accepted()
        floor.send("setpoint", asked)
        floor.until(lambda: floor.bodies("lease"), "a lease")
        floor.send("lease", floor.bodies("lease")[-1])
        finish(floor, asked)
        added = floor.bodies("state")[-1]["added_total"]["water_l"]
        assert added["value"] == pytest.approx(asked["water_l"], abs=0.5)


# --- clocks ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(7, "clock is ahead by 7 min"), (-60, "clock is behind by at least"), (60, "expired")],
    ids=["station-ahead", "station-behind-or-agent-ahead", "agent-behind"],
)
def test_a_clock_is_wrong(mosquitto: Mosquitto, tmp_path: Path, minutes: int, said: str):
    """Ahead or behind: the dose is ended by the station's own clock or refused, people are told."""
    with a_floor(mosquitto, tmp_path / "agent") as floor:
        floor.flow = 0.5
        floor.station.clock_off = minutes * MINUTE
        asked = floor.until_accepted()
        floor.until(lambda: floor.alarmed(said), "the alarm", 5)
        floor.minute(2)

        assert floor.station.memory.dose is None
        assert floor.station.memory.water_total < 2.0
        assert floor.setpoints() == {asked["id"]}
