"""Readings into a real broker, state and advice out of it, by clients that are none of ours."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests.brokers import Mosquitto
from tests.e2e.plant_north import (
    CLOCK,
    PREFIX,
    ROOT,
    publish,
    reading,
    rfc3339,
    running_agent,
    subscriber,
    write_plant,
)
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

STATE, ADVICE = f"{PREFIX}/mill-07/state", f"{PREFIX}/mill-07/advice"


def send_steady_readings(port: int, depth: float, brix: float, minutes: int) -> None:
    """A sump that stands still: the same depth and Brix every half minute, pumps stopped."""
    publish(port, CLOCK, rfc3339(0))
    publish(port, "north/mill-07/pumps", "off")
    times = range(0, 60 * minutes, 30)
    publish(port, "north/mill-07/level", *(reading(depth, at) for at in times))
    publish(port, "north/mill-07/brix", *(reading(brix, at) for at in times))
    publish(port, CLOCK, rfc3339(60 * minutes))


def test_state_and_advice_match_the_sums_done_by_hand(mosquitto: Mosquitto, tmp_path: Path):
    """240 mm in a box of 1.05 L/mm is 252 L; 6.4 °Brix x 1.25 is 8 %; it is filled at 8 %."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    with (
        running_agent(plant, "--clock-topic", CLOCK),
        subscriber(mosquitto.port, f"{PREFIX}/#", tmp_path / "heard") as heard,
    ):
        send_steady_readings(mosquitto.port, depth=240.0, brix=6.4, minutes=4)
        publish(mosquitto.port, CLOCK, rfc3339(270))
        wait_until(
            lambda: (
                (heard.newest(STATE) or {}).get("at") == rfc3339(240)
                and (heard.newest(ADVICE) or {}).get("kind") == "top-up"
            ),
            "the state of the fourth minute and the advice",
        )
        state, advice = heard.newest(STATE), heard.newest(ADVICE)

    volume, concentration = state["volume_l"], state["concentration_pct"]
    assert volume["value"] == pytest.approx(252.0, abs=2 * volume["sd"])
    assert 0 < volume["sd"] < 10.0
    assert concentration["value"] == pytest.approx(8.0, abs=2 * concentration["sd"])
    assert state["signals"]["level"] == "good"
    assert state["signals"]["ph"] == "absent"

    # Room up to the target: (380 - 240) mm x 1.05 L/mm = 147 L, in buckets of 20 L x 0.8 = 16 L.
    mix = advice["mix"]
    total = mix["water_l"] + mix["concentrate_l"]
    assert 147.0 - 16.0 - 4.0 <= total <= 147.0 + 8.0
    assert advice["after"]["volume_l"]["value"] == pytest.approx(volume["value"] + total, abs=0.5)
    # 8 % plus 8 % is 8 %: the mix has the sump's own strength, to what half a litre can do.
    assert mix["strength_pct"] == pytest.approx(8.0, abs=1.5)
    assert advice["after"]["concentration_pct"]["value"] == pytest.approx(8.0, abs=0.5)
    poured = sum(b["count"] * (b["water_l"] + b["concentrate_l"]) for b in advice["batches"])
    assert poured == pytest.approx(total, abs=0.02)
    # Thresholds with the pumps stopped are the plant file's own depths, less the headroom of 15 mm.
    assert advice["limits"]["level"]["stopped"] == {"low": 180.0, "high": 415.0}
    assert advice["limits"]["brix"] == {"low": 4.8, "high": 8.0, "unit": "degBrix"}


