"""From a plant file to a plant, or to everything that is wrong with it."""

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from agent.errors import PlantFileError, Problem
from agent.plant.build import build
from agent.plant.checks import faults_between
from agent.plant.locate import locate
from agent.plant.models import PlantModel
from agent.plant.parts import Part
from agent.plant.plant import Plant
from agent.plant.problems import model_faults, problems

_LARGEST = 8_000_000
"""A plant of a thousand sumps is about a quarter of it. [bytes]"""

_AT_LINE = re.compile(r" ?\(at line (\d+), column \d+\)")


def load_plant(path: Path) -> Plant:
    """Read a plant file.

    Parameters
    ----------
    path : Path
        The file; paths in it are relative to its folder.

    Raises
    ------
    PlantFileError
        With all that is wrong: each with its line, key, value, and what was expected.
    """
    text = _text(path)
    return parse_plant(text, path)


def parse_plant(text: str, path: Path) -> Plant:
    """Read the text of a plant file that stands, or would stand, at `path`.

    Raises
    ------
    PlantFileError
        With all that is wrong.
    """
    data = _toml(text, path)
    lines = locate(text)
    between = list(faults_between(Part(data)))
    told = {fault.path for fault in between}
    try:
        model = PlantModel.model_validate(data)
    except ValidationError as error:
        alone = [fault for fault in model_faults(error, data) if fault.path not in told]
        raise _refused(path, problems([*alone, *between], data, lines)) from None
    if between:
        raise _refused(path, problems(between, data, lines))
    return build(model, path.absolute().parent)


def _refused(path: Path, found: tuple[Problem, ...]) -> PlantFileError:
    """Error with what was found."""
    return PlantFileError(path, found)


def _text(path: Path) -> str:
    """Content of the file."""
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise _refused(path, (_problem(None, f"cannot be read: {reason}"),)) from None
    if len(content) > _LARGEST:
        raise _refused(path, (_problem(None, f"is larger than {_LARGEST} bytes"),))
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        what = f"expected UTF-8; byte {content[error.start]:#04x} is none"
        raise _refused(path, (_problem(line, what),)) from None


def _toml(text: str, path: Path) -> Mapping[str, Any]:
    """Tables and keys of the text."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise _refused(path, (_problem(None, "is nested too deeply"),)) from None
    except ValueError as error:
        # not only TOMLDecodeError: an integer of thousands of digits is a plain ValueError
        found = _AT_LINE.search(str(error))
        line = int(found.group(1)) if found else None
        what = f"no valid TOML: {_AT_LINE.sub('', str(error))}"
        raise _refused(path, (_problem(line, what),)) from None


def _problem(line: int | None, expected: str) -> Problem:
    """Problem with the file as a whole."""
    return Problem(line=line, key="", value=None, expected=expected)
