"""A plant file as it was read, looked at piece by piece, whatever else is wrong with it.

The models judge each key alone. What must hold between keys is checked on these parts, so that a
person sees all that is wrong at once: a key that is no usable number, text or list is left to the
models and reads as `None` here.
"""

import math
from collections.abc import Iterator
from typing import Any

from agent.plant.locate import KeyPath
from agent.plant.problems import Fault


class Part:
    """A table of the file, or nothing where the file has none.

    Parameters
    ----------
    data : object
        What stands there.
    path : KeyPath
        Where that is.
    """

    def __init__(self, data: object, path: KeyPath = ()) -> None:
        self._data: dict[str, Any] = data if isinstance(data, dict) else {}
        self.path = path
        self.there = isinstance(data, dict)

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def table(self) -> dict[str, Any]:
        """All of it, as it was read."""
        return self._data

    def raw(self, key: str) -> object:
        """Whatever stands under the key."""
        return self._data.get(key)

    def __iter__(self) -> Iterator[str]:
        return iter(self._data)

    def number(self, key: str) -> float | None:
        """Finite number under the key."""
        return _number(self._data.get(key))

    def text(self, key: str, otherwise: str | None = None) -> str | None:
        """Text under the key; `otherwise` where the key is absent."""
        value = self._data.get(key, otherwise)
        return value if isinstance(value, str) else None

    def numbers(self, key: str) -> list[float] | None:
        """Numbers under the key, if it is a list of them."""
        value = self._data.get(key)
        if not isinstance(value, list):
            return None
        numbers = [number for item in value if (number := _number(item)) is not None]
        return numbers if len(numbers) == len(value) else None

    def texts(self, key: str) -> list[str]:
        """Texts in the list under the key."""
        value = self._data.get(key)
        return [item for item in value if isinstance(item, str)] if isinstance(value, list) else []

    def part(self, key: str) -> "Part":
        """Table under the key."""
        return Part(self._data.get(key), (*self.path, key))

    def parts(self, key: str) -> Iterator["Part"]:
        """Tables in the list under the key."""
        value = self._data.get(key)
        for index, item in enumerate(value if isinstance(value, list) else ()):
            yield Part(item, (*self.path, key, index))

    def fault(self, key: str | int | None, expected: str, *, shown: bool = True) -> Fault:
        """Something is wrong with a key of this table, or with the table itself."""
        return Fault(self.path if key is None else (*self.path, key), expected, shown=shown)


def _number(value: object) -> float | None:
    """Finite number, as a float."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None
