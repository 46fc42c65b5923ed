"""An outlook as JSON: litres, percent of the mix, RFC 3339 times; `null` for what nothing tells."""

from collections.abc import Sequence
from math import isfinite
from typing import Any

from advisor.costs import money
from advisor.dose import DosePlan
from advisor.effects import After, Batch
from advisor.forecast import Outlook
from advisor.makeup import WaterOutlook
from advisor.plan import Fluid
from advisor.rhythm import Rhythm
from advisor.standstill import Standstill
from advisor.startup import start_up
from advisor.words import MINUTE, Estimate, Instant
from agent.instants import text_of
from agent.messages.digits import CONCENTRATION, LOSS, POUR, VOLUME
from agent.outlook.expected import Expected, Foreseen, Stock

Body = dict[str, Any]

DAYS = 2
"""Digits of a span of time in days."""


def as_json(foreseen: Foreseen) -> Body:
    """All that is foreseen, as one object."""
    return {
        "sumps": [_sump(expected) for expected in foreseen.sumps],
        "supplies": [_stock(stock) for stock in foreseen.supplies],
        "untold": dict(foreseen.untold),
    }


def _sump(expected: Expected) -> Body:
    """One sump."""
    outlook, fluid = expected.outlook, expected.plan.fluid
    losses, use = outlook.losses, outlook.use
    return {
        "sump": expected.plan.id,
        "at": text_of(outlook.at),
        **_state(outlook.now),
        "losses": {
            "window_d": _rounded(expected.losses_d, DAYS),
            "water_l_per_day": _estimate(losses.water, LOSS),
            "concentrate_l_per_day": _estimate(losses.concentrate, LOSS),
        },
        "next": _next(outlook),
        "holding_strength_pct": _percent(outlook.holding),
        "per_week": None
        if use is None
        else {
            "water_l": _estimate(use.water, VOLUME),
            "concentrate_l": _estimate(use.concentrate, VOLUME),
            "cost": _rounded(use.cost, 2),
        },
        "idle": _idle(outlook),
        "standstill": None if outlook.standstill is None else _still(outlook.standstill, fluid),
        "rhythms": [_rhythm(rhythm) for rhythm in outlook.rhythms],
        "water": None if expected.water is None else water_json(expected.water),
    }


def _state(after: After) -> Body:
    """Volume and concentration."""
    strength = after.concentration
    return {
        "volume_l": _estimate(after.volume, VOLUME),
        "concentration_pct": _estimate(
            Estimate(100.0 * strength.value, 100.0 * strength.sd), CONCENTRATION
        ),
    }


def _next(outlook: Outlook) -> Body | None:
    """When the next top-up is due."""
    due = outlook.next
    if due is None:
        return None
    return {
        "at": {"value": _moment(due.at), "sd_h": round(due.sd_h, 2)},
        "strength_pct": _percent(due.strength),
    }


def _idle(outlook: Outlook) -> Body | None:
    """Where an idle sump goes."""
    if outlook.idle is None:
        return None
    return {
        "water_l_per_day": _estimate(outlook.idle.water, LOSS),
        "concentrate_l_per_day": _estimate(outlook.idle.concentrate, LOSS),
        "assumed": outlook.is_idle_assumed,
        "leaves_band_alone_at": _moment(outlook.dries_out),
        "leaves_band_on_weak_mix_at": _moment(outlook.creeps_out),
    }


def _still(still: Standstill, fluid: Fluid) -> Body:
    """A time without pumps."""
    restart = still.restart
    return {
        "from": text_of(still.begin),
        "until": text_of(still.end),
        "expected": _state(still.expected),
        "before": dose_json(still.before, fluid),
        "after": _state(still.after),
        "leaves_band_at": _moment(still.leaves_band),
        "falls_low_at": _moment(still.falls_low),
        "restart": dose_json(restart, fluid),
        "steps": [
            {"name": stage.name, "text": stage.text, "cautions": list(stage.cautions)}
            for stage in start_up(restart.mix, restart.how, restart.circulate)
        ],
    }


