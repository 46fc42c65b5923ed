"""Recipes as people read them: a sheet for the terminal or the printer, and JSON."""

import textwrap
from collections.abc import Iterator, Sequence
from json import dumps
from typing import Any

from advisor import cautions
from advisor.changeout import ChangeOut, change_out
from advisor.effects import Batch
from advisor.stages import Stage
from advisor.units import parts_from_fraction
from advisor.wording import number, percent
from agent.calculators import MIX, PREMIX, WATER, WEAK_MIX, Recipe, say
from agent.verdict import as_json as check_json

WIDTH = 80
"""Columns of a sheet."""

POURED = ("pour", "charge")
"""How the names of stages begin in which a portion is poured, each in its turn."""

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
        "steps": [stage.text for stage in stages(recipe)],
        "check": None if recipe.verdict is None else check_json(recipe.verdict.calibration),
        "why": [*recipe.why, *said_of_check(recipe)],
        "cautions": all_cautions(recipe),
    }


def as_sheet(recipe: Recipe) -> str:
    """The recipe as a sheet of plain text, in the unit of the person."""
    lines = [recipe.title, "=" * min(len(recipe.title), WIDTH), ""]
    lines += _amounts(recipe)
    lines += _steps(recipe)
    lines += _section("Reading of the charge", said_of_check(recipe))
    lines += _section("Why", recipe.why)
    lines += _section("Cautions", other_cautions(recipe))
    return "\n".join(lines).rstrip() + "\n"


def stages(recipe: Recipe) -> tuple[Stage, ...]:
    """What is to be done, in order: drain, water first, concentrate into it, circulate, check.

    With a change-out, all the work around it.
    """
    if not recipe.portions and recipe.drain <= 0.0:
        return (Stage("nothing", "Pour nothing."),)
    if recipe.is_change_out:
        return _change_out(recipe)
    done = []
    if recipe.drain > 0.0:
        drain = f"Drain {say(recipe.drain, recipe.measure)} and keep it for disposal."
        done.append(Stage("drain", drain, (cautions.LOCK_OUT, cautions.WASTE)))
    for count, sentence in enumerate(pouring(recipe), start=1):
        beware = cautions.pouring(with_concentrate=recipe.mix.concentrate > 0.0)
        done.append(Stage(f"pour {count}", sentence, beware if count == 1 else ()))
    minutes = number(recipe.circulate, 0)
    circulate = f"Run the pumps for {minutes} minutes, so that all of it is mixed."
    done.append(Stage("circulate", circulate))
    check = f"Check with a refractometer: {reading(recipe)}."
    done.append(Stage("check", check, (cautions.SAMPLE,)))
    return tuple(done)


def pouring(recipe: Recipe) -> list[str]:
    """How each portion is poured, in order. [L]"""
    said, begin = [], 1
    for name, batch in recipe.portions:
        said.append(_pouring(name, batch, begin, recipe))
        begin += batch.count if name != WATER else 0
    return said


def reading(recipe: Recipe) -> str:
    """What the sump should read, before and after the factor. [1]"""
    strength = percent(recipe.after.concentration.value)
    if recipe.brix is None:
        return f"{strength} of the mix (reading times factor)"
    return (
        f"{number(recipe.brix, 2)} °Brix, which times the factor "
        f"{number(recipe.factor or 0.0, 3)} is {strength} of the mix"
    )


def said_of_check(recipe: Recipe) -> tuple[str, ...]:
    """What a reading of the charge says, where there was one."""
    return () if recipe.verdict is None else recipe.verdict.said


def all_cautions(recipe: Recipe) -> list[str]:
    """Cautions of the reading, of the recipe, and of its stages, each once."""
    of_check = () if recipe.verdict is None else recipe.verdict.cautions
    of_stages = [caution for stage in stages(recipe) for caution in stage.cautions]
    return list(dict.fromkeys((*of_check, *recipe.cautions, *of_stages)))


def other_cautions(recipe: Recipe) -> list[str]:
    """Cautions that no stage has said."""
    said = {caution for stage in stages(recipe) for caution in stage.cautions}
    return [caution for caution in all_cautions(recipe) if caution not in said]


def _change_out(recipe: Recipe) -> tuple[Stage, ...]:
    """Stages of the whole change-out."""
    work = ChangeOut(
        volume=recipe.after.volume.value,
        concentrate=recipe.mix.concentrate,
        pouring=pouring(recipe),
        reading=reading(recipe),
        circulate=recipe.circulate,
    )
    return change_out(work, lambda volume: say(volume, recipe.measure))


def _steps(recipe: Recipe) -> Iterator[str]:
    """List the stages; those of a change-out with the cautions that fit each."""
    yield from ("", "Steps", "-----")
    for count, stage in enumerate(stages(recipe), start=1):
        yield from _item(f"{count:>3}. ", stage.text)
        for caution in stage.cautions:
            yield from _item("       ! ", caution)


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


def _section(title: str, items: Sequence[str]) -> Iterator[str]:
    """Lay out a list under its title, wrapped to the sheet's width."""
    if not items:
        return
    yield from ("", title, "-" * len(title))
    for item in items:
        yield from _item("  - ", item)


def _item(mark: str, text: str) -> Iterator[str]:
    """Lay out one item of a list."""
    yield textwrap.fill(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))


def _round(value: float) -> float:
    """Drop what is below a microlitre; in the value's own unit, such as [L]."""
    return round(value, 6) + 0.0
