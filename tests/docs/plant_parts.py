"""Parts of plant files, as pages show them, put into the example so that they can be checked."""

import tomllib
from pathlib import Path
from typing import Any

from agent.plant.load import parse_plant
from agent.plant.plant import Plant
from agent.resources import shipped
from tests.agent.plant.toml_text import toml_text

Table = dict[str, Any]


def plant_with(part: str) -> Plant:
    """Read the example's plant with a part of a page in it; a whole file is read as it stands.

    Raises
    ------
    PlantFileError
        With all that is wrong with it.
    ValueError
        If it is no TOML.
    """
    given = tomllib.loads(part)
    if {"plant", "broker", "sump"} <= given.keys():
        return parse_plant(part, Path("page.toml"))
    whole = tomllib.loads(shipped("plant.example.toml").read_text("utf-8"))
    return parse_plant(toml_text(merged(whole, given)), Path("page.toml"))


def merged(whole: Table, part: Table) -> Table:
    """Put a part into a whole.

    Tables are merged key by key, but one that says where a signal comes from takes the place of
    the other; `[sump.station]` alone is of the first sump, and a `[[sump]]` with an id that is
    there already replaces that one.
    """
    result = dict(whole)
    for key, value in part.items():
        there = result.get(key)
        if isinstance(there, list) and isinstance(value, dict):
            result[key] = [merged(there[0], value), *there[1:]]
        elif isinstance(there, list) and isinstance(value, list) and isinstance(value[0], dict):
            new = {item.get("id") for item in value}
            result[key] = [*(item for item in there if item.get("id") not in new), *value]
        elif isinstance(there, dict) and isinstance(value, dict) and not _says_where(value):
            result[key] = merged(there, value)
        else:
            result[key] = value
    return result


def _says_where(table: Table) -> bool:
    """Whether it binds a signal."""
    return "topic" in table or "sparkplug" in table
