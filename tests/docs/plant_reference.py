"""Page on the plant file, from the models that read it."""

import json
from collections.abc import Iterator

from agent.messages.schemas import documents
from tests.docs.schema_words import Schema, cell, definitions, kind, parts, without

_INTRODUCTION = """\
# Every key of the plant file

One TOML file describes a plant. It is metric, whatever people read: millimetres, litres, % of the
mix; only sensors may send other units. Begin with the [example](../config/plant.example.toml), and
let `millpond validate` say what was understood, or all that is wrong with it.

An editor that knows TOML schemas completes and explains these keys when the file begins with
`#:schema PATH/TO/schemas/plant.json`. This page is made from the same models.

Passwords and tokens never stand here: they come from the environment, or from files that the
environment names.
"""


def page() -> str:
    """Write the page."""
    schema: Schema = json.loads(documents()["schemas/plant.json"])
    return _INTRODUCTION + "".join(_section(*found) for found in _sections(schema))


def _sections(schema: Schema) -> Iterator[tuple[str, str, Schema]]:
    """Sections from the top down: heading, name of the definition, definition; each once."""
    known: Schema = schema["$defs"]
    seen: set[str] = set()

    def under(path: str, of: Schema) -> Iterator[tuple[str, str, Schema]]:
        for key, value in of.get("properties", {}).items():
            several = any("items" in part for part in parts(value))
            mapped = any(isinstance(p.get("additionalProperties"), dict) for p in parts(value))
            for name in definitions(value):
                here = f"{path}.{key}" if path else key
                full = f"{here}.NAME" if mapped else here
                heading = f"[[{full}]]" if several else f"[{full}]"
                if name in seen:
                    continue
                seen.add(name)
                yield heading, name, known[name]
                yield from under(here, known[name])

    yield from under("", schema)


def _section(heading: str, name: str, of: Schema) -> str:
    """One section with its table."""
    shape = next((v["const"] for v in of["properties"].values() if "const" in v), None)
    title = f"`{heading}`" + (f" with `{shape}`" if shape else _like(name))
    rows = "".join(
        f"| `{key}` | {cell(kind(value, _Tables(), null=False))} | {cell(_said(value))} "
        f"| {cell(without(value, required=key in of.get('required', ())))} |\n"
        for key, value in of["properties"].items()
    )
    return (
        f"\n## {title} {{ #{name.lower()} }}\n\n{of.get('description', '')}\n\n"
        f"| key | takes | what it says | without it |\n| --- | --- | --- | --- |\n{rows}"
    )


def _like(name: str) -> str:
    """Say where else the same keys may stand."""
    others = {
        "GaugeModel": ", also `ph`, `conductivity`, `air_temperature`, `humidity`",
        "MeterModel": ", also `concentrate_meter`",
        "AlarmModel": ", also `[sump.alarms.NAME]`",
        "ChecksModel": ", also `[sump.checks]`",
    }
    return others.get(name, "")


def _said(schema: Schema) -> str:
    """Description of a key."""
    return str(schema.get("description", ""))


class _Tables(dict[str, str]):
    """Links to the sections."""

    def __missing__(self, name: str) -> str:
        """Whatever the definition is called, its section is."""
        return f"[table](#{name.lower()})"
