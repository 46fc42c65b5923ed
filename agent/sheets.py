"""Recipes as people read them: a sheet for the terminal or the printer, and JSON."""

import textwrap
from collections.abc import Iterator, Sequence
from json import dumps
from typing import Any

from advisor.effects import Batch
from advisor.units import parts_from_fraction
from advisor.wording import number, percent
from agent.calculators import MIX, PREMIX, WATER, WEAK_MIX, Recipe, say

WIDTH = 80
"""Columns of a sheet."""

_NAMES = {PREMIX: "premix", MIX: "mix", WEAK_MIX: "weak mix"}


def show(recipe: Recipe, *, json: bool) -> str:
    """The recipe as JSON or as a sheet, without a line end; volumes in [L] in JSON."""
    if json:
        return dumps(as_json(recipe), ensure_ascii=False, indent=2)
    return as_sheet(recipe).rstrip()


def as_json(recipe: Recipe) -> dict[str, Any]:
    """The recipe as the command's JSON object: litres, and percent of the mix."""
    mix, after = recipe.mix, recipe.after
    return {
        "water_l": _round(mix.water),
        "concentrate_l": _round(mix.concentrate),
        "strength_pct": _round(100.0 * mix.strength),
        "drain_l": _round(recipe.drain),
        "batches": [
            {
                "count": batch.count,
                "water_l": _round(batch.water),
                "concentrate_l": _round(batch.concentrate),
            }
            for _, batch in recipe.portions
        ],
        "after": {
            "volume_l": _round(after.volume.value),
            "concentration_pct": _round(100.0 * after.concentration.value),
        },
        "reading_brix": None if recipe.brix is None else _round(recipe.brix),
        "cost": None if recipe.cost is None else round(recipe.cost, 2),
        "why": list(recipe.why),
        "cautions": list(recipe.cautions),
    }


def as_sheet(recipe: Recipe) -> str:
    """The recipe as a sheet of plain text, in the unit of the person."""
    lines = [recipe.title, "=" * min(len(recipe.title), WIDTH), ""]
    lines += _amounts(recipe)
    lines += _section("Steps", steps(recipe), numbered=True)
    lines += _section("Why", recipe.why)
    lines += _section("Cautions", recipe.cautions)
    return "\n".join(lines).rstrip() + "\n"


def steps(recipe: Recipe) -> list[str]:
    """What is to be done, in order: drain, water first, concentrate into it, circulate, check."""
    if not recipe.portions and recipe.drain <= 0.0:
        return ["Pour nothing."]
    done = []
    if recipe.drain > 0.0:
        done.append(f"Drain {say(recipe.drain, recipe.measure)} and keep it for disposal.")
    begin = 1
    for name, batch in recipe.portions:
        done.append(_pouring(name, batch, begin, recipe))
        begin += batch.count if name != WATER else 0
    done.append("Run the pumps for 30 minutes, so that all of it is mixed.")
    done.append(_check(recipe))
    return done


def _pouring(name: str, batch: Batch, begin: int, recipe: Recipe) -> str:
    """Say one portion; `begin` is the number of its first batch. [L]"""
    measure = recipe.measure
    water, concentrate = say(batch.water, measure), say(batch.concentrate, measure)
    if batch.concentrate <= 0.0:
        return f"{'Fill up with' if name == WATER else 'Pour'} {_times(batch)}{water} of water."
    end = begin + batch.count - 1
    which = f"Batch {begin}" if batch.count == 1 else f"Batches {begin} to {end}, each"
    poured = "pour it into the sump" if batch.count == 1 else "pour, then the next"
    return (
        f"{which} ({_NAMES.get(name, name)}): {water} of water first, then {concentrate} of "
        f"concentrate into the water; mix, {poured}."
    )


def _times(batch: Batch) -> str:
    """Say how often, where more than once; amounts in [L] follow."""
    return f"{batch.count} times " if batch.count > 1 else ""


def _check(recipe: Recipe) -> str:
    """Say what the sump should read. [1]"""
    strength = percent(recipe.after.concentration.value)
    if recipe.brix is None:
        return f"Check with a refractometer: {strength} of the mix (reading times factor)."
    return (
        f"Check with a refractometer: {number(recipe.brix, 2)} °Brix, which times the factor "
        f"{number(recipe.factor or 0.0, 3)} is {strength} of the mix."
    )


def _amounts(recipe: Recipe) -> Iterator[str]:
    """List the totals in the unit of the person, with litres beside where that is another."""
    mix, after = recipe.mix, recipe.after
    rows = [
        ("drain", recipe.drain),
        ("water", mix.water),
        ("concentrate", mix.concentrate),
        ("together", mix.volume),
        ("in the sump afterwards", after.volume.value),
    ]
    shown = [(name, volume) for name, volume in rows if volume > 0.0 or name == "together"]
    unit, size = recipe.measure.unit, recipe.measure.litres
    for name, volume in shown:
        columns = f"  {name:<24}{volume / size:>10.2f} {unit}"
        yield columns if size == 1.0 else f"{columns}{volume:>12.2f} L"
    strength = after.concentration.value
    yield (
        f"  {'which is then':<24}{100.0 * strength:>10.2f} % of the mix, "
        f"{number(parts_from_fraction(strength), 2)} parts per 100 of water"
    )


def _section(title: str, items: Sequence[str], *, numbered: bool = False) -> Iterator[str]:
    """Lay out a list under its title, wrapped to the sheet's width."""
    if not items:
        return
    yield from ("", title, "-" * len(title))
    for count, item in enumerate(items, start=1):
        mark = f"{count:>3}. " if numbered else "  - "
        yield textwrap.fill(item, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))


def _round(value: float) -> float:
    """Drop what is below a microlitre; in the value's own unit, such as [L]."""
    return round(value, 6) + 0.0
