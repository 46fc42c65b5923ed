"""Writes TOML for tests: the standard library only reads it."""

import json
import math
from typing import Any


def toml_text(table: dict[str, Any]) -> str:
    """The table as TOML, tables below the top written inline."""
    return "".join(f"{quoted(key)} = {value_text(value)}\n" for key, value in table.items())


def value_text(value: Any) -> str:
    """A value as TOML."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return quoted(value)
        case float() if not math.isfinite(value):
            return str(value)  # nan, inf, -inf, as TOML has them
        case int() | float():
            return repr(value)
        case list():
            return "[" + ", ".join(map(value_text, value)) + "]"
        case dict():
            pairs = (f"{quoted(key)} = {value_text(item)}" for key, item in value.items())
            return "{" + ", ".join(pairs) + "}"
    raise TypeError(type(value))


def quoted(text: str) -> str:
    """A basic string; JSON's escapes are TOML's too, but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
