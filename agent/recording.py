"""Recordings: timed messages as they came off the broker, one JSON object a line.

``{"at": "2026-03-02T06:00:00Z", "topic": "north/mill-07/level", "payload": "412.5"}``, with
``payload_base64`` for bytes that are not text, ``"retain": true`` where it was retained,
``"redelivered": true`` where the broker said so and ``"queued": true`` where it may have waited for
the agent; a line with ``at`` alone is a tick.
"""

import binascii
import json
import logging
import os
from base64 import b64decode, b64encode
from collections.abc import Iterable, Iterator
from io import FileIO
from pathlib import Path

from pydantic_core import from_json

from agent.arrival import Arrival, Tick
from agent.errors import RecordingError, StoreError, StoreUnavailable
from agent.instants import instant_of, text_of

LOG = logging.getLogger("millpond.recording")

_ENCODE = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
_MARKS = ("retain", "redelivered", "queued")
_new = tuple.__new__
_KEYS = frozenset({"at", "topic", "payload", "payload_base64", *_MARKS})


def read_recording(lines: Iterable[bytes]) -> Iterator[Arrival | Tick]:
    """Read a recording line by line, as the lines come; blank lines are passed over.

    A line that is earlier than the one before it gets that one's time, since nothing arrives
    before what arrived already; the first such line is logged.

    Parameters
    ----------
    lines : iterable of bytes
        A file opened for bytes, a pipe, or a list.

    Raises
    ------
    RecordingError
        If a line is none of a recording; it names the line and says what was expected.
    """
    newest: int | None = None
    said = False
    for number, line in enumerate(lines, start=1):
        try:
            item = parse_line(line)
        except ValueError as error:
            if not line.strip():
                continue
            raise RecordingError(number, str(error)) from error
        if newest is not None and item.at < newest:
            if not said:
                said = True
                LOG.warning("line %d is earlier than a line before it: its time is moved", number)
            item = _at(item, newest)
        newest = item.at
        yield item


def parse_line(line: bytes) -> Arrival | Tick:
    """Read one line.

    Raises
    ------
    ValueError
        If it is none of a recording; its text says what was expected.
    """
    fields = from_json(line)
    if isinstance(fields, dict) and len(fields) == 3:
        # Nearly all are such: they take the short way.
        at, topic, payload = fields.get("at"), fields.get("topic"), fields.get("payload")
        if topic and isinstance(at, str) and isinstance(topic, str) and isinstance(payload, str):
            return _new(Arrival, (instant_of(at), topic, payload.encode(), False, False, False))
    if not isinstance(fields, dict):
        raise ValueError(f"expected a JSON object, found {type(fields).__name__}")  # noqa: TRY004  a value of the input, not of the program
    at = fields.get("at")
    if not isinstance(at, str):
        raise ValueError('expected "at", an RFC 3339 time')  # noqa: TRY004  as above
    instant = instant_of(at)
    if len(fields) == 1:
        return Tick(instant)
    if not fields.keys() <= _KEYS:
        unknown = min(fields.keys() - _KEYS)
        raise ValueError(f'unknown key "{unknown}"; known: {", ".join(sorted(_KEYS))}')
    topic = fields.get("topic")
    if not isinstance(topic, str) or not topic:
        raise ValueError('expected "topic", a text that is not empty')
    payload = _payload(fields)
    if len(fields) == 3:
        return Arrival(instant, topic, payload)
    return Arrival(instant, topic, payload, *(_mark(fields, name) for name in _MARKS))


def _mark(fields: dict[str, object], name: str) -> bool:
    """Read one of the marks; one that is absent is false."""
    found = fields.get(name, False)
    if not isinstance(found, bool):
        raise ValueError(f'"{name}": expected true or false')  # noqa: TRY004  a value of the input
    return found


def _payload(fields: dict[str, object]) -> bytes:
    """Read the payload's bytes."""
    text = fields.get("payload")
    encoded = fields.get("payload_base64")
    if isinstance(text, str) and encoded is None:
        return text.encode()
    if isinstance(encoded, str) and text is None:
        try:
            return b64decode(encoded, validate=True)
        except binascii.Error as error:
            raise ValueError(f'"payload_base64": {error}') from error
    raise ValueError('expected either "payload" or "payload_base64", a text')


def _at(item: Arrival | Tick, at: int) -> Arrival | Tick:
    """Make the same item with another time."""
    if isinstance(item, Tick):
        return Tick(at)
    return item._replace(at=at)


def line_of(item: Arrival | Tick) -> bytes:
    """Write one line, with its end; the same item always gives the same bytes."""
    at = text_of(item.at)
    if isinstance(item, Tick):
        return f'{{"at":"{at}"}}\n'.encode()
    try:
        payload = f'"payload":{_ENCODE(item.payload.decode())}'
    except UnicodeDecodeError:
        payload = f'"payload_base64":"{b64encode(item.payload).decode()}"'
    marks = "".join([f',"{name}":true' for name in _MARKS if getattr(item, name)])
    return f'{{"at":"{at}","topic":{_ENCODE(item.topic)},{payload}{marks}}}\n'.encode()


class RecordingWriter:
    """Keeps a recording of what arrives; goes on at the end of a file that is there already.

    Parameters
    ----------
    path : Path
        The file. A last line without an end, left by a crash, is cut off.

    Raises
    ------
    StoreError
        If it cannot be opened for writing.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._pending = b""
        try:
            self._file = path.open("a+b", buffering=0)
            _cut_torn_line(self._file)
        except OSError as error:
            raise StoreError(path, error.strerror or str(error)) from error

    def add(self, items: Iterable[Arrival | Tick]) -> None:
        """Put items behind those that wait to be written."""
        self._pending += b"".join(map(line_of, items))

    def flush(self) -> None:
        """Write what waits, down to the operating system.

        Raises
        ------
        StoreUnavailable
            If the disk is full or away; what is left goes out with the next call.
        """
        try:
            while self._pending:
                self._pending = self._pending[self._file.write(self._pending) :]
        except OSError as error:
            raise StoreUnavailable(self._path, error.strerror or str(error)) from error

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def _cut_torn_line(file: FileIO) -> None:
    """Cut off what follows the last end of a line."""
    end = file.seek(0, os.SEEK_END)
    while end:
        begin = max(0, end - 65_536)
        file.seek(begin)
        place = file.read(end - begin).rfind(b"\n")
        if place >= 0:
            end = begin + place + 1
            break
        end = begin
    file.truncate(end)
