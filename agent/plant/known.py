"""Which keys the plant file knows, and which one was probably meant."""

import difflib
from collections.abc import Iterator, Sequence
from typing import get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from agent.plant.models import PlantModel

_CLOSE = 0.6
"""Likeness from which a known key is taken for the one that was meant."""


def field_at(loc: Sequence[str | int]) -> FieldInfo | None:
    """Field that a validation error's location leads to, if it leads to one."""
    *_, last = (key for key in loc if isinstance(key, str))
    for model in _models_at(loc[: _position(loc, last)]):
        if last in model.model_fields:
            return model.model_fields[last]
    return None


def suggestion(loc: Sequence[str | int]) -> str:
    """Name the known key nearest to an unknown one, or the table where the key belongs."""
    *table, key = loc
    known = sorted({name for model in _models_at(table) for name in model.model_fields})
    near = difflib.get_close_matches(str(key), known, n=1, cutoff=_CLOSE)
    homes = " or ".join(sorted({home for home, name in _everywhere() if name == key}))
    if near:
        elsewhere = f", or does it belong in {homes}?" if homes else "?"
        return f"did you mean {near[0]}{elsewhere}"
    if homes:
        return f"it belongs in {homes}"
    nearest = difflib.get_close_matches(str(key), known, n=1, cutoff=0.0)
    return f"the nearest known one is {nearest[0]}; all are {', '.join(known)}"


def _position(loc: Sequence[str | int], key: str) -> int:
    """Where a key stands last in a location."""
    return max(index for index, part in enumerate(loc) if part == key)


def _models_at(loc: Sequence[str | int]) -> list[type[BaseModel]]:
    """Models of the table at a location; tags of tagged unions in it pick among several."""
    models: list[type[BaseModel]] = [PlantModel]
    for key in loc:
        if isinstance(key, int):
            continue
        fields = [m.model_fields[key] for m in models if key in m.model_fields]
        if fields:
            models = [m for field in fields for m in _models_in(field.annotation)] or models
        else:
            models = [m for m in models if _is_tagged(m, key)] or models
    return models


def _models_in(annotation: object) -> Iterator[type[BaseModel]]:
    """Models that an annotation names, however deep."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models_in(part)


def _is_tagged(model: type[BaseModel], tag: str) -> bool:
    """Whether a literal field of the model has this one value."""
    return any(get_args(field.annotation) == (tag,) for field in model.model_fields.values())


def _everywhere() -> Iterator[tuple[str, str]]:
    """Every table's header, as a person would write it, with each of its keys."""
    tables: list[tuple[str, type[BaseModel]]] = [("the top of the file", PlantModel)]
    while tables:
        home, model = tables.pop()
        for name, field in model.model_fields.items():
            yield home, name
            inside = name if model is PlantModel else f"{home.strip('[]')}.{name}"
            many = "list[" in str(field.annotation) and model is PlantModel
            header = f"[[{inside}]]" if many else f"[{inside}]"
            tables.extend((header, inner) for inner in _models_in(field.annotation))
