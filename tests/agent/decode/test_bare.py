"""What counts as a bare number."""

from math import isfinite

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.decode.bare import number
from agent.decode.problem import PayloadError
from agent.decode.results import Reason

ACCEPTED = [
    (b"412.5", 412.5),
    (b"-3", -3.0),
    (b"+7", 7.0),
    (b".5", 0.5),
    (b"5.", 5.0),
    (b"1e3", 1000.0),
    (b"1E-3", 0.001),
    (b"007", 7.0),
    (b" 412.5\r\n", 412.5),
    (b"\xef\xbb\xbf412.5", 412.5),  # a UTF-8 byte order mark
    (b"1e-999", 0.0),
]

REFUSED = [
    (b"", Reason.EMPTY, "empty"),
    (b" \n", Reason.EMPTY, "blanks"),
    (b"7,9", Reason.NOT_A_NUMBER, "comma"),
    (b"1,234.5", Reason.NOT_A_NUMBER, ""),
    (b"NaN", Reason.NOT_A_NUMBER, ""),
    (b"inf", Reason.NOT_A_NUMBER, ""),
    (b"-Infinity", Reason.NOT_A_NUMBER, ""),
    (b"0x10", Reason.NOT_A_NUMBER, ""),
    (b"1_000", Reason.NOT_A_NUMBER, ""),
    (b"1e", Reason.NOT_A_NUMBER, ""),
    (b"--1", Reason.NOT_A_NUMBER, ""),
    (b"1 2", Reason.NOT_A_NUMBER, "after it"),
    (b"412.5 mm", Reason.NOT_A_NUMBER, "after it"),
    (b"error", Reason.NOT_A_NUMBER, "no number"),
    (b'{"v": 1}', Reason.NOT_A_NUMBER, "value_pointer"),
    ("٤١٢".encode(), Reason.NOT_A_NUMBER, ""),  # digits of another script
    (b"412.5\x00", Reason.NOT_TEXT, "zero bytes"),
    ("412.5".encode("utf-16"), Reason.NOT_TEXT, "UTF-8"),
    ("412.5".encode("utf-16-le"), Reason.NOT_TEXT, "zero bytes"),
    (b"\xff\xfe", Reason.NOT_TEXT, "byte 0"),
    (b"1e999", Reason.RANGE, "beyond"),
    (b"9" * 400, Reason.RANGE, "beyond"),
]


@pytest.mark.parametrize(("payload", "value"), ACCEPTED)
def test_numbers_as_machines_write_them_are_read(payload, value):
    """Sign, point and exponent as in JSON and C; blanks around and a UTF-8 mark before."""
    assert number(payload) == value


@pytest.mark.parametrize(("payload", "reason", "words"), REFUSED)
def test_everything_else_is_refused_with_what_is_wrong(payload, reason, words):
    """The reason counts it, the detail tells a person what to change."""
    with pytest.raises(PayloadError) as caught:
        number(payload)

    assert caught.value.reason is reason
    assert words in caught.value.detail


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_comes_back(value):
    """What is written as a number is read as the same number."""
    assert number(repr(value).encode()) == value


@given(st.binary(max_size=40))
def test_bytes_are_a_number_or_refused(payload):
    """Whatever bytes come, a finite number or a reason comes back."""
    try:
        value = number(payload)
    except PayloadError:
        return
    assert isfinite(value)
