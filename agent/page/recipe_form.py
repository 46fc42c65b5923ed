"""The form of a charge: what the plant file says stands in it, what was typed is worked out."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

from advisor.vessels import minutes_to_mix
from agent.calculators import Recipe, charge
from agent.errors import MillpondError
from agent.page.cards import Card
from agent.page.speech import Speech
from agent.typed import CONVENTIONS, ChargeInput, ImpossibleInputError

AMOUNTS = ("volume", "residue", "bucket", "graduation")
NUMBERS = ("target", "weak_mix", "factor", "price")
FIELDS = (*AMOUNTS, *NUMBERS, "premix", "hardness", "convention", "change_out")


MARKED_BATCHES = 20
"""Fitting more batches than this to a bucket's marks takes seconds: only where it is asked for.
[1]"""


@lru_cache(maxsize=64)
def _charge(typed: ChargeInput) -> Recipe:
    """Work a charge out, the same one once."""
    return charge(typed)


@dataclass(frozen=True, slots=True)
class Asked:
    """A form as it stands, and what comes of it."""

    fields: Mapping[str, str]
    recipe: Recipe | None = None
    errors: Mapping[str, str] = field(default_factory=dict)
    """By field, in the person's language."""


def usual_fields(card: Card, say: Speech) -> dict[str, str]:
    """What the plant file says of a charge of this sump, in the person's units."""
    fluid, vessels = card.plan.fluid, card.plan.vessels
    vessel = vessels[0] if vessels else None
    water = (1.0 - fluid.premix_max) / fluid.premix_max if fluid.premix_max > 0.0 else 4.0
    return {
        "volume": _amount(card.level.target, say),
        "target": say.short(100.0 * fluid.target),
        "convention": "of-mix",
        "premix": f"{water:.4g}:1",
        "weak_mix": say.short(100.0 * fluid.weak_mix),
        "bucket": "" if vessel is None else _amount(vessel.fill, say),
        "graduation": _amount(vessel.graduation, say)
        if vessel is not None and card.level.target <= MARKED_BATCHES * vessel.fill
        else "",
        "residue": "",
        "factor": say.short(fluid.refractometer_factor),
        "price": "" if fluid.price is None else say.short(fluid.price),
        "hardness": "",
        "change_out": "1",
    }


def asked(card: Card, typed: Mapping[str, str], say: Speech) -> Asked:
    """Work out what a form asks for; where nothing was typed, what the plant file says."""
    if "volume" in typed:
        fields = {key: typed.get(key, "")[:60] for key in FIELDS}
    else:
        fields = usual_fields(card, say)
    try:
        recipe = _charge(charge_input(fields, say))
        minutes = minutes_to_mix(card.plan, recipe.after.volume.value)
        return Asked(fields, replace(recipe, circulate=minutes))
    except ImpossibleInputError as error:
        key = error.option.removeprefix("--").replace("-", "_")
        return Asked(fields, errors={key: say.text(f"charge.error.{key}")})
    except MillpondError as error:
        return Asked(fields, errors={"": say.text("enter.error.other", detail=str(error))})


def charge_input(fields: Mapping[str, str], say: Speech) -> ChargeInput:
    """A form as the calculation reads it: points for commas, the person's unit where none is."""
    typed = {key: fields.get(key, "").replace(",", ".").strip() for key in FIELDS}
    for key in AMOUNTS:
        if typed[key] and not any(c.isalpha() for c in typed[key]):
            typed[key] = f"{typed[key]} {say.volume_unit}"
    if typed["hardness"] and not any(c.isalpha() for c in typed["hardness"]):
        typed["hardness"] += " mg/L"
    convention = typed["convention"]
    return ChargeInput(
        volume=typed["volume"],
        target=typed["target"],
        convention=convention if convention in CONVENTIONS else CONVENTIONS[0],
        premix=typed["premix"],
        bucket=typed["bucket"],
        weak_mix=typed["weak_mix"],
        graduation=typed["graduation"] if typed["bucket"] else "",
        residue=typed["residue"],
        factor=typed["factor"],
        price=typed["price"],
        hardness=typed["hardness"],
        change_out=typed["change_out"] == "1",
    )


def _amount(litres: float, say: Speech) -> str:
    """An amount as one types it. [L]"""
    return f"{say.short(litres / say.litres_each)} {say.volume_unit}"
