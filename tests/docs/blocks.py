"""Fenced blocks of the pages, with what is said of how to try them.

A comment above a block, which readers do not see, says what is not plain:

======================================  ==========================================================
`<!-- not run: REASON -->`              cannot be tried here, and why
`<!-- file: NAME -->`                   is that file, for the commands that follow on the page
`<!-- goes on -->`                      a command that runs until the page ends
`<!-- exits: N -->`                     a command with another exit code than 0
`<!-- payload of: SIGNAL = VALUE -->`   what a sensor sends; by the last plant file above, or part
                                        of one, it is this value (units inside: mm, °Brix, L, ...)
======================================  ==========================================================
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]

_FENCE = re.compile(
    r"^(?:<!-- (?P<mark>[^\n]+?) -->\n)?"
    r"^(?P<fence>```+)(?P<language>[^\n]*)\n(?P<text>.*?)^(?P=fence)$",
    re.MULTILINE | re.DOTALL,
)
_MARK = re.compile(r"(not run|file|goes on|exits|payload of)(?:: (.+))?")


@dataclass(frozen=True, slots=True)
class Block:
    """One fenced block."""

    page: str
    line: int
    language: str
    mark: str
    """What kind of comment stands above it; empty: none."""
    said: str
    """What the comment says."""
    text: str

    def __str__(self) -> str:
        """Where it stands."""
        return f"{self.page}:{self.line}"


def pages() -> list[Path]:
    """Every page with examples."""
    return [
        ROOT / "README.md",
        ROOT / "DEVELOPERS.md",
        ROOT / "config" / "README.md",
        *sorted((ROOT / "docs").glob("*.md")),
    ]


def blocks(page: Path) -> Iterator[Block]:
    """Blocks of a page, from the top down.

    Raises
    ------
    ValueError
        If a comment above a block is none of those that are known.
    """
    content = page.read_text("utf-8")
    for found in _FENCE.finditer(content):
        name = page.relative_to(ROOT).as_posix()
        line = content.count("\n", 0, found.start("fence")) + 1
        mark, said = "", ""
        if found["mark"] is not None:
            known = _MARK.fullmatch(found["mark"])
            if known is None:
                raise ValueError(f"{name}:{line}: the comment above says {found['mark']!r}")
            mark, said = known[1], known[2] or ""
        yield Block(name, line, found["language"].strip(), mark, said, found["text"])


def every_block() -> list[Block]:
    """Blocks of all pages."""
    return [block for page in pages() for block in blocks(page)]
