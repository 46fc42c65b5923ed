"""Changes to the text of a plant file that leave all the rest of it as it is, comments included.

The text is edited by tomlkit, and read again by another reader: what comes out must say exactly
what was wanted, or it is not taken.
"""

import copy
import tomllib
from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from typing import Any, TypeAlias, cast

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import InlineTable, Item, Table

from agent.errors import MillpondError

Values: TypeAlias = Mapping[str, Any]
"""New values by key; `None` takes a key away, a mapping is merged into the table of its key."""


class EditError(MillpondError):
    """A text that cannot be edited here; its own lines have to be changed by hand."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is to be said otherwise.

    Parameters
    ----------
    table : str
        ``sump`` or ``concentrate``: which array of tables.
    id : str
        Of the entry; a new one is added where there is none.
    values : Values
        What is to stand there.
    signal : str
        Of a sump, where the values are those of a signal.
    is_removal : bool
        Takes the signal away.
    """

    table: str
    id: str
    values: Values = field(default_factory=dict)
    signal: str = ""
    is_removal: bool = False


def edited(text: str, change: Change) -> str:
    """Text with a change made.

    Raises
    ------
    EditError
        If the text is no TOML, or says something else afterwards than was wanted.
    """
    try:
        wanted = _wanted(tomllib.loads(text), change)
        document = tomlkit.parse(text)
        _apply(document, change)
        found = _spaced(text, tomlkit.dumps(document))
        same = tomllib.loads(found) == wanted
    except (TOMLKitError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise EditError(f"the plant file cannot be edited here: {error}") from error
    if not same:
        raise EditError("the plant file is written in a way that cannot be edited here")
    return found


# --- what shall come out, as plain data ----------------------------------------------------------


def _wanted(data: dict[str, Any], change: Change) -> dict[str, Any]:
    """Data that the text has to say afterwards."""
    data = copy.deepcopy(data)
    entries = data.setdefault(change.table, [])
    entry = next((each for each in entries if each.get("id") == change.id), None)
    if entry is None:
        entry = {"id": change.id}
        entries.append(entry)
    if not change.signal:
        _merge(entry, change.values)
        return data
    signals = entry.setdefault("signals", {})
    if change.is_removal:
        signals.pop(change.signal, None)
    else:
        _merge(signals.setdefault(change.signal, {}), change.values)
    return data


def _merge(target: MutableMapping[str, Any], values: Values) -> None:
    """Put values in place."""
    for key, value in values.items():
        if value is None:
            target.pop(key, None)
        elif isinstance(value, Mapping) and isinstance(target.get(key), MutableMapping):
            _merge(target[key], value)
        else:
            target[key] = (
                {k: v for k, v in value.items() if v is not None}
                if isinstance(value, Mapping)
                else value
            )


# --- the same in the text ------------------------------------------------------------------------


def _apply(document: tomlkit.TOMLDocument, change: Change) -> None:
    """Make the change in the document."""
    entries: Any = document.get(change.table)
    if entries is None:
        entries = document[change.table] = tomlkit.aot()
    entry: Any = next((each for each in entries if each.get("id") == change.id), None)
    if entry is None:
        entry = tomlkit.table()
        entry["id"] = change.id
        _put(entry, change.values)
        entries.append(entry)
        return
    if not change.signal:
        _put(entry, change.values)
        return
    signals = entry.get("signals")
    if change.is_removal:
        if signals is not None:
            signals.remove(change.signal)
        return
    if signals is None:
        signals = entry["signals"] = tomlkit.table(is_super_table=True)
    if change.signal in signals:
        _put(signals[change.signal], change.values)
        return
    signal = tomlkit.inline_table() if isinstance(signals, InlineTable) else tomlkit.table()
    _put(signal, change.values)
    signals[change.signal] = signal


def _put(target: Any, values: Values) -> None:  # noqa: ANN401  a table of tomlkit, of any kind
    """Put values in place; those that stand already keep their comments."""
    for key, value in values.items():
        if value is None:
            if key in target:
                target.remove(key)
        elif isinstance(value, Mapping) and isinstance(target.get(key), InlineTable):
            merged = {**target[key].unwrap(), **value}
            target[key] = _item({k: v for k, v in merged.items() if v is not None})
        elif isinstance(value, Mapping) and isinstance(target.get(key), Table):
            _put(target[key], value)
        elif key in target:
            if target[key] != value:
                target[key] = _item(value)
        else:
            _add(target, key, _item(value))


def _item(value: object) -> Item:
    """A value as it is written where it is new; small tables in one line."""
    if not isinstance(value, Mapping):
        return tomlkit.item(value)
    inside = ", ".join(
        f"{key} = {tomlkit.item(inner).as_string()}"
        for key, inner in value.items()
        if inner is not None
    )
    return cast(Item, tomlkit.parse(f"it = {{ {inside} }}")["it"])


def _add(target: Any, key: str, item: Item) -> None:  # noqa: ANN401  a table of tomlkit
    """Add a key behind the last plain one that has a value: before comments and inner tables."""
    if isinstance(target, InlineTable):
        target[key] = item
        return
    body = target.value.body
    plain = [each.key for each, inner in body if each is not None and not isinstance(inner, Table)]
    if not plain:
        target[key] = item
        return
    target.value._insert_after(plain[-1], key, item)  # noqa: SLF001  tomlkit has no other way to say where


def blocks(before: str, after: str) -> list[tuple[str, list[str]]]:
    """Lines of two texts: those of both (`` ``), of the first (``-``), of the second (``+``)."""
    old, new = before.split("\n"), after.split("\n")
    shorter = min(len(old), len(new))
    head = next((n for n in range(shorter) if old[n] != new[n]), shorter)
    rest = shorter - head
    tail = next((n for n in range(rest) if old[-1 - n] != new[-1 - n]), rest)
    found = [(" ", old[:head])]
    first, second = old[head : len(old) - tail], new[head : len(new) - tail]
    for what, a, b, c, d in SequenceMatcher(None, first, second, autojunk=False).get_opcodes():
        found += [(" ", first[a:b])] if what == "equal" else [("-", first[a:b]), ("+", second[c:d])]
    return [(sign, lines) for sign, lines in [*found, (" ", old[len(old) - tail :])] if lines]


def _spaced(before: str, after: str) -> str:
    """Text with one blank line before and after each table that is new in it."""
    kept = [(sign, lines) for sign, lines in blocks(before, after) if sign != "-"]
    found: list[str] = []
    for place, (sign, lines) in enumerate(kept):
        block = lines
        if sign == "+" and any(line.startswith("[") for line in lines):
            follows = kept[place + 1][1][0] if place + 1 < len(kept) else ""
            block = _trimmed(lines)
            block = [""] * bool(found and found[-1].strip()) + block + [""] * bool(follows.strip())
        found += block
    return "\n".join(found)


def _trimmed(block: list[str]) -> list[str]:
    """Lines without blank ones at their ends."""
    while block and not block[-1].strip():
        block = block[:-1]
    while block and not block[0].strip():
        block = block[1:]
    return block
