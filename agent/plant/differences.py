"""What a plant file says key by key, so that a change of it can be told."""

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path

from agent.plant.plant import Plant

SHOWN_MOST = 200
"""Differences that are written down of one change. [1]"""
_VALUE_MOST = 100


def form_of(plant: Plant) -> dict[str, str]:
    """Every value by its path, such as ``sumps.mill-07.levels.target``."""
    return dict(_flat("", plant))


def differences(before: Mapping[str, str], now: Mapping[str, str]) -> tuple[str, ...]:
    """Each path whose value is another, in the order of the paths; bounded, and says so.

    >>> differences({"a": "1", "b": "2"}, {"b": "3", "c": "4"})
    ('a: 1 -> nothing', 'b: 2 -> 3', 'c: nothing -> 4')
    """
    found = [
        f"{key}: {before.get(key, 'nothing')} -> {now.get(key, 'nothing')}"
        for key in sorted(before.keys() | now.keys())
        if before.get(key) != now.get(key)
    ]
    if len(found) > SHOWN_MOST:
        found[SHOWN_MOST:] = [f"and {len(found) - SHOWN_MOST} more"]
    return tuple(found)


def _flat(path: str, value: object) -> Iterator[tuple[str, str]]:
    """Paths and values under a value."""
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from _flat(_joined(path, field.name), getattr(value, field.name))
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _flat(_joined(path, str(key)), inner)
    elif isinstance(value, tuple) and any(is_dataclass(item) for item in value):
        for number, item in enumerate(value):
            yield from _flat(_joined(path, _name(item, number)), item)
    elif isinstance(value, frozenset):
        yield path, ", ".join(sorted(map(str, value)))[:_VALUE_MOST]
    else:
        text = str(value) if isinstance(value, str | Path) else repr(value)
        yield path, " ".join(text.split())[:_VALUE_MOST]


def _joined(path: str, name: str) -> str:
    """Path of a part."""
    return f"{path}.{name}" if path else name


def _name(item: object, number: int) -> str:
    """What an item of a list is called: by its id, its sump and signal, or its place."""
    if hasattr(item, "sump") and hasattr(item, "signal"):
        return f"{item.sump}/{item.signal}"
    return str(getattr(item, "id", number))
