"""An outlook without a plant: from what a person typed of one sump."""

from dataclasses import dataclass
from math import isinf

from advisor.effects import After
from advisor.forecast import look_ahead
from advisor.geometry import Box
from advisor.plan import Fluid, Levels, SumpPlan, Vessel
from advisor.words import Estimate, Instant, Losses
from agent.errors import MillpondError
from agent.outlook.expected import Expected, Foreseen
from agent.quantities import parse_quantity
from agent.typed import (
    NOTHING,
    ImpossibleInputError,
    bucket_of,
    litres,
    mark_of,
    measure_of,
    minutes_of,
    number,
    percentage,
    price_of,
    strengths_of,
    target_of,
)

BAND = 0.25
"""Width of the band to either side of the target, where none was typed, as a part of it: *common
practice*. [1]"""

MARK = 0.1
"""Of what is poured with, where nothing was typed. [L]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlookInput:
    """`millpond outlook` as typed; empty where an option was left out."""

    volume: str
    concentration: str
    water_loss: str
    concentrate_loss: str
    to_volume: str = ""
    low_volume: str = ""
    brim_volume: str = ""
    target: str = ""
    convention: str = "of-mix"
    band: str = ""
    premix: str = ""
    bucket: str = ""
    weak_mix: str = ""
    graduation: str = ""
    circulate: str = ""
    price: str = ""
    disposal: str = ""


def foresee_typed(
    typed: OutlookInput, at: Instant, standstill: tuple[Instant, Instant], zone: str
) -> Foreseen:
    """Say what is to be expected of a sump that was typed.

    Raises
    ------
    ImpossibleInputError
        If something typed is no quantity, or one that no sump can have.
    """
    volume = litres("--volume", typed.volume, least=NOTHING)
    strength = percentage("--concentration", typed.concentration)
    if strength <= 0.0:
        raise ImpossibleInputError("--concentration", typed.concentration, "more than 0 %")
    plan = _plan(typed, volume, strength)
    losses = Losses(
        window_h=24.0,
        water=Estimate(per_day("--water-loss", typed.water_loss), 0.0),
        concentrate=Estimate(per_day("--concentrate-loss", typed.concentrate_loss), 0.0),
        evaporation=None,
        carry_off=None,
    )
    now = After(volume=Estimate(volume, 0.0), concentration=Estimate(strength, 0.0))
    outlook = look_ahead(now, losses, plan, at, standstill=standstill)
    units = "us" if measure_of("--volume", typed.volume).unit == "gal" else "metric"
    expected = Expected(plan=plan, outlook=outlook, losses_d=None)
    return Foreseen(title="", sumps=(expected,), units=units, timezone=zone)


def per_day(option: str, text: str) -> float:
    """A loss as typed, such as ``19 L`` or ``19 L/day``. [L/d]"""
    try:
        loss = parse_quantity(text, "L/day")
    except MillpondError:
        return litres(option, text)
    if not 0.0 <= loss < 1e6:
        raise ImpossibleInputError(option, text, "a loss of 0 or more in a day")
    return loss


def _plan(typed: OutlookInput, volume: float, strength: float) -> SumpPlan:
    """A sump of one litre to the millimetre. [L], [1]"""
    full = litres("--to-volume", typed.to_volume, least=NOTHING) if typed.to_volume else volume
    brim = litres("--brim-volume", typed.brim_volume) if typed.brim_volume else max(full, volume)
    due = litres("--low-volume", typed.low_volume) if typed.low_volume else 0.75 * full
    if not due < full:
        raise ImpossibleInputError("--low-volume", typed.low_volume, f"less than {full:g} L")
    if brim < full:
        raise ImpossibleInputError("--brim-volume", typed.brim_volume, f"at least {full:g} L")
    return SumpPlan(
        id="typed",
        name="",
        fluid=_fluid(typed, strength),
        tank=Box(length=1000.0, width=1000.0, height=brim),
        levels=Levels(low=max(2.0 * due - full, 0.0), target=full, brim=brim, top_up=due),
        vessels=_vessels(typed),
        headroom=0.0,
    )


def _fluid(typed: OutlookInput, strength: float) -> Fluid:
    """The fluid, by its target and its band. [1]"""
    target = target_of(typed.target, typed.convention) if typed.target else strength
    strongest, weakest = strengths_of(typed.premix, typed.weak_mix)
    low, high = _band(typed.band, target)
    return Fluid(
        id="typed",
        refractometer_factor=1.0,
        band_low=low,
        band_high=high,
        target=target,
        premix_max=strongest,
        weak_mix=weakest,
        circulate=minutes_of(typed.circulate),
        price=price_of("--price", typed.price),
        disposal=price_of("--disposal", typed.disposal),
    )


def _band(text: str, target: float) -> tuple[float, float]:
    """The band, as ``6:10`` in % of the mix. [1]"""
    if not text:
        return (1.0 - BAND) * target, (1.0 + BAND) * target
    low, colon, high = text.partition(":")
    expected = f"lowest:highest in % of the mix, around {100.0 * target:g}, such as 6:10"
    if not colon:
        raise ImpossibleInputError("--band", text, expected)
    ends = number("--band", low) / 100.0, number("--band", high) / 100.0
    if not 0.0 <= ends[0] < target < ends[1] <= 1.0:
        raise ImpossibleInputError("--band", text, expected)
    return ends


def _vessels(typed: OutlookInput) -> tuple[Vessel, ...]:
    """What is poured with; nothing where no bucket was typed. [L]"""
    size = bucket_of(typed.bucket)
    if isinf(size):
        return ()
    mark = mark_of(typed.graduation, typed.bucket)
    unit = measure_of("--graduation", typed.graduation).unit if mark else ""
    return (
        Vessel(
            id="bucket",
            volume=size,
            graduation=mark or min(MARK, size),
            graduation_unit=unit,
            carry_fill=1.0,
        ),
    )
