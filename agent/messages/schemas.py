"""JSON Schemas of messages and plant file, AsyncAPI and OpenAPI documents, from the models.

``python -m agent.messages.schemas`` writes them into ``config/``; with ``--check`` it says which
of them are out of date.
"""

import argparse
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, models_json_schema

from agent.messages.incoming import PLANT_MESSAGES, SUMP_MESSAGES, SUPPLY_MESSAGES, Incoming
from agent.messages.outgoing import OUTWARD, AlarmAnswerMessage, AlarmMessage, Outward
from agent.plant.models import PlantModel

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_CONFIG = Path(__file__).parents[2] / "config"

Document = dict[str, Any]


class _Untitled(GenerateJsonSchema):
    """Leaves out titles that only say a key once more."""

    def field_title_should_be_set(self, schema: object) -> bool:  # noqa: ARG002  the base class's
        """Never: a key is title enough."""
        return False


def documents() -> dict[str, str]:
    """Text of every generated file, by its path under ``config/``."""
    files = {f"schemas/{name(model)}.json": message_schema(model) for model in _messages()}
    files["schemas/plant.json"] = _schema(PlantModel, "plant")
    files["asyncapi.json"] = asyncapi()
    files["openapi.json"] = openapi()
    return {path: _written(document) for path, document in files.items()}


def message_schema(model: type[Incoming | Outward]) -> Document:
    """JSON Schema of one message."""
    return _schema(model, name(model))


def name(model: type[Incoming | Outward]) -> str:
    """Short name of a message: its own, or the last fixed level of its topic."""
    return (
        model.short
        or [level for level in model.channel.split("/") if not level.startswith("{")][-1]
    )


def out_of_date(config: Path = _CONFIG) -> list[str]:
    """List generated files under `config` that are missing, changed by hand, or made no more."""
    wanted = documents()
    stale = [path for path, text in wanted.items() if _content(config / path) != text]
    extra = [f"schemas/{path.name}" for path in (config / "schemas").glob("*.json")]
    return sorted({*stale, *(path for path in extra if path not in wanted)})


def write(config: Path = _CONFIG) -> list[str]:
    """Bring the generated files up to date; gives those that were not."""
    stale, wanted = out_of_date(config), documents()
    (config / "schemas").mkdir(parents=True, exist_ok=True)
    for path in stale:
        if path in wanted:
            (config / path).write_text(wanted[path], encoding="utf-8")
        else:
            (config / path).unlink()
    return stale


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the files, or check them; the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="only say what is out of date")
    options = parser.parse_args(arguments)
    stale = out_of_date() if options.check else write()
    for path in stale:
        sys.stdout.write(f"config/{path} {'is out of date' if options.check else 'written'}\n")
    return 1 if options.check and stale else 0


def _messages() -> tuple[type[Incoming | Outward], ...]:
    """Models of all messages, outgoing first."""
    return (*OUTWARD, *SUMP_MESSAGES, *SUPPLY_MESSAGES, *PLANT_MESSAGES)


def _content(path: Path) -> str | None:
    """Text of a file, if it is there."""
    return path.read_text(encoding="utf-8") if path.exists() else None


def _written(document: Document) -> str:
    """JSON as it stands in a file."""
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def _schema(model: type[BaseModel], short: str) -> Document:
    """JSON Schema with its dialect and a name that other files can refer to."""
    schema = model.model_json_schema(by_alias=True, schema_generator=_Untitled)
    return {"$schema": _DIALECT, "$id": f"urn:millpond:1:{short}", **schema}


# --- AsyncAPI ------------------------------------------------------------------------------------

_INTRODUCTION = (
    "Messages of millpond on the broker: JSON, MQTT 5, QoS 1. Every quantity's unit stands in its "
    "key or beside it; volumes are at 20 °C, concentrations in % of the mix, v/v. Outgoing keys "
    "are never left out: what nothing tells is null. An empty retained payload withdraws an alarm "
    "or an advice. Signals of the plant itself are bound in the plant file and not listed here."
)