def test_what_was_recorded_gives_the_same_messages_through_replay(
    mosquitto: Mosquitto, tmp_path: Path
):
    """`run --record` and `replay` are one path: the same messages, in order, byte for byte."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    recording, told = tmp_path / "arrived.jsonl", tmp_path / "told.jsonl"
    with (
        running_agent(plant, "--clock-topic", CLOCK, "--record", str(recording)) as agent,
        subscriber(mosquitto.port, f"{PREFIX}/#", tmp_path / "heard") as heard,
    ):
        send_steady_readings(mosquitto.port, depth=240.0, brix=6.4, minutes=6)
        publish(
            mosquitto.port,
            f"{PREFIX}/mill-07/addition",
            f'{{"at": "{rfc3339(300)}", "volume_l": 16, "strength_pct": 8}}',
        )
        publish(mosquitto.port, "north/mill-07/level", "not a number", reading(255.0, 420))
        publish(mosquitto.port, CLOCK, rfc3339(500))
        wait_until(
            lambda: (heard.newest(STATE) or {}).get("at") == rfc3339(420), "the last minute's state"
        )
        assert agent.stop() == 0
        wait_until(
            lambda: (heard.newest(f"{PREFIX}/agent") or {}).get("status") == "offline",
            "the agent's farewell",
        )
        live = [m for m in heard.messages() if m[0].startswith(f"{PREFIX}/mill-07/")]

    subprocess.run(
        [sys.executable, "-m", "agent", "replay", plant, recording, "--out", told],
        cwd=ROOT,
        check=True,
    )

    from agent.arrival import Arrival
    from agent.recording import read_recording

    with told.open("rb") as lines:
        again = [(i.topic, i.payload) for i in read_recording(lines) if isinstance(i, Arrival)]
    reported = [message for message in live if message[0].endswith("/addition")]
    assert [message for message in live if message not in reported] == again
    assert any(topic.endswith("/event") for topic, _ in again)


def test_a_kill_in_mid_stream_loses_and_doubles_no_dated_reading(
    mosquitto: Mosquitto, tmp_path: Path
):
    """Every reading is stored once, and the state is that of an undisturbed run."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    count = 600
    with (
        running_agent(plant, "--clock-topic", CLOCK) as agent,
        subscriber(mosquitto.port, f"{PREFIX}/#", tmp_path / "heard") as heard,
    ):
        publish(mosquitto.port, CLOCK, rfc3339(0))
        publish(mosquitto.port, "north/mill-07/pumps", "off")
        for part in range(6):
            times = range(part * 100, part * 100 + 100)
            publish(
                mosquitto.port,
                "north/mill-07/level",
                *(reading(300.0 - 0.01 * at, 2 * at) for at in times),
            )
            publish(mosquitto.port, CLOCK, rfc3339(part * 200 + 200))
            if part % 2:
                agent.kill_and_start()
        publish(mosquitto.port, CLOCK, rfc3339(1270))
        wait_until(lambda: (heard.newest(STATE) or {}).get("at") == rfc3339(1200), "the last state")
        disturbed = heard.newest(STATE)
        assert agent.stop() == 0

    with closing(sqlite3.connect(plant.with_name("north.db"))) as store:
        stored = store.execute(
            "SELECT count(*), count(DISTINCT at), min(value), max(value) FROM reading"
            " WHERE signal = (SELECT id FROM signal WHERE name = 'level')"
        ).fetchone()
    assert stored == (count, count, pytest.approx(294.01), pytest.approx(300.0))
    assert disturbed == undisturbed(tmp_path / "again", plant, count)


def undisturbed(folder: Path, plant: Path, count: int) -> dict[str, object]:
    """The last state of a replay of the same messages, as nothing ever happened."""
    import json

    folder.mkdir()
    lines = [
        {"at": rfc3339(0), "topic": "north/mill-07/pumps", "payload": "off"},
        *(
            {
                "at": rfc3339(200 * (number // 100)),
                "topic": "north/mill-07/level",
                "payload": reading(300.0 - 0.01 * number, 2 * number),
            }
            for number in range(count)
        ),
        {"at": rfc3339(1270)},
    ]
    recording = folder / "recording.jsonl"
    recording.write_text("".join(json.dumps(line) + "\n" for line in lines), "utf-8")
    told = subprocess.run(
        [sys.executable, "-m", "agent", "replay", plant, recording],
        cwd=ROOT,
        check=True,
        capture_output=True,
    ).stdout
    states = [line for line in map(json.loads, told.splitlines()) if line.get("topic") == STATE]
    last: dict[str, object] = json.loads(states[-1]["payload"])
    return last
