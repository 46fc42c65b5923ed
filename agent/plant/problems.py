"""From what a check found in a plant file to a line for the person who wrote it."""

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from agent.errors import Problem
from agent.plant.known import field_at, suggestion
from agent.plant.locate import KeyPath
from agent.plant.phrases import expected

_LONGEST = 60
"""Characters of a value that are shown."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True)
class Fault:
    """What a check found, before it is put in words for a person."""

    path: KeyPath
    expected: str
    shown: bool = True
    """Whether the value may be shown."""


def problems(
    faults: Iterable[Fault], data: Mapping[str, Any], lines: Mapping[KeyPath, int]
) -> tuple[Problem, ...]:
    """Faults with line and value, each said once, in the order of the lines."""
    found = {
        Problem(
            line=_line(fault.path, lines),
            key=key_text(fault.path, data),
            value=_value_text(fault, data),
            expected=fault.expected,
        ): None
        for fault in faults
    }
    return tuple(sorted(found, key=lambda problem: problem.line or 0))


def key_text(path: KeyPath, data: object) -> str:
    """Path as a person reads it: list items by their id where they have one."""
    text = ""
    for key in path:
        data = _inside(data, key)
        if isinstance(key, int):
            name = data.get("id") if isinstance(data, dict) else None
            text += f"[{name}]" if isinstance(name, str) and _BARE.fullmatch(name) else f"[{key}]"
        else:
            bare = key if _BARE.fullmatch(key) else _shortened(json.dumps(key, ensure_ascii=False))
            text += f".{bare}" if text else bare
    return text


def model_faults(error: ValidationError, data: Mapping[str, Any]) -> list[Fault]:
    """List what the models say about a plant file."""
    return [_fault(details, data) for details in error.errors(include_url=False)]


def _fault(details: ErrorDetails, data: Mapping[str, Any]) -> Fault:
    """One error of the models, with the path as it is in the file."""
    kind, loc = details["type"], details["loc"]
    path = _path(loc, data)
    if kind == "extra_forbidden":
        return Fault(path, f"unknown key; {suggestion(loc)}", shown=False)
    if kind in {"union_tag_invalid", "union_tag_not_found"}:
        path = (*path, details["ctx"]["discriminator"].strip("'"))
    field = field_at(loc)
    meaning = field.description if field is not None else None
    return Fault(path, expected(kind, details.get("ctx", {}), meaning or "", details["msg"]))


def _path(loc: KeyPath, data: object) -> KeyPath:
    """Location without the tags that a tagged union puts into it."""
    path: KeyPath = ()
    last = len(loc) - 1
    for index, key in enumerate(loc):
        inside = _inside(data, key)
        if inside is None and index < last:
            continue
        path = (*path, key)
        data = inside
    return path


def _inside(data: object, key: str | int) -> object:
    """Content of a table or list under a key; `None` where there is none."""
    if isinstance(data, dict):
        return data.get(key)
    if isinstance(data, list) and isinstance(key, int) and key < len(data):
        return data[key]
    return None


def _line(path: KeyPath, lines: Mapping[KeyPath, int]) -> int | None:
    """Line of a key; of what it would stand in, where it is absent."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


def _value_text(fault: Fault, data: object) -> str | None:
    """Value as in TOML, shortened; nothing of a table, nor of what may be secret."""
    for key in fault.path:
        data = _inside(data, key)
    if data is None or isinstance(data, dict) or not fault.shown:
        return None
    if fault.path[0] == "broker" and "@" in str(data):
        return None
    return _shortened(_toml(data))


def _toml(value: object) -> str:
    """Value as TOML has it, long lists cut off."""
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value[:_LONGEST]) + "]"
    if isinstance(value, dict):
        return "{...}"
    if isinstance(value, bool | str):
        return json.dumps(value, ensure_ascii=False)
    return str(value)


def _shortened(text: str) -> str:
    """Text cut off where it is too long to read."""
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."
