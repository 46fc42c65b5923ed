"""Line numbers of the keys in a TOML text: the standard reader does not tell them."""

import re
import tomllib
from typing import TypeAlias

KeyPath: TypeAlias = tuple[str | int, ...]
"""Keys and list indices from the top of the file, such as ``("sump", 0, "id")``."""

_SPACE = re.compile(r"[ \t]*")
_GAP = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BASIC = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL = re.compile(r"'[^'\n]*'")
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}(?!")', re.DOTALL)
_LONG_LITERAL = re.compile(r"'''.*?'{3,5}(?!')", re.DOTALL)
_SCALAR = re.compile(r"[^,\]}#\n]+")


def locate(text: str) -> dict[KeyPath, int]:
    """Line of every key, list item and table of a TOML text, counted from 1.

    Parameters
    ----------
    text : str
        What `tomllib.loads` has read without complaint; of any other text nothing is promised.

    Returns
    -------
    lines : dict of KeyPath to int
        A table that several headers or dotted keys build up stands where it is first named.
    """
    return _Locator(text).run()


class _Locator:
    """Walks over the text once."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._line = 1
        self._counted = 0
        self._lines: dict[KeyPath, int] = {}
        self._counts: dict[KeyPath, int] = {}

    def run(self) -> dict[KeyPath, int]:
        """Go over the whole text."""
        table: KeyPath = ()
        self._skip(_GAP)
        while self._at < len(self._text):
            if self._next("["):
                table = self._header()
            else:
                self._pair(table)
            self._skip(_GAP)
        return self._lines

    def _next(self, token: str) -> bool:
        """Whether this token stands here."""
        return self._text.startswith(token, self._at)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        """Go over what the pattern matches here, which may be nothing."""
        match = pattern.match(self._text, self._at)
        if match is None:
            raise ValueError(f"no {pattern.pattern} at offset {self._at}")
        self._at = match.end()
        return match.group()

    def _note(self, path: KeyPath) -> None:
        """Remember the line on which a path is first named."""
        self._line += self._text.count("\n", self._counted, self._at)
        self._counted = self._at
        self._lines.setdefault(path, self._line)

    def _header(self) -> KeyPath:
        """Read ``[a.b]`` or ``[[a.b]]``; gives the path of the table that it opens."""
        brackets = 2 if self._next("[[") else 1
        self._at += brackets
        *outer, last = self._keys()
        path: KeyPath = ()
        for key in outer:
            path = self._entered((*path, key))
        path = (*path, last)
        if brackets == 2:
            self._note(path)
            self._counts[path] = self._counts.get(path, -1) + 1
            path = (*path, self._counts[path])
        self._note(path)
        self._at += brackets
        return path

    def _entered(self, path: KeyPath) -> KeyPath:
        """Path of a table, or of the newest in a list of tables."""
        self._note(path)
        return (*path, self._counts[path]) if path in self._counts else path

    def _keys(self) -> list[str]:
        """Read a dotted key."""
        keys = []
        while True:
            self._skip(_SPACE)
            keys.append(self._key())
            self._skip(_SPACE)
            if not self._next("."):
                return keys
            self._at += 1

    def _key(self) -> str:
        """Read one part of a dotted key."""
        if self._next('"'):
            quoted = self._skip(_BASIC)
            return str(tomllib.loads(f"key = {quoted}")["key"])
        if self._next("'"):
            return self._skip(_LITERAL)[1:-1]
        return self._skip(_BARE)

    def _pair(self, table: KeyPath) -> None:
        """Read ``key = value``."""
        path = table
        for key in self._keys():
            path = (*path, key)
            self._note(path)
        self._at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        """Read a value of any kind."""
        if self._next("["):
            self._list(path)
        elif self._next("{"):
            self._inline_table(path)
        else:
            self._skip(self._scalar())

    def _scalar(self) -> re.Pattern[str]:
        """Pattern of the text, number, date or truth value that stands here."""
        if self._next('"""'):
            return _LONG_BASIC
        if self._next("'''"):
            return _LONG_LITERAL
        if self._next('"'):
            return _BASIC
        return _LITERAL if self._next("'") else _SCALAR

    def _list(self, path: KeyPath) -> None:
        """Read a list and all in it."""
        self._at += 1
        self._skip(_GAP)
        index = 0
        while not self._next("]"):
            self._note((*path, index))
            self._value((*path, index))
            self._after_item()
            index += 1
        self._at += 1

    def _inline_table(self, path: KeyPath) -> None:
        """Read an inline table and all in it."""
        self._at += 1
        self._skip(_GAP)
        while not self._next("}"):
            self._pair(path)
            self._after_item()
        self._at += 1

    def _after_item(self) -> None:
        """Go over the comma, if there is one, and the space around it."""
        self._skip(_GAP)
        if self._next(","):
            self._at += 1
            self._skip(_GAP)
