"""The tank of a sump's form: its shape's measures, or a strapping table that was pasted."""

from collections.abc import Mapping
from typing import Any

from pydantic import TypeAdapter, ValidationError

from advisor.errors import AdvisorError
from advisor.geometry import Tank
from advisor.units import GALLON
from agent.page.setup.drawing import Drawing, draw
from agent.page.setup.forms import SUMP, TANK_KEYS, TANKS, Entry, Filled, read, shown
from agent.page.setup.strapping import read_strapping
from agent.page.speech import INCH, Speech
from agent.plant.sump_models import TankModel
from agent.plant.tanks import tank

DEPTH_UNITS: Mapping[str, float] = {"mm": 1.0, "cm": 10.0, "in": INCH}
VOLUME_UNITS: Mapping[str, float] = {"L": 1.0, "gal": GALLON}
DRAWN = ("low", "top_up", "target", "brim")
PROBLEMS_TOLD = 5

_MODEL: TypeAdapter[Any] = TypeAdapter(TankModel)


def tank_shown(entry: Entry, say: Speech) -> dict[str, str]:
    """Fields of the tank for what stands in the file."""
    found = entry.get("tank") or {}
    shape = found.get("shape", "box")
    us = say.units == "us"
    texts = {"shape": shape, "depth_unit": "in" if us else "mm", "volume_unit": say.volume_unit}
    for fields in TANKS.values():
        texts |= dict.fromkeys(shown(fields, {}, say), "")
    texts |= shown(TANKS.get(shape, ()), entry, say)
    return texts | {"table": _table_text(found, texts, say)}


def _table_text(found: Mapping[str, Any], texts: Mapping[str, str], say: Speech) -> str:
    """A strapping table in the person's units, a line a depth."""
    rows = zip(found.get("depth_mm", ()), found.get("volume_l", ()), strict=False)
    depth, volume = DEPTH_UNITS[texts["depth_unit"]], VOLUME_UNITS[texts["volume_unit"]]
    lines = [f"{_plain(d / depth)}\t{_plain(v / volume)}" for d, v in rows]
    text = "\n".join(lines)
    return text.replace(".", ",") if say.text.language == "de" else text


def _plain(value: float) -> str:
    """A number without zeros at its end."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


def read_tank(typed: Mapping[str, str], entry: Entry, say: Speech) -> Filled:
    """Tank of a form."""
    shape = typed.get("shape", "")
    if shape not in TANKS:
        return Filled(errors={"shape": say.text("enter.error.choose")})
    filled = read(TANKS[shape], typed, entry, say)
    values = dict.fromkeys(TANK_KEYS) | filled.values.get("tank", {})
    if shape == "table":
        values |= _read_table(typed, entry, say, filled)
    filled.values = {"tank": {"shape": shape, **values}}
    return filled


def _read_table(
    typed: Mapping[str, str], entry: Entry, say: Speech, filled: Filled
) -> dict[str, Any]:
    """Depths and volumes of a pasted table; an untouched one stays as it stands in the file."""
    before = tank_shown(entry, say)
    found = entry.get("tank") or {}
    keys = ("table", "depth_unit", "volume_unit")
    if found.get("depth_mm") and all(_same(typed.get(k, ""), before[k]) for k in keys):
        return {"depth_mm": found["depth_mm"], "volume_l": found["volume_l"]}
    table = read_strapping(typed.get("table", ""))
    if table.problems:
        filled.errors["table"] = " ".join(
            say.text(key, line=line) for line, key in table.problems[:PROBLEMS_TOLD]
        )
    depth = DEPTH_UNITS.get(typed.get("depth_unit", ""), 1.0)
    volume = VOLUME_UNITS.get(typed.get("volume_unit", ""), 1.0)
    return {
        "depth_mm": [round(each * depth, 2) for each in table.depths],
        "volume_l": [round(each * volume, 3) for each in table.volumes],
    }


def _same(one: str, other: str) -> bool:
    """Whether two texts differ in their line ends only."""
    return one.split() == other.split()


def tank_of(values: Mapping[str, Any]) -> Tank | str:
    """Tank of a form's values, or why there can be none such."""
    kept = {key: value for key, value in values.items() if value is not None}
    try:
        return tank(_MODEL.validate_python(kept))
    except ValidationError as error:
        return str(error.errors()[0]["msg"])
    except AdvisorError as error:
        return str(error)


def drawn(typed: Mapping[str, str], entry: Entry, say: Speech) -> Drawing | None:
    """Drawing of a form's tank as far as it is filled in."""
    filled = read_tank(typed, entry, say)
    if filled.errors:
        return None
    found = tank_of(filled.values["tank"])
    if isinstance(found, str):
        return None
    levels = read(SUMP, typed, entry, say).values.get("level_mm", {})
    marks = {name: levels[name] for name in DRAWN if levels.get(name) is not None}
    return draw(found, marks)
