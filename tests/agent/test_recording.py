"""Recordings: read as written, errors that name the line, a writer that survives crashes."""

import json
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.arrival import Arrival, Tick
from agent.errors import RecordingError, StoreError, StoreUnavailable
from agent.recording import RecordingWriter, line_of, read_recording

# the years 1970 to 2261
instants = st.integers(0, 9_200_000_000_000)
arrivals = st.builds(
    Arrival,
    at=instants,
    topic=st.text(st.characters(codec="utf-8"), min_size=1, max_size=40),
    payload=st.one_of(st.binary(max_size=60), st.text(max_size=60).map(str.encode)),
    retain=st.booleans(),
    redelivered=st.booleans(),
    queued=st.booleans(),
)


def read(*lines: str) -> list[Arrival | Tick]:
    """Read lines of text."""
    return list(read_recording(line.encode() + b"\n" for line in lines))


@given(st.lists(st.one_of(arrivals, st.builds(Tick, instants)), max_size=20))
def test_what_is_written_is_read_back_equal(items: list[Arrival | Tick]) -> None:
    """Any topic, any bytes, any order of ticks and messages; one line each."""
    items.sort(key=lambda item: item.at)
    lines = [line_of(item) for item in items]

    assert list(read_recording(lines)) == items
    assert all(line.count(b"\n") == 1 for line in lines)


def test_the_lines_are_those_of_the_design() -> None:
    """Keys, their order, and what is left out, byte for byte."""
    at = 1_772_431_200_000

    assert line_of(Arrival(at, "north/mill-07/level", b"412.5")) == (
        b'{"at":"2026-03-02T06:00:00Z","topic":"north/mill-07/level","payload":"412.5"}\n'
    )
    assert line_of(Arrival(at + 250, "t", b"\xff\x00", retain=True)) == (
        b'{"at":"2026-03-02T06:00:00.250Z","topic":"t","payload_base64":"/wA=","retain":true}\n'
    )
    assert line_of(Arrival(at, "t", b"1", redelivered=True, queued=True)) == (
        b'{"at":"2026-03-02T06:00:00Z","topic":"t","payload":"1",'
        b'"redelivered":true,"queued":true}\n'
    )
    assert line_of(Tick(at)) == b'{"at":"2026-03-02T06:00:00Z"}\n'


def test_offsets_and_fractions_of_a_second_are_understood() -> None:
    """RFC 3339, section 5.8: 1985-04-12T23:20:50.52Z is 20 minutes and 50.52 s after the 23rd hour;
    1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z."""
    first, second = read('{"at": "1985-04-12T23:20:50.52Z"}', '{"at": "1996-12-19T16:39:57-08:00"}')

    assert (first.at // 3_600_000 % 24, first.at % 3_600_000) == (23, 20 * 60_000 + 50_520)
    assert line_of(second) == b'{"at":"1996-12-20T00:39:57Z"}\n'


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ('{"at": "2026-03-02T06:00:00Z", "topic": "t", "payload": "1"', "line 3: .*EOF"),
        ("[1]", "line 3: expected a JSON object, found list"),
        ("42", "line 3: expected a JSON object"),
        ("{}", 'line 3: expected "at"'),
        ('{"at": 5}', 'line 3: expected "at"'),
        ('{"at": "yesterday"}', "line 3: expected an RFC 3339 time"),
        ('{"at": "2026-03-02T06:00:00"}', "line 3: expected an RFC 3339 time with offset"),
        ('{"at": "2026-02-30T06:00:00Z"}', "line 3: .*day"),
        ('{"at": "2026-03-02T06:00:00Z", "topic": "t"}', 'line 3: expected either "payload"'),
        ('{"at": "2026-03-02T06:00:00Z", "payload": "1"}', 'line 3: expected "topic"'),
        ('{"at": "2026-03-02T06:00:00Z", "topic": "", "payload": "1"}', 'line 3: expected "topic"'),
        (
            '{"at": "2026-03-02T06:00:00Z", "topic": "t", "payload": 412.5}',
            'line 3: expected either "payload" or "payload_base64", a text',
        ),
        (
            '{"at": "2026-03-02T06:00:00Z", "topic": "t", "payload": "", "payload_base64": ""}',
            "line 3: expected either",
        ),
        (
            '{"at": "2026-03-02T06:00:00Z", "topic": "t", "payload_base64": "/w"}',
            'line 3: "payload_base64": Incorrect padding',
        ),
        (
            '{"at": "2026-03-02T06:00:00Z", "topic": "t", "payload": "1", "retain": 1}',
            'line 3: "retain": expected true or false',
        ),
        (
            '{"at": "2026-03-02T06:00:00Z", "topic": "t", "payload": "1", "qos": 1}',
            'line 3: unknown key "qos"; known: at, payload',
        ),
    ],
)
def test_a_line_that_is_none_is_named_with_what_was_expected(line: str, expected: str) -> None:
    """Lines before it have been read; blank lines count."""
    lines = ['{"at": "2026-03-02T06:00:00Z"}', "", line]
    got: list[Arrival | Tick] = []

    with pytest.raises(RecordingError, match=expected) as caught:
        got.extend(read_recording(text.encode() + b"\n" for text in lines))
    assert caught.value.line == 3
    assert len(got) == 1


