"""What an agent published, read back."""

import json

import pytest

from simulators.errors import SimulatorError
from simulators.instants import instant
from simulators.score.published import read_published

AT = "2026-03-02T06:00:00Z"
STATE = {
    "schema": 1, "sump": "mill-07", "at": AT,
    "volume_l": {"value": 312.4, "sd": 1.9}, "concentration_pct": {"value": 7.62, "sd": 0.08},
    "losses": {"window_h": 24, "water_l_per_day": {"value": 21.3, "sd": 1.2},
               "concentrate_l_per_day": {"value": 0.41, "sd": 0.20},
               "evaporation_l_per_day": None, "carry_off_l_per_day": None},
    "lost_total": {"since": "2026-03-01T06:00:00Z", "water_l": {"value": 20.0, "sd": 1.0},
                   "concentrate_l": None},
    "signals": {"level": "good", "brix": "suspect"},
}  # fmt: skip


def line(what: str, body: object, at: str = AT) -> str:
    """A line of a replay's output."""
    payload = json.dumps(body) if body is not None else ""
    return json.dumps({"at": at, "topic": f"millpond/north/mill-07/{what}", "payload": payload})


def test_a_state_is_read_as_the_design_has_it():
    """Volume, concentration, losses and qualities of DESIGN section 4, in the units inside."""
    state = read_published([line("state", STATE)], "millpond/north")["mill-07"].states[0]

    assert state.volume == (312.4, 1.9)
    assert state.concentration == pytest.approx((0.0762, 0.0008))
    assert state.losses == ((21.3, 1.2), (0.41, 0.20))
    assert state.lost == ((20.0, 1.0), None)
    assert state.since == instant("2026-03-01T06:00:00Z")
    assert state.signals["brix"] == "suspect"


def test_nothing_is_known_where_nothing_is_told():
    """Estimates that are null stay so."""
    dumb = STATE | {"volume_l": None, "losses": STATE["losses"] | {"water_l_per_day": None}}
    state = read_published([line("state", dumb)], "millpond/north")["mill-07"].states[0]

    assert state.volume is None
    assert state.losses[0] is None


def test_events_advice_and_alarms_are_sorted_by_sump():
    """Each kind of message comes to its place; what is withdrawn or of no use is passed over."""
    event = {"id": "a", "sump": "mill-07", "at": AT, "kind": "addition", "source": "inferred",
             "volume_l": {"value": 20.0, "sd": 1.0}, "strength_pct": None}  # fmt: skip
    advice = {"id": "x", "kind": "top-up", "drain_l": 0.0,
              "mix": {"water_l": 33.6, "concentrate_l": 4.2, "strength_pct": 11.1}}  # fmt: skip
    alarm = {"name": "sensor-fault", "signal": "level", "active": True}
    said = read_published(
        [
            json.dumps({"at": AT}),
            line("event", event),
            line("advice", advice),
            line("advice", advice | {"kind": "none", "mix": None}),
            line("advice", None),
            line("alarm/sensor-fault/level", alarm),
            line("alarm/level-low", alarm),
        ],
        "millpond/north",
    )["mill-07"]

    assert [(e.id, e.volume, e.strength) for e in said.events] == [("a", (20.0, 1.0), None)]
    assert [(a.id, a.water, a.concentrate) for a in said.advice] == [("x", 33.6, 4.2)]
    assert [(a.signal, a.active) for a in said.alarms] == [("level", True)]


@pytest.mark.parametrize("bad", ["no json", line("state", {"at": AT}), line("event", {"id": 1})])
def test_what_cannot_be_read_is_named(bad):
    """A line that is not as the design has it stops the scoring and says which line."""
    with pytest.raises(SimulatorError, match="line 2"):
        read_published([json.dumps({"at": AT}), bad], "millpond/north")
