"""The live table says what the messages said, and copes with none."""

import json
from io import StringIO
from pathlib import Path

from rich.console import Console

from agent.plant.load import parse_plant
from agent.watch import PlantView
from tests.e2e.plant_north import PLANT, PREFIX

PLANT_NORTH = parse_plant(PLANT.format(port=1883), Path("north.toml"))


def shown(view: PlantView) -> str:
    """The table as text, on one line."""
    console = Console(width=200, file=StringIO())
    with console.capture() as capture:
        console.print(view.render())
    return " ".join(capture.get().split())


def body(**changes: object) -> bytes:
    """A state message."""
    state = {
        "at": "2026-03-02T06:00:00Z",
        "volume_l": {"value": 312.43, "sd": 1.94},
        "concentration_pct": {"value": 5.62, "sd": 0.08},
        "losses": {
            "water_l_per_day": {"value": 21.3, "sd": 1.2},
            "concentrate_l_per_day": {"value": 0.41, "sd": 0.2},
        },
        "signals": {"level": "good", "brix": "stale", "ph": "absent"},
    }
    return json.dumps({**state, **changes}).encode()


def test_before_anything_is_heard_the_table_says_so():
    """An empty table is no blank."""
    text = shown(PlantView(PLANT_NORTH))

    assert "waiting for readings" in text
    assert "no data yet" in text


def test_a_state_is_shown_with_its_uncertainty_and_its_doubtful_signals():
    """Amounts to the digits that mean something; lean in words; a stale signal by name."""
    view = PlantView(PLANT_NORTH)
    view.take(f"{PREFIX}/mill-07/state", body())
    text = shown(view)

    for piece in ("312 ± 2 L", "5.62 ± 0.08 %", "lean", "21 ± 1 L water", "brix stale"):
        assert piece in text
    assert "ph" not in text.split()


def test_what_nothing_tells_is_called_unknown():
    """`null` is not zero."""
    view = PlantView(PLANT_NORTH)
    view.take(f"{PREFIX}/mill-07/state", body(volume_l=None, concentration_pct=None))

    assert shown(view).count("unknown") == 2


def test_advice_is_shown_as_it_is_poured():
    """Water first, then concentrate; no word of concentrate where there is none."""
    view = PlantView(PLANT_NORTH)
    view.take(f"{PREFIX}/mill-07/state", body())
    batches = [
        {"count": 3, "water_l": 11.0, "concentrate_l": 1.5},
        {"count": 1, "water_l": 8.0, "concentrate_l": 0.0},
    ]
    advice = {"kind": "top-up", "drain_l": 0.0, "batches": batches, "why": []}
    view.take(f"{PREFIX}/mill-07/advice", json.dumps(advice).encode())
    text = shown(view)

    assert "3 × 11 L water, then 1.5 L concentrate" in text
    assert text.count("concentrate") == 1
    assert "1 × 8 L water" in text


def test_an_alarm_stands_until_it_is_withdrawn():
    """The most urgent stands first; an empty retained message takes one away."""
    view = PlantView(PLANT_NORTH)
    view.take(f"{PREFIX}/mill-07/state", body())
    for name, priority in (("concentration-low", "low"), ("level-low", "high")):
        alarm = {"name": name, "signal": None, "priority": priority, "state": "unacknowledged"}
        view.take(f"{PREFIX}/mill-07/alarm/{name}", json.dumps(alarm).encode())
    assert shown(view).index("level-low") < shown(view).index("concentration-low")

    view.take(f"{PREFIX}/mill-07/alarm/level-low", b"")

    assert "level-low" not in shown(view)


def test_messages_of_others_are_passed_over():
    """A sump that the plant file does not know, and reports of people, change nothing."""
    view = PlantView(PLANT_NORTH)
    view.take(f"{PREFIX}/elsewhere/state", b"{}")
    view.take(f"{PREFIX}/mill-07/check", b"not for the table")

    assert "waiting for readings" in shown(view)
