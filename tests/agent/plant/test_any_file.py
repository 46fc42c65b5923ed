"""Whatever stands in a plant file, it is a plant or a list of problems."""

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.errors import PlantFileError
from agent.plant.load import parse_plant
from agent.plant.plant import Plant
from agent.resources import shipped
from tests.agent.plant.toml_text import toml_text

EXAMPLE = tomllib.loads(shipped("plant.example.toml").read_text(encoding="utf-8"))
PATH = Path("north.toml")


def outcome(text: str) -> Plant | PlantFileError:
    """A plant, or the error; any other exception fails the test."""
    try:
        return parse_plant(text, PATH)
    except PlantFileError as error:
        return error


@given(st.text(max_size=200))
def test_any_text_is_a_plant_or_refused(text: str) -> None:
    """No text whatever raises anything but the one error."""
    assert isinstance(outcome(text), Plant | PlantFileError)


KNOWN_KEYS = [
    "id", "name", "kind", "shape", "unit", "topic", "level", "limit", "alarms", "range",
    "depth_mm", "volume_l", "sparkplug", "device", "url", "mount_mm", "true_values",
]  # fmt: skip
ODD_VALUES = st.one_of(
    st.booleans(),
    st.integers(-(10**20), 10**20) | st.just(10**400),
    st.floats(),
    st.sampled_from([0, 1, -1, 430, 0.5, 1e308, 5e-324]),
    st.text(max_size=6),
    st.sampled_from(
        ["box", "table", "air-gap", "pressure", "degC", "in", "%", "mill-07", "semi-a", "a/#",
         "mqtts://h:1", "mqtt://", "//", "level-low", "signal-stale/brix", "pH", "**", "mm**99"]
    ),
)  # fmt: skip
ODD_TABLES = st.dictionaries(
    st.sampled_from(KNOWN_KEYS) | st.text(max_size=4), ODD_VALUES, max_size=3
)
ODD = ODD_VALUES | st.lists(ODD_VALUES | ODD_TABLES, max_size=3) | ODD_TABLES


@st.composite
def damaged_plants(draw: st.DrawFn) -> dict[str, Any]:
    """The example with a few keys replaced, removed, added or repeated, anywhere."""
    plant = copy.deepcopy(EXAMPLE)
    for _ in range(draw(st.integers(1, 4))):
        place: Any = plant
        while True:
            if not place:
                break
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            key = draw(st.sampled_from(keys))
            if isinstance(place[key], dict | list) and draw(st.integers(0, 3)):
                place = place[key]
                continue
            match draw(st.sampled_from(["replace", "remove", "add", "repeat"])):
                case "replace":
                    place[key] = draw(ODD)
                case "remove":
                    del place[key]
                case "add" if isinstance(place, dict):
                    place[draw(st.sampled_from(KNOWN_KEYS) | st.text(max_size=4))] = draw(ODD)
                case _ if isinstance(place, list):
                    place.append(copy.deepcopy(place[key]))
            break
    return plant


@settings(max_examples=300)
@given(damaged_plants())
def test_a_damaged_plant_file_is_a_plant_or_refused(data: dict[str, Any]) -> None:
    """However a good file is damaged, each problem has a line and says what was expected."""
    text = toml_text(data)

    result = outcome(text)

    if isinstance(result, PlantFileError):
        assert result.problems
        for problem in result.problems:
            assert problem.expected
            assert problem.line is None or 1 <= problem.line <= text.count("\n") + 1
            assert problem.key


@pytest.mark.parametrize(
    "table",
    [
        {"limit": {"foo": 1}},
        {"": {}},
        {"level-low": 3},
        {"level-low/": {"priority": "high"}},
        {"signal-stale/nothing": {}},
    ],
)
def test_odd_tables_of_alarms_are_refused(table: dict[str, Any]) -> None:
    """A key that happens to be one of an alarm's own is no alarm."""
    data = copy.deepcopy(EXAMPLE)
    data["sump"][0]["alarms"] = table

    assert isinstance(outcome(toml_text(data)), PlantFileError)
