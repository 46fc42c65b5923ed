"""What the models expect, in words for the person who writes the plant file."""

from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

Context: TypeAlias = Mapping[str, Any]

_WORDS: Mapping[str, str] = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "list_type": "a list in brackets",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "finite_number": "a finite number",
    "string_unicode": "a text of valid characters",
}

_WITH_CONTEXT: Mapping[str, Callable[[Context], str]] = {
    "greater_than": lambda c: f"more than {c['gt']:.12g}",
    "greater_than_equal": lambda c: f"at least {c['ge']:.12g}",
    "less_than": lambda c: f"less than {c['lt']:.12g}",
    "less_than_equal": lambda c: f"at most {c['le']:.12g}",
    "literal_error": lambda c: str(c["expected"]),
    "union_tag_invalid": lambda c: f"one of {c['expected_tags']}",
    "too_short": lambda c: f"at least {_counted(c['min_length'], 'item')}",
    "too_long": lambda c: f"at most {_counted(c['max_length'], 'item')}",
    "string_too_short": lambda c: f"at least {_counted(c['min_length'], 'character')}",
    "string_too_long": lambda c: f"at most {_counted(c['max_length'], 'character')}",
    "string_pattern_mismatch": lambda c: _pattern(c["pattern"]),
}

_PATTERNS: Mapping[str, str] = {
    "-(([01]": "hours such as 06:00-22:00",
    "^([01]": "a time of day such as 07:00",
    "[A-Z][A-Z0-9_]": "the name of an environment variable, in capitals",
    "[a-z0-9-]": "lower-case letters, digits and hyphens only",
    "~[01]": "a JSON pointer (RFC 6901), such as /data/v",
    "/+#": "a name without /, + and #",
    "x1f": "one line without control characters",
}
"""What a pattern means, by a piece of it."""


def expected(kind: str, context: Context, meaning: str, otherwise: str) -> str:
    """Say what would have been accepted.

    Parameters
    ----------
    kind : str
        Name of a pydantic error.
    context : mapping
        Its context.
    meaning : str
        Description of the field.
    otherwise : str
        The error's own message, for kinds that have no words here.
    """
    if kind in {"missing", "union_tag_not_found"}:
        return f"missing; expected {meaning}" if meaning else "missing"
    if kind in _WORDS:
        return f"expected {_WORDS[kind]}"
    if kind in _WITH_CONTEXT:
        return f"expected {_WITH_CONTEXT[kind](context)}"
    return otherwise


def _counted(count: int, what: str) -> str:
    """Words for so many of something."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _pattern(pattern: str) -> str:
    """Words for what a pattern accepts."""
    for piece, meaning in _PATTERNS.items():
        if piece in pattern:
            return meaning
    return f"a text that matches {pattern}"
