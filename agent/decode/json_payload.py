"""JSON payloads of a plant's own making: strict reading, and RFC 6901 pointers into them."""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NoReturn

from jsonpointer import JsonPointer, JsonPointerException

from agent.decode.bare import text_of
from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.refusals import shown


class Missing:
    """What a pointer finds where there is nothing; `null` is something."""


MISSING = Missing()


class Pointer:
    """A JSON pointer, taken apart once and followed often.

    Parameters
    ----------
    text : str
        The pointer, such as ``/data/v``; empty for the whole document.

    Raises
    ------
    ValueError
        If it is no pointer.

    References
    ----------
    .. [1] P. Bryan, K. Zyp and M. Nottingham, "JavaScript Object Notation (JSON) Pointer",
       RFC 6901, 2013.

    Examples
    --------
    >>> Pointer("/data/0/v").find({"data": [{"v": 7.9}]})
    7.9
    """

    def __init__(self, text: str) -> None:
        try:
            tokens = JsonPointer(text).parts
        except JsonPointerException as error:
            raise ValueError(f"{text!r} is no JSON pointer: {error}") from error
        self.text = text
        self._steps = tuple((token, _index_of(token)) for token in tokens)

    def find(self, document: object) -> object:
        """Follow the pointer; `MISSING` where it leads nowhere."""
        found = document
        for key, index in self._steps:
            if isinstance(found, dict):
                found = found.get(key, MISSING)
            elif isinstance(found, list) and 0 <= index < len(found):
                found = found[index]
            else:
                return MISSING
        return found


def _index_of(token: str) -> int:
    """Place in an array that a token means; -1 where it means none (RFC 6901, section 4)."""
    if token.isascii() and token.isdigit() and (token == "0" or token[0] != "0"):  # noqa: S105  a pointer's token, no secret
        return int(token) if len(token) < 10 else -1
    return -1


def parse(payload: bytes) -> object:
    """Read a JSON document strictly; its numbers are floats, as large as they may be.

    Raises
    ------
    PayloadError
        Empty, not UTF-8, not JSON (NaN and Infinity are not), nested too deeply, or with a key
        that stands twice in one object, since nobody knows which is meant.

    References
    ----------
    .. [1] T. Bray, "The JavaScript Object Notation (JSON) Data Interchange Format", RFC 8259, 2017,
       sections 4 (names should be unique), 6 (no NaN, no infinity), 8.1 (UTF-8).
    """
    text = text_of(payload)
    try:
        return _DECODER.decode(text)
    except json.JSONDecodeError as error:
        what = f"{error.msg} at line {error.lineno}, column {error.colno}"
    except RecursionError:
        what = "it is nested too deeply"
    raise PayloadError(Reason.NOT_JSON, f"{what}; expected JSON")


def _unique(pairs: Sequence[tuple[str, object]]) -> Mapping[str, object]:
    """Make an object of its members; none may stand twice."""
    found = dict(pairs)
    if len(found) != len(pairs):
        counts = Counter(key for key, _ in pairs)
        twice = next(key for key, count in counts.items() if count > 1)
        raise PayloadError(Reason.NOT_JSON, f"the key {shown(twice)} stands twice in one object")
    return found


def _no_number(text: str) -> NoReturn:
    """Refuse the words that Python's reader takes for numbers."""
    raise PayloadError(Reason.NOT_JSON, f"{text} is not JSON; expected a number or null")


_DECODER = json.JSONDecoder(
    object_pairs_hook=_unique, parse_int=float, parse_constant=_no_number, strict=True
)
