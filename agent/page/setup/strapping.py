"""A strapping table as people type or paste it: a depth and a volume on each line."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from agent.page.entering import FieldError, plain_number

ROWS_MAX = 2_000


@dataclass(frozen=True, slots=True)
class Strapping:
    """What was understood of a pasted table."""

    depths: tuple[float, ...]
    volumes: tuple[float, ...]
    problems: tuple[tuple[int, str], ...]
    """Line, from 1, and a key of the catalogue that says what is wrong with it."""


def read_strapping(text: str) -> Strapping:
    """Read a pasted table: two columns, apart by tabs, semicolons or blanks; with a heading or not.

    Decimals stand behind a point or a comma. Lines are put in the order of their depths only if
    all of them fall, as a table does that was measured from the brim down.
    """
    rows: list[tuple[float, float]] = []
    problems: list[tuple[int, str]] = []
    for number, line in enumerate(text.splitlines()[: ROWS_MAX + 1], start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        row = _row(line)
        if row is not None:
            rows.append(row)
        elif rows or any(c.isdigit() for c in line):
            problems.append((number, "setup.table.two_numbers"))
    if len(rows) > 1 and all(a[0] > b[0] for a, b in pairwise(rows)):
        rows.reverse()
    if len(rows) < 2 and not problems:
        problems.append((1, "setup.table.two_rows"))
    if len(rows) >= ROWS_MAX:
        problems.append((ROWS_MAX, "setup.table.too_long"))
    return Strapping(tuple(d for d, _ in rows), tuple(v for _, v in rows), tuple(problems))


def _row(line: str) -> tuple[float, float] | None:
    """Two numbers of a line."""
    for parts in _splits(line.strip()):
        if len(parts) == 2:
            try:
                return plain_number(parts[0]), plain_number(parts[1])
            except FieldError:
                continue
    return None


def _splits(line: str) -> Sequence[list[str]]:
    """Ways to take a line apart, the surest first: a comma may stand before decimals or between."""
    ways = [re.split(pattern, line) for pattern in (r"\s*[\t;|]\s*", r"\s+", r",\s+", r",")]
    return [[part.strip().rstrip(",") for part in way if part.strip()] for way in ways]
