"""A bare number, and text that shall be a number: what counts as one and what does not.

Accepted: decimal digits with a point, sign and exponent as JSON, C and most controllers write them
(``412.5``, ``+7``, ``.5``, ``5.``, ``1e3``), blanks and line ends around it, a UTF-8 byte order
mark before it. Everything else is refused, what Python alone takes for a number included
(``1_000``, ``nan``, digits of other scripts).
"""

import re
from math import isfinite
from typing import NoReturn

from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.refusals import shown

_BLANKS = " \t\r\n\v\f"
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_BOM = "\ufeff"


def number(payload: bytes) -> float:
    r"""Read a payload that is a number and nothing else.

    Raises
    ------
    PayloadError
        Empty, not text, not a number, or a number too large to be one.

    Examples
    --------
    >>> number(b" 412.5\n")
    412.5
    """
    return number_in(text_of(payload))


def number_in(text: str) -> float:
    """Read text that is a number and nothing else.

    Raises
    ------
    PayloadError
        As `number`.
    """
    bare = text.strip(_BLANKS)
    if _NUMBER.fullmatch(bare) is None:
        _explain(bare)
    value = float(bare)
    if not isfinite(value):
        raise PayloadError(Reason.RANGE, f"{shown(bare)} is beyond what a number can hold")
    return value


def text_of(payload: bytes) -> str:
    """Text of a payload: UTF-8, its byte order mark taken off.

    Raises
    ------
    PayloadError
        If there is nothing in it, or it is not UTF-8.
    """
    if not payload:
        raise PayloadError(Reason.EMPTY, "the payload is empty; expected a value")
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError as error:
        raise PayloadError(
            Reason.NOT_TEXT, f"byte {error.start} is no UTF-8; expected UTF-8 text"
        ) from error
    if "\0" in text:
        raise PayloadError(
            Reason.NOT_TEXT, "there are zero bytes in it (UTF-16?); expected UTF-8 text"
        )
    return text.removeprefix(_BOM)


def _explain(text: str) -> NoReturn:
    """Say why a text is no number, with a hint where the cause is a common one."""
    if not text:
        raise PayloadError(Reason.EMPTY, "nothing but blanks; expected a number")
    plain = text.replace(",", ".", 1)
    start = _NUMBER.match(text)
    if "," in text and _NUMBER.fullmatch(plain):
        hint = "a decimal comma; expected a point"
    elif text[0] in "{[":
        hint = "JSON, but no value_pointer is set; expected a bare number"
    elif start is not None and start.end() < len(text):
        hint = f"a number with {shown(text[start.end() :])} after it; expected the number alone"
    else:
        hint = "no number; expected one such as 412.5"
    raise PayloadError(Reason.NOT_A_NUMBER, f"{shown(text)} is {hint}")