def dose_json(dose: DosePlan, fluid: Fluid) -> Body:
    """A dose with its batches and what comes of it."""
    mix = dose.mix
    return {
        "kind": dose.kind,
        "water_l": 0.0 if mix is None else round(mix.water, POUR),
        "concentrate_l": 0.0 if mix is None else round(mix.concentrate, POUR),
        "strength_pct": None if mix is None else _percent(mix.strength),
        "drain_l": round(dose.drain, POUR),
        "batches": batches_json(dose.batches),
        "after": _state(dose.after),
        "cost": _rounded(money(mix, dose.drain, fluid), 2),
        "cautions": list(dose.cautions),
    }


def batches_json(batches: Sequence[Batch]) -> list[Body]:
    """Batches in the order of pouring."""
    return [
        {
            "count": batch.count,
            "water_l": round(batch.water, POUR),
            "concentrate_l": round(batch.concentrate, POUR),
        }
        for batch in batches
    ]


def _rhythm(rhythm: Rhythm) -> Body:
    """What comes of topping up every so often."""
    return {
        "every_d": rhythm.every,
        "rounds": rhythm.rounds,
        "buckets": rhythm.buckets,
        "lowest_pct": _percent(rhythm.lowest),
        "highest_pct": _percent(rhythm.highest),
        "least_l": round(rhythm.least, VOLUME),
        "leaves_band": rhythm.is_out_of_band,
        "falls_low": rhythm.is_too_low,
        "water_l": round(rhythm.poured.water, VOLUME),
        "concentrate_l": round(rhythm.poured.concentrate, VOLUME),
        "cost": _rounded(rhythm.cost, 2),
    }


def water_json(outlook: WaterOutlook) -> Body:
    """What each water does to a sump; `null` for never, and for no end."""
    return {
        "cycles": _rounded(outlook.cycles, 3),
        "salts": [
            {
                "salt": salt.name,
                "limit_mg_l": round(salt.limit, 3),
                "now_mg_l": round(salt.now, 3),
                "assumed": salt.is_assumed,
            }
            for salt in outlook.salts
        ],
        "waters": [
            {
                "water": case.water.name,
                "nitrate_high": case.is_nitrate_high,
                "salts": [
                    {
                        "salt": course.salt,
                        "settles_at_mg_l": _rounded(course.settles, 3),
                        "limit_reached_in_d": _rounded(course.days, DAYS),
                    }
                    for course in case.courses
                ],
            }
            for case in outlook.cases
        ],
        "blends": [
            {
                "water": blend.water,
                "share_pct": _percent(blend.share),
                "because_of": blend.because_of or None,
            }
            for blend in outlook.blends
        ],
    }


def _stock(stock: Stock) -> Body:
    """What is left of a supply."""
    return {
        "supply": stock.supply,
        "volume_l": round(stock.volume, VOLUME),
        "at": text_of(stock.at),
        "days": _estimate(stock.days, DAYS),
    }


def _estimate(estimate: Estimate | None, digits: int) -> Body | None:
    """Value and sd, to so many digits."""
    if estimate is None:
        return None
    return {
        "value": round(estimate.value, digits) + 0.0,
        "sd": round(estimate.sd, digits) + 0.0,
    }


def _percent(fraction: float | None) -> float | None:
    """Share in percent."""
    return None if fraction is None else round(100.0 * fraction, CONCENTRATION) + 0.0


def _rounded(value: float | None, digits: int) -> float | None:
    """To so many digits; nothing for what has no end."""
    return None if value is None or not isfinite(value) else round(value, digits) + 0.0


def _moment(at: Instant | None) -> str | None:
    """A moment, if it comes; to the minute."""
    return None if at is None else text_of(at - at % MINUTE)
