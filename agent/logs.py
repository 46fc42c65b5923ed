"""The log: plain lines for people, or one JSON object a line for programs.

Whatever a message carries, a record cannot pass for two, and no secret that this process was given
is in it.
"""

import json
import logging
import os
import re
import sys
import traceback
from collections.abc import Iterable, Mapping
from typing import Any, Literal, TypeAlias

from agent.instants import text_of

Form: TypeAlias = Literal["plain", "json"]
FORMS: tuple[Form, ...] = ("plain", "json")

SHORTEST_SECRET = 4
"""Shorter ones are not looked for: they would stand in every other word. [characters]"""
HIDDEN = "***"

_UNPRINTED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
"""Controls but tab and line feed; marks that turn a line around (Unicode, 23.2)."""
_SYSLOG = {logging.DEBUG: 7, logging.INFO: 6, logging.WARNING: 4, logging.ERROR: 3}
"""Severities of RFC 5424, table 2, by which a service manager sorts lines (sd-daemon(3))."""


def log_to_stderr(form: Form = "plain", secrets: Iterable[str] = ()) -> None:
    """Write what happens to standard error.

    Parameters
    ----------
    form : {'plain', 'json'}
        Lines for people or for programs.
    secrets : iterable of str
        What must never stand in a line.
    """
    hidden = tuple(sorted({s for s in secrets if len(s) >= SHORTEST_SECRET}, key=len, reverse=True))
    handler = logging.StreamHandler(sys.stderr)
    journal = "JOURNAL_STREAM" in os.environ
    handler.setFormatter(Objects(hidden) if form == "json" else Lines(hidden, journal=journal))
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    for library in ("apscheduler", "uvicorn"):
        logging.getLogger(library).setLevel(logging.WARNING)


class Lines(logging.Formatter):
    """One line a record; what has several goes on indented.

    Parameters
    ----------
    hidden : tuple of str
        Secrets, the longest first.
    journal : bool
        Whether a service manager's journal takes the lines: it has the time, and wants a severity.
    """

    def __init__(self, hidden: tuple[str, ...], *, journal: bool) -> None:
        super().__init__()
        self._hidden = hidden
        self._journal = journal

    def format(self, record: logging.LogRecord) -> str:
        """Write a record."""
        told = _printed(_without(self._hidden, _told(record))).replace("\n", "\n    ")
        body = f"{record.levelname} {record.name}: {told}"
        if self._journal:
            return f"<{_SYSLOG.get(record.levelno, 5)}>{body}"
        return f"{text_of(_at(record))} {body}"


class Objects(logging.Formatter):
    """One JSON object a record: `at`, `level`, `from`, `said`, and what else is known by name.

    Parameters
    ----------
    hidden : tuple of str
        Secrets, the longest first.
    """

    def __init__(self, hidden: tuple[str, ...]) -> None:
        super().__init__()
        self._hidden = hidden

    def format(self, record: logging.LogRecord) -> str:
        """Write a record."""
        body: dict[str, Any] = {
            "at": text_of(_at(record)),
            "level": record.levelname.lower(),
            "from": record.name,
            "said": record.getMessage(),
            **getattr(record, "facts", {}),
        }
        if record.exc_info:
            body["traceback"] = "".join(traceback.format_exception(*record.exc_info))
        kept = {key: self._clean(value) for key, value in body.items()}
        return json.dumps(kept, ensure_ascii=True, default=str)

    def _clean(self, value: object) -> object:
        """The value without secrets."""
        return _without(self._hidden, value) if isinstance(value, str) else value


def facts(**known: object) -> Mapping[str, Mapping[str, object]]:
    """What a record is about, by name, beside its words, for the `extra` of a log call."""
    return {"facts": known}


def _at(record: logging.LogRecord) -> int:
    """When it was said. [ms]"""
    return int(record.created * 1000)


def _told(record: logging.LogRecord) -> str:
    """Words of a record, with its traceback."""
    told = record.getMessage()
    if record.exc_info:
        told += "\n" + "".join(traceback.format_exception(*record.exc_info)).rstrip("\n")
    return told


def _without(hidden: Iterable[str], text: str) -> str:
    """The text with every secret taken out."""
    for secret in hidden:
        text = text.replace(secret, HIDDEN)
    return text


def _printed(text: str) -> str:
    """The text with everything escaped that a terminal would obey."""
    return _UNPRINTED.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)
