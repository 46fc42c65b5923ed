"""What can go wrong around the agent, as a caller can do something about it.

Trouble that a plant's messages bring is no exception but a `Refusal`; a programmer's mistake is
none of these.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


class MillpondError(Exception):
    """Something that a person can put right; its text says how.

    Attributes
    ----------
    exit_code : int
        Of the process that it ends: 2 for wrong use or input, 1 where something else failed.
    """

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing in a plant file that is not as expected."""

    line: int | None
    """Counted from 1; `None` where it is about the whole file."""
    key: str
    """Path of the key, such as ``sump[mill-07].level_mm.low``."""
    value: str | None
    """What was found, written as in TOML and shortened; `None`: nothing, or not to be shown."""
    expected: str
    """What would have been accepted, or what is wrong."""

    def __str__(self) -> str:
        found = f"{self.key} is {self.value}" if self.value is not None else self.key
        return f"{found}: {self.expected}" if found else self.expected


class PlantFileError(MillpondError):
    """A plant file cannot be used.

    Attributes
    ----------
    path : Path
        The file.
    problems : tuple of Problem
        All that is wrong with it, in the order of its lines.
    """

    def __init__(self, path: Path, problems: Sequence[Problem]) -> None:
        self.path = path
        self.problems = tuple(problems)
        super().__init__("\n".join(self.lines()))

    def lines(self) -> list[str]:
        """One line for each problem, with file and line number."""
        return [
            f"{self.path}:{problem.line}: {problem}"
            if problem.line is not None
            else f"{self.path}: {problem}"
            for problem in self.problems
        ]


class StoreError(MillpondError):
    """The store cannot be read or written.

    Attributes
    ----------
    path : Path
        The file.
    hint : str
        What to do about it.
    """

    exit_code = 1

    def __init__(self, path: Path, what: str, hint: str = "") -> None:
        self.path = path
        self.hint = hint
        super().__init__(f"{path}: {what}" + (f"; {hint}" if hint else ""))


class CredentialsError(MillpondError):
    """The broker's credentials cannot be read.

    Attributes
    ----------
    variable : str
        The environment variable that says where they are.
    """

    def __init__(self, variable: str, what: str) -> None:
        self.variable = variable
        super().__init__(f"{variable}: {what}")


class StoreUnavailable(StoreError):  # noqa: N818  a state that passes, not a mistake
    """The store cannot be used at the moment: locked, disk full, disk away. Waiting helps."""


class BrokerError(MillpondError):
    """The broker refuses the agent, or the link to it is gone for good."""

    exit_code = 1


class RecordingError(MillpondError):
    """A recording has a line that is none.

    Attributes
    ----------
    line : int
        Its number, from 1.
    """

    def __init__(self, line: int, what: str) -> None:
        self.line = line
        super().__init__(f"line {line}: {what}")
