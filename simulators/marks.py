"""Tables on a page of the docs that a command brings up to date: what stands between two marks."""

from pathlib import Path

from simulators.errors import SimulatorError


def marks(name: str) -> tuple[str, str]:
    """The two lines between which the table of this name stands."""
    return f"<!-- {name}: begin -->", f"<!-- {name}: end -->"


def updated(text: str, name: str, body: str, source: str) -> str:
    """A page with the text between its two marks replaced.

    Raises
    ------
    SimulatorError
        If the page has no such marks.
    """
    first, last = marks(name)
    before, begin, rest = text.partition(first)
    _, end, after = rest.partition(last)
    if not begin or not end:
        raise SimulatorError(f"{source}: expected the marks {first} and {last}")
    return f"{before}{first}\n{body}\n{last}{after}"


def update(page: Path, name: str, body: str) -> None:
    """Bring a table on a page up to date."""
    page.write_text(updated(page.read_text(encoding="utf-8"), name, body, str(page)), "utf-8")


def markdown(rows: list[list[str]]) -> str:
    """A table in Markdown; the first row is its head."""
    head, *rest = ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join([head, "|" + " --- |" * len(rows[0]), *rest])
