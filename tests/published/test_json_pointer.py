"""JSON pointers against the table of RFC 6901, section 5, and against a library."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonpointer import JsonPointerException, resolve_pointer

from agent.decode.json_payload import MISSING, Pointer, parse

# RFC 6901, section 5: the document and what each pointer in it leads to.
DOCUMENT = parse(
    rb"""{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4,
    "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}"""
)
EVALUATIONS = [
    ("", DOCUMENT),
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", 0),
    ("/a~1b", 1),
    ("/c%d", 2),
    ("/e^f", 3),
    ("/g|h", 4),
    ("/i\\j", 5),
    ('/k"l', 6),
    ("/ ", 7),
    ("/m~0n", 8),
]


@pytest.mark.parametrize(("pointer", "found"), EVALUATIONS)
def test_the_published_evaluations(pointer, found):
    """Every evaluation that the standard prints comes out as printed."""
    assert Pointer(pointer).find(DOCUMENT) == found


def test_a_tilde_is_decoded_after_a_slash():
    """RFC 6901, section 4: ~01 is ~1, not /."""
    assert Pointer("/~01").find({"~1": 1.0, "/": 2.0}) == 1.0


@pytest.mark.parametrize("token", ["00", "01", "-", "2", "-1", "1e0", "+0", " 0", "٠"])
def test_what_is_no_index_leads_nowhere(token):
    """RFC 6901, section 4: no leading zeros; "-" is the element after the last, which is not."""
    assert Pointer(f"/foo/{token}").find(DOCUMENT) is MISSING


@pytest.mark.parametrize("text", ["foo", "~", "/~", "/a~2b"])
def test_what_is_no_pointer_is_an_error(text):
    """RFC 6901, section 3: it begins with a slash or is empty; a tilde stands before 0 or 1."""
    with pytest.raises(ValueError, match="no JSON pointer"):
        Pointer(text)


_KEYS = st.text("ab/~0-1 ", max_size=3)
_DOCUMENTS = st.recursive(
    st.none() | st.booleans() | st.floats(0, 9) | st.text("ab", max_size=2),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=3),
    max_leaves=12,
)


@given(_DOCUMENTS, st.lists(_KEYS, max_size=4))
def test_it_finds_what_the_library_finds(document, keys):
    """For any document and pointer the result is that of an independent implementation."""
    text = "".join("/" + key.replace("~", "~0").replace("/", "~1") for key in keys)

    found = Pointer(text).find(document)

    try:
        expected = resolve_pointer(document, text)
    except JsonPointerException:
        assert found is MISSING
    else:
        if type(expected).__name__ == "EndOfList":  # what the library gives for "-"
            assert found is MISSING
        else:
            assert found is expected
