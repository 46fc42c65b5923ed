"""JSON is read strictly."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.decode.json_payload import parse
from agent.decode.problem import PayloadError
from agent.decode.results import Reason


@pytest.mark.parametrize(
    ("payload", "reason", "words"),
    [
        (b"", Reason.EMPTY, ""),
        (b"{", Reason.NOT_JSON, "line 1, column 2"),
        (b'{"v": 1}{"v": 2}', Reason.NOT_JSON, "Extra data"),
        (b"{'v': 1}", Reason.NOT_JSON, ""),
        (b'{"v": 1,}', Reason.NOT_JSON, ""),
        (b'{"v": 01}', Reason.NOT_JSON, ""),
        (b'{"v": NaN}', Reason.NOT_JSON, "NaN"),
        (b'{"v": -Infinity}', Reason.NOT_JSON, "Infinity"),
        (b'{"v": 1, "w": 2, "v": 3}', Reason.NOT_JSON, "'v' stands twice"),
        (b'{"v": "a\tb"}', Reason.NOT_JSON, "control character"),
        (b"[" * 60_000, Reason.NOT_JSON, "nested too deeply"),
        (b'{"v":' * 10_000 + b"1" + b"}" * 10_000, Reason.NOT_JSON, "nested too deeply"),
        (b'{"v": "\xff"}', Reason.NOT_TEXT, "byte 7"),
        ('{"v": 1}'.encode("utf-16"), Reason.NOT_TEXT, "UTF-8"),
        ('{"v": 1}'.encode("utf-32-be"), Reason.NOT_TEXT, "zero bytes"),
    ],
)
def test_what_is_not_json_is_refused(payload, reason, words):
    """The detail says where it stops being JSON."""
    with pytest.raises(PayloadError) as caught:
        parse(payload)

    assert caught.value.reason is reason
    assert words in caught.value.detail


def test_numbers_are_floats_however_large():
    """Whole numbers too; one that no double holds is infinite, and refused where it is used."""
    assert parse(b'{"a": 1, "b": 1e999}') == {"a": 1.0, "b": float("inf")}
    assert parse(b"1" + b"0" * 5000) == float("inf")


def test_a_byte_order_mark_is_passed_over():
    """RFC 8259, section 8.1, lets a reader ignore it."""
    assert parse(b"\xef\xbb\xbf[]") == []


@given(st.binary(max_size=60))
def test_bytes_are_what_the_standard_library_reads_or_refused(payload):
    """Whatever bytes come, the document is the usual one of that text, or there is a reason."""
    try:
        document = parse(payload)
    except PayloadError:
        return
    assert document == json.loads(payload.decode("utf-8-sig"))