def test_bytes_that_are_not_utf_8_are_named_too() -> None:
    """A file of another encoding is no recording."""
    with pytest.raises(RecordingError, match="line 1: "):
        list(read_recording([b'{"at": "2026-03-02T06:00:00Z", "topic": "\xff", "payload": ""}']))


def test_a_line_out_of_order_is_moved_and_said_once(caplog: pytest.LogCaptureFixture) -> None:
    """Nothing arrives before what has arrived already."""
    items = read(
        '{"at": "2026-03-02T06:00:00Z"}',
        '{"at": "2026-03-02T05:00:00Z", "topic": "t", "payload": "1", "retain": true}',
        '{"at": "2026-03-02T05:30:00Z"}',
        '{"at": "2026-03-02T07:00:00Z"}',
    )
    six = items[0].at

    assert items[1:3] == [Arrival(six, "t", b"1", retain=True), Tick(six)]
    assert [record.getMessage() for record in caplog.records] == [
        "line 2 is earlier than a line before it: its time is moved"
    ]


def test_lines_are_read_as_they_come() -> None:
    """A simulator at the other end of a pipe waits for an answer to each tick."""
    readable, writable = os.pipe()
    with os.fdopen(readable, "rb") as source, os.fdopen(writable, "wb", buffering=0) as sink:
        items = read_recording(source)
        for at in (1000, 2000):
            sink.write(line_of(Tick(at)))
            assert next(items) == Tick(at)


def test_the_writer_goes_on_behind_the_last_whole_line(tmp_path: Path) -> None:
    """A line torn by a crash is cut off; what is whole stays."""
    path = tmp_path / "record.jsonl"
    whole = line_of(Arrival(1000, "t", b"x" * 70_000))
    path.write_bytes(whole + line_of(Arrival(2000, "t", b"y" * 150_000))[:-1])
    writer = RecordingWriter(path)
    writer.add([Tick(3000)])
    writer.flush()
    writer.close()

    assert path.read_bytes() == whole + line_of(Tick(3000))


def test_a_file_that_is_one_torn_line_starts_anew(tmp_path: Path) -> None:
    """There is no whole line to go on behind."""
    path = tmp_path / "record.jsonl"
    path.write_bytes(b'{"at"')
    writer = RecordingWriter(path)
    writer.add([Tick(0)])
    writer.flush()
    writer.close()

    assert json.loads(path.read_text()) == {"at": "1970-01-01T00:00:00Z"}


def test_a_disk_that_is_full_is_said_and_what_is_left_goes_out_later(tmp_path: Path) -> None:
    """The kernel's own full device; then a real file in its place."""
    writer = RecordingWriter(tmp_path / "record.jsonl")
    real = writer._file
    writer.add([Tick(0)])
    with open("/dev/full", "ab", buffering=0) as full:  # noqa: PTH123  a device
        writer._file = full
        with pytest.raises(StoreUnavailable, match="No space left"):
            writer.flush()
    writer._file = real
    writer.add([Tick(1000)])
    writer.flush()
    writer.close()

    assert (tmp_path / "record.jsonl").read_bytes() == line_of(Tick(0)) + line_of(Tick(1000))


def test_a_recording_that_cannot_be_opened_is_said(tmp_path: Path) -> None:
    """Before anything is taken in."""
    with pytest.raises(StoreError, match="No such file or directory"):
        RecordingWriter(tmp_path / "none" / "record.jsonl")
