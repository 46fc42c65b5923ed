"""JSON Schema in words: what a key takes, within which limits, and what holds without it."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

Schema = Mapping[str, Any]

_KINDS = {
    "string": "text",
    "number": "number",
    "integer": "whole number",
    "boolean": "`true` or `false`",
    "array": "list",
    "object": "table",
    "null": "`null`",
}
_FORMATS = {"date-time": "time, RFC 3339", "date": "date"}

_ANY = 1e12
"""Limits from here on only keep infinity out."""


def cell(text: str) -> str:
    """Text as it may stand in a cell of a table."""
    return " ".join(text.split()).replace("|", "\\|")


def referred(schema: Schema) -> str | None:
    """Name of the definition that a schema is, where it is one."""
    reference = schema.get("$ref")
    return None if reference is None else str(reference).rsplit("/", 1)[-1]


def parts(schema: Schema) -> Iterator[Schema]:
    """Alternatives of a schema, or the schema itself."""
    for key in ("anyOf", "oneOf"):
        if key in schema:
            for option in schema[key]:
                yield from parts(option)
            return
    yield schema


def definitions(schema: Schema) -> Iterator[str]:
    """Names of all definitions that a property leads to, lists and tables entered."""
    for part in parts(schema):
        name = referred(part)
        if name is not None:
            yield name
        for key in ("items", "additionalProperties"):
            if isinstance(part.get(key), Mapping):
                yield from definitions(part[key])


def kind(schema: Schema, link: Mapping[str, str], *, null: bool) -> str:
    """What a key takes.

    Parameters
    ----------
    link : mapping of str to str
        Words for a definition, by its name.
    null : bool
        Whether `null` is worth a word: in a message it is, in TOML there is none.
    """
    words = [_part(part, link, null=null) for part in parts(schema)]
    return " or ".join(dict.fromkeys(word for word in words if word))


def _part(schema: Schema, link: Mapping[str, str], *, null: bool) -> str:
    """One alternative."""
    name = referred(schema)
    if name is not None:
        return link[name]
    if "const" in schema:
        return f"`{json.dumps(schema['const'])}`"
    if "enum" in schema:
        return ", ".join(f"`{json.dumps(value)}`" for value in schema["enum"])
    of = str(schema.get("type", "object"))
    if of == "null" and not null:
        return ""
    words = _FORMATS.get(str(schema.get("format")), _KINDS[of])
    inner = schema.get("items" if of == "array" else "additionalProperties")
    if isinstance(inner, Mapping):
        words += f" of {kind(inner, link, null=null)}"
    return words + _limits(schema)


def _limits(schema: Schema) -> str:
    """Limits of a number, in signs; nothing for a text's length."""
    signs = {"exclusiveMinimum": ">", "minimum": "≥", "exclusiveMaximum": "<", "maximum": "≤"}
    found = [
        f"{sign} {schema[key]:g}"
        for key, sign in signs.items()
        if key in schema and abs(schema[key]) < _ANY
    ]
    return f", {' and '.join(found)}" if found else ""


def without(schema: Schema, *, required: bool) -> str:
    """What holds where the key is left out."""
    if required:
        return "must be there"
    value = schema.get("default")
    return "" if value is None or value == "" else f"`{json.dumps(value, ensure_ascii=False)}`"
