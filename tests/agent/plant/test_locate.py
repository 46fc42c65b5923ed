"""Line numbers of keys, which the standard TOML reader keeps to itself."""

import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from agent.plant.locate import KeyPath, locate
from tests.agent.plant.toml_text import toml_text

TEXT = """\
# a comment with [brackets] = "and more"
plain = 1
dotted.key = 'x'

[table]
list = [ 1, # [one
  { inner = [] },
]
long = \"\"\"
two lines \\\"\"\" and a quote""\"\"\"
literal = '''
'
'''
"quoted [key]" = 1979-05-27 07:32:00

[[sump]]
id = "#]"
[sump.signals.level]
topic = "a/b"

[[sump]]
[[sump.part]]
[[sump.part]]
last = true
"""


def paths(data: Any, path: KeyPath = ()) -> set[KeyPath]:
    """Every key and index of a value."""
    items = data.items() if isinstance(data, dict) else enumerate(data)
    found = set()
    for key, value in items:
        found.add((*path, key))
        if isinstance(value, dict | list):
            found |= paths(value, (*path, key))
    return found


def test_every_form_of_key_has_its_line() -> None:
    """Headers, dotted and quoted keys, lists over lines and long strings do not lose the count."""
    lines = locate(TEXT)

    assert set(lines) == paths(tomllib.loads(TEXT))
    assert lines["dotted", "key"] == 3
    assert lines["table", "list", 0] == 6
    assert lines["table", "list", 1, "inner"] == 7
    assert lines["table", "literal"] == 11
    assert lines["table", "quoted [key]"] == 14
    assert lines["sump", 0, "id"] == 17
    assert lines["sump", 0, "signals", "level", "topic"] == 19
    assert lines["sump", 1, "part", 1, "last"] == 24


def test_windows_line_ends_count_once() -> None:
    """A file that was written elsewhere has the same lines."""
    assert locate(TEXT.replace("\n", "\r\n")) == locate(TEXT)


KEYS = st.text(max_size=5) | st.sampled_from(["a", "b-1", "c_d"])
VALUES: st.SearchStrategy[Any] = st.recursive(
    st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(st.dictionaries(KEYS, VALUES, max_size=4))
def test_what_the_reader_finds_has_a_line(table: dict[str, Any]) -> None:
    """Whatever stands in a file, each key and item of it is found, on the line where it stands."""
    text = toml_text(table)
    lines = locate(text)

    assert set(lines) == paths(tomllib.loads(text))
    for number, key in enumerate(table, 1):
        assert lines[(key,)] == number
