"""`millpond water` as typed, read into what each water does to a sump; shown as sheet or JSON."""

from dataclasses import dataclass
from typing import Any

from advisor.drift import Rates, rates_of
from advisor.makeup import Salt, Water, WaterOutlook, for_first_fill, water_outlook
from advisor.words import Estimate, Losses
from agent.errors import MillpondError
from agent.outlook.report import water_json
from agent.outlook.sheet import water_lines
from agent.outlook.typed import per_day
from agent.typed import NOTHING, ImpossibleInputError, content, litres, percentage


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterInput:
    """`millpond water` as typed; empty where an option was left out."""

    volume: str
    hardness: str = ""
    chloride: str = ""
    nitrate: str = ""
    hardness_limit: str = ""
    chloride_limit: str = ""
    hardness_now: str = ""
    chloride_now: str = ""
    evaporation: str = ""
    carry_off: str = ""
    water_loss: str = ""
    concentrate_loss: str = ""
    concentration: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterAnswer:
    """What comes of it."""

    outlook: WaterOutlook
    first_fill: str


def answer(typed: WaterInput) -> WaterAnswer:
    """Say what each water does to a sump.

    Raises
    ------
    ImpossibleInputError
        If something typed is no quantity, or one that no sump can have.
    MillpondError
        If losses or limits were left out.
    """
    volume = litres("--volume", typed.volume, least=NOTHING)
    water = Water(
        name="the water",
        hardness=content("--hardness", typed.hardness),
        chloride=content("--chloride", typed.chloride),
        nitrate=content("--nitrate", typed.nitrate),
    )
    return WaterAnswer(
        outlook=water_outlook(volume, _rates(typed), [water], _salts(typed, water)),
        first_fill=for_first_fill(water.hardness),
    )


def as_json(answer: WaterAnswer) -> dict[str, Any]:
    """The answer as one object."""
    return {**water_json(answer.outlook), "first_fill": answer.first_fill}


def as_sheet(answer: WaterAnswer) -> str:
    """The answer as text."""
    return "\n".join([*water_lines(answer.outlook), "", answer.first_fill]) + "\n"


def _rates(typed: WaterInput) -> Rates:
    """How the sump loses: as two flows, or as water and concentrate. [L/d]"""
    if typed.evaporation and typed.carry_off:
        return Rates(
            per_day("--evaporation", typed.evaporation), per_day("--carry-off", typed.carry_off)
        )
    if typed.water_loss and typed.concentrate_loss and typed.concentration:
        losses = Losses(
            window_h=24.0,
            water=Estimate(per_day("--water-loss", typed.water_loss), 0.0),
            concentrate=Estimate(per_day("--concentrate-loss", typed.concentrate_loss), 0.0),
            evaporation=None,
            carry_off=None,
        )
        rates = rates_of(losses, percentage("--concentration", typed.concentration))
        if rates is None:
            raise ImpossibleInputError("--concentration", typed.concentration, "more than 0 %")
        return rates
    raise MillpondError(
        "give --evaporation and --carry-off, or else --water-loss, --concentrate-loss and "
        "--concentration"
    )


def _salts(typed: WaterInput, water: Water) -> list[Salt]:
    """What is held to a limit. [mg/L]"""
    found = []
    for name, limit_text, now_text, of_water in (
        ("hardness", typed.hardness_limit, typed.hardness_now, water.hardness),
        ("chloride", typed.chloride_limit, typed.chloride_now, water.chloride),
    ):
        limit = content(f"--{name}-limit", limit_text)
        if limit is None:
            continue
        if of_water is None:
            raise MillpondError(f"--{name}-limit needs --{name}, what the water holds")
        now = content(f"--{name}-now", now_text)
        found.append(
            Salt(
                name=name,
                limit=limit,
                now=of_water if now is None else now,
                is_assumed=now is None,
            )
        )
    if not found:
        raise MillpondError("give --hardness-limit or --chloride-limit, what the fluid stands")
    return found