_PARAMETERS: Mapping[str, str] = {
    "prefix": "`broker.prefix` of the plant file, such as millpond/north",
    "sump": "id of the sump",
    "supply": "id of the supply",
    "alarm": "name of the alarm",
    "signal": "signal that the alarm is about",
}


def asyncapi() -> Document:
    """AsyncAPI document of all that the agent says and hears.

    References
    ----------
    .. [1] AsyncAPI Initiative, "AsyncAPI Specification", version 3.0.0, 2023.
    """
    _, schemas = models_json_schema(
        [(model, "validation") for model in _messages()],
        ref_template="#/components/schemas/{model}",
        schema_generator=_Untitled,
    )
    channels = _channels()
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "millpond",
            "version": "1",
            "description": _INTRODUCTION,
            "license": {"name": "Apache-2.0"},
        },
        "defaultContentType": "application/json",
        "channels": {key: _channel(address, model) for key, (address, model) in channels.items()},
        "operations": {key: _operation(key, model) for key, (_, model) in channels.items()},
        "components": {
            "messages": {name(model): _message(model) for model in _messages()},
            "schemas": schemas["$defs"],
        },
    }


def openapi() -> Document:
    """OpenAPI document of the page's API."""
    from agent.page.api.document import document, make_api

    return document(make_api())


def _channels() -> dict[str, tuple[str, type[Incoming | Outward]]]:
    """Address and message by channel."""
    channels: dict[str, tuple[str, type[Incoming | Outward]]] = {}
    for outward in OUTWARD:
        channels[name(outward)] = (f"{{prefix}}/{outward.channel}", outward)
    channels["signal-alarm"] = (f"{{prefix}}/{AlarmMessage.channel}/{{signal}}", AlarmMessage)
    channels["plant-alarm-answer"] = ("{prefix}/alarm-answer", AlarmAnswerMessage)
    channels["supply-alarm-answer"] = (
        "{prefix}/supply/{supply}/alarm-answer",
        AlarmAnswerMessage,
    )
    for inward in SUMP_MESSAGES:
        channels[name(inward)] = (f"{{prefix}}/{{sump}}/{inward.channel}", inward)
    for inward in SUPPLY_MESSAGES:
        channels[name(inward)] = (f"{{prefix}}/supply/{{supply}}/{inward.channel}", inward)
    for inward in PLANT_MESSAGES:
        channels[name(inward)] = (f"{{prefix}}/{inward.channel}", inward)
    return channels


def _channel(address: str, model: type[Incoming | Outward]) -> Document:
    """AsyncAPI channel of a message."""
    levels: Iterable[str] = address.split("/")
    parameters = [level[1:-1] for level in levels if level.startswith("{")]
    reference = {"$ref": f"#/components/messages/{name(model)}"}
    return {
        "address": address,
        "messages": {name(model): reference},
        "parameters": {key: {"description": _PARAMETERS[key]} for key in parameters},
    }


def _operation(key: str, model: type[Incoming | Outward]) -> Document:
    """AsyncAPI operation: what the agent does on a channel."""
    outward = issubclass(model, Outward)
    mqtt: Document = {"qos": 1, "bindingVersion": "0.2.0"}
    if issubclass(model, Outward):
        mqtt["retain"] = model.retained
    return {
        "action": "send" if outward else "receive",
        "channel": {"$ref": f"#/channels/{key}"},
        "summary": _summary(model),
        "messages": [{"$ref": f"#/channels/{key}/messages/{name(model)}"}],
        "bindings": {"mqtt": mqtt},
    }


def _message(model: type[Incoming | Outward]) -> Document:
    """AsyncAPI message."""
    return {
        "name": name(model),
        "title": model.__name__.removesuffix("Message"),
        "summary": _summary(model),
        "payload": {"$ref": f"#/components/schemas/{model.__name__}"},
    }


def _summary(model: type[BaseModel]) -> str:
    """First sentence of the model's docstring."""
    return " ".join((model.__doc__ or "").split("\n\n")[0].split())


if __name__ == "__main__":
    raise SystemExit(main())
