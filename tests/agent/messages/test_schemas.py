"""The generated documents are up to date, sound, and agree with the rest of the code."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from jsonschema import Draft202012Validator

from advisor.alarm_definitions import DEFINITIONS
from advisor.words import Signal
from agent.messages.names import PlantAlarmName, SumpAlarmName, SupplyAlarmName
from agent.messages.outgoing import SignalsBody
from agent.messages.schemas import documents, main, out_of_date, write
from agent.plant.sump_models import SignalsModel

SCHEMAS = {path: json.loads(text) for path, text in documents().items() if "schemas/" in path}
ASYNCAPI = json.loads(documents()["asyncapi.json"])


def test_what_is_shipped_is_what_the_models_say() -> None:
    """The files in config/ are those that the models give: run python -m agent.messages.schemas."""
    assert out_of_date() == []


@pytest.mark.parametrize("path", SCHEMAS)
def test_every_schema_is_one(path: str) -> None:
    """Each file is a JSON Schema of its own dialect."""
    Draft202012Validator.check_schema(SCHEMAS[path])


def test_every_topic_of_the_design_has_a_schema() -> None:
    """Those of people and stations, of supplies, of the agent and of alarms, and the plant file."""
    assert {Path(path).stem for path in SCHEMAS} == {
        *("agent", "state", "event", "advice", "alarm", "setpoint", "lease"),
        *("plant-alarm", "supply-alarm", "alarm-answer"),
        *("plant-alarm-command", "supply-alarm-command"),
        *("check", "addition", "drain", "charge", "service", "accepted", "delivered"),
        *("alarm-command", "stock", "plant"),
    }


def undescribed(schema: Any, path: str = "") -> Iterator[str]:
    """Members of objects that say neither what they are nor what they refer to."""
    if isinstance(schema, dict):
        for name, member in schema.get("properties", {}).items():
            if isinstance(member, dict) and "description" not in member and "$ref" not in member:
                yield f"{path}/{name}"
        for key, inner in schema.items():
            if key != "if":  # a condition describes nothing
                yield from undescribed(inner, f"{path}/{key}")
    elif isinstance(schema, list):
        for index, inner in enumerate(schema):
            yield from undescribed(inner, f"{path}/{index}")


@pytest.mark.parametrize("path", SCHEMAS)
def test_every_key_is_described(path: str) -> None:
    """An editor shows what each key means."""
    assert list(undescribed(SCHEMAS[path])) == []


def references(document: Any) -> Iterator[str]:
    """Every $ref in a document."""
    if isinstance(document, dict):
        if isinstance(document.get("$ref"), str):
            yield document["$ref"]
        for inner in document.values():
            yield from references(inner)
    elif isinstance(document, list):
        for inner in document:
            yield from references(inner)


def resolved(document: Any, reference: str) -> Any:
    """What a local reference points to."""
    for level in reference.removeprefix("#/").split("/"):
        document = document[level]
    return document


def test_the_asyncapi_document_hangs_together() -> None:
    """Each reference leads somewhere, each operation has its channel, each parameter its topic."""
    for reference in references(ASYNCAPI):
        assert resolved(ASYNCAPI, reference)
    for key, channel in ASYNCAPI["channels"].items():
        for parameter in channel["parameters"]:
            assert f"{{{parameter}}}" in channel["address"]
        assert channel["address"].count("{") == len(channel["parameters"])
        operation = ASYNCAPI["operations"][key]
        assert operation["channel"] == {"$ref": f"#/channels/{key}"}
        assert operation["bindings"]["mqtt"]["qos"] == 1


def test_what_is_sent_and_what_is_heard_are_told_apart() -> None:
    """The agent sends states and hears checks, never the other way round."""
    sent = {key for key, op in ASYNCAPI["operations"].items() if op["action"] == "send"}
    retained = {
        key for key, op in ASYNCAPI["operations"].items() if op["bindings"]["mqtt"].get("retain")
    }

    alarms = {"alarm", "signal-alarm", "plant-alarm", "supply-alarm"}
    answers = {"alarm-answer", "plant-alarm-answer", "supply-alarm-answer"}
    assert sent == alarms | answers | {"agent", "state", "event", "advice", "setpoint", "lease"}
    assert retained == alarms | {"agent", "state", "advice"}


def test_names_are_the_same_everywhere() -> None:
    """Alarms and signals have one list of names, in schema, plant file and computation."""
    names = [*get_args(SumpAlarmName), *get_args(PlantAlarmName), *get_args(SupplyAlarmName)]
    signals = [signal.value for signal in Signal]

    assert names == list(DEFINITIONS)
    assert list(SignalsBody.model_fields) == signals
    assert list(SignalsModel.model_fields) == signals


def test_files_are_written_and_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A changed, a missing and a forgotten file are found and put right; then all is well."""
    write(tmp_path)
    (tmp_path / "schemas" / "state.json").write_text("{}")
    (tmp_path / "asyncapi.json").unlink()
    (tmp_path / "schemas" / "old.json").write_text("{}")

    assert out_of_date(tmp_path) == ["asyncapi.json", "schemas/old.json", "schemas/state.json"]
    assert write(tmp_path) == ["asyncapi.json", "schemas/old.json", "schemas/state.json"]
    assert out_of_date(tmp_path) == []
    assert main(["--check"]) == 0
    assert capsys.readouterr().out == ""
