"""A small sump of known truth for the estimator's tests: own equations, own small steps.

It shares nothing with the estimator but the words of the evidence. Times in ms, the rest in L, d,
mm, °Brix; integrated by explicit steps of 30 s.
"""

import random
from dataclasses import dataclass, field

from advisor.geometry import Box
from advisor.plan import Fluid, Levels, SignalPlan, SumpPlan
from advisor.words import DAY, HOUR, MINUTE, Addition, Check, CheckKind, Evidence, Reading, Signal

BEGIN = 1_772_431_200_000
STEP = 30_000
AREA = 1.05  # L/mm


def plan(**changes) -> SumpPlan:
    """A mill with level, Brix and pump signals."""
    signals = {
        Signal.LEVEL: SignalPlan(signal=Signal.LEVEL, sd=1.5),
        Signal.BRIX: SignalPlan(signal=Signal.BRIX, sd=0.08),
        Signal.RUNNING: SignalPlan(signal=Signal.RUNNING),
    }
    told = {
        "id": "mill-07",
        "name": "Mill 7",
        "fluid": Fluid(
            id="semi-a", refractometer_factor=1.25, band_low=0.06, band_high=0.10, target=0.08
        ),
        "tank": Box(length=1500.0, width=700.0, height=450.0),
        "levels": Levels(low=180.0, target=380.0, brim=430.0, top_up=280.0),
        "holdup": 35.0,
        "signals": signals,
    }
    return SumpPlan(**(told | changes))


@dataclass
class Life:
    """What happens to the sump."""

    seed: int
    days: float = 4.0
    interval: int = 2 * MINUTE
    holdup: float = 35.0
    area_error: float = 0.0
    factor_error: float = 0.0
    offset: float = 0.0
    evaporation: float = 18.0
    carry_off: float = 5.0
    waves_sd: float = 1.0
    waves_ms: float = 10.0 * MINUTE
    white_sd: float = 1.0
    brix_sd: float = 0.08
    wander_sd: float = 0.03
    per_day: float = 1.5
    reported: bool = True
    checks: bool = False
    shifts: bool = True
    at_pump_start: bool = False


@dataclass
class Truth:
    """What there was, at every whole hour, and what was poured."""

    hours: list[int] = field(default_factory=list)
    volume: list[float] = field(default_factory=list)
    concentrate: list[float] = field(default_factory=list)
    lost_water: list[float] = field(default_factory=list)
    lost_concentrate: list[float] = field(default_factory=list)
    poured: list[tuple[int, float, float]] = field(default_factory=list)


def unlike(seed: int, **changes) -> Life:
    """A life whose instruments and tank are off by what is common, drawn for the seed."""
    dice = random.Random(seed + 77)
    drawn = {
        "holdup": 35.0 * (1.0 + dice.gauss(0.0, 0.15)),
        "area_error": dice.gauss(0.0, 0.02),
        "factor_error": dice.gauss(0.0, 0.03),
        "offset": dice.gauss(0.2, 0.15),
        "waves_sd": dice.uniform(0.5, 1.5),
        "waves_ms": dice.uniform(5.0, 40.0) * MINUTE,
    }
    return Life(seed=seed, **(drawn | changes))


def runs_at(at: int, life: Life) -> bool:
    """Two shifts, five days a week."""
    if not life.shifts:
        return True
    day, hour = (at - BEGIN) // DAY % 7, (at - BEGIN) % DAY / HOUR
    return day < 5 and 0.0 <= hour < 16.0


def live(life: Life) -> tuple[Truth, list[Evidence]]:  # noqa: PLR0915, a plain list of steps
    """Run a sump's life: the truth, and the evidence in the order of its time."""
    dice = random.Random(life.seed)
    truth, evidence = Truth(), []
    volume, strength = dice.uniform(300.0, 380.0), dice.uniform(0.065, 0.09)
    solute = volume * strength
    up, waves, wander = 0.0, 0.0, 0.0
    lost_water = lost_solute = 0.0
    evaporation = life.evaporation * dice.uniform(0.6, 1.4)
    carry_off = life.carry_off * dice.uniform(0.5, 1.5)
    stir = STEP / DAY
    pour_left, pour_strength = 0.0, 0.0
    seen_brix = 100.0 * strength / 1.25
    ran, started = None, BEGIN
    mixed = strength
    for at in range(BEGIN, BEGIN + int(life.days * DAY), STEP):
        runs = runs_at(at, life)
        if runs != ran:
            evidence.append(Reading(at, Signal.RUNNING, float(runs)))
            ran, started = runs, at
        goal, pace = (life.holdup, 20_000.0) if runs else (0.0, 4.0 * MINUTE)
        up += (goal - up) * (1.0 - 2.718281828 ** (-STEP / pace))
        drift = evaporation * (1.0 + 0.3 * dice.gauss(0.0, 1.0)) * (1.0 if runs else 0.4)
        mix = carry_off * runs * max(1.0 + 2.0 * dice.gauss(0.0, 1.0), 0.0)
        c = solute / volume
        lost_water += (drift + (1.0 - c) * mix) * stir
        lost_solute += c * mix * stir
        volume -= (drift + mix) * stir
        solute -= c * mix * stir
        evaporation = max(evaporation + dice.gauss(0.0, 2.0) * stir**0.5, 2.0)
        now_runs = runs and at - started == 2 * STEP
        wanted = 0.6 * now_runs if life.at_pump_start else life.per_day * stir
        if dice.random() < wanted and pour_left <= 0.0 and volume < 400.0:
            pour_left = dice.uniform(12.0, min(40.0, 440.0 - volume))
            pour_strength = dice.choice((0.0, 0.03, 0.05, 0.1))
            truth.poured.append((at, pour_left, pour_strength))
            if life.reported:
                told = pour_left * (1.0 + 0.04 * dice.gauss(0.0, 1.0))
                evidence.append(
                    Addition(
                        at=at,
                        id=f"a{len(truth.poured)}",
                        water=told * (1.0 - pour_strength),
                        concentrate=told * pour_strength * (1.0 + 0.05 * dice.gauss(0.0, 1.0)),
                    )
                )
        if pour_left > 0.0:
            now = min(pour_left, 5.0)
            volume, solute, pour_left = volume + now, solute + now * pour_strength, pour_left - now
        mixed += (solute / volume - mixed) * (1.0 - 2.718281828 ** (-STEP / (4.0 * MINUTE))) * runs
        fade = 2.718281828 ** (-STEP / life.waves_ms)
        waves = waves * fade + dice.gauss(0.0, life.waves_sd * (1.0 - fade * fade) ** 0.5)
        fade = 2.718281828 ** (-STEP / (4.0 * HOUR))
        wander = wander * fade + dice.gauss(0.0, life.wander_sd * (1.0 - fade * fade) ** 0.5)
        if (at - BEGIN) % HOUR == 0:
            truth.hours.append(at)
            truth.volume.append(volume)
            truth.concentrate.append(solute)
            truth.lost_water.append(lost_water)
            truth.lost_concentrate.append(lost_solute)
        if (at - BEGIN) % life.interval:
            continue
        depth = (volume - up) / (1.0 + life.area_error) / AREA
        depth += waves + dice.gauss(0.0, life.white_sd)
        evidence.append(Reading(at, Signal.LEVEL, round(depth, 1)))
        if runs:
            seen_brix = 80.0 * mixed * (1.0 + life.factor_error) + life.offset + wander
            seen_brix = round(seen_brix + dice.gauss(0.0, life.brix_sd), 1)
        evidence.append(Reading(at, Signal.BRIX, seen_brix))
        if life.checks and (at - BEGIN) % DAY == 6 * HOUR:
            told = 100.0 * solute / volume + dice.gauss(0.0, 0.2)
            evidence.append(Check(at=at, id=f"c{at}", kind=CheckKind.TITRATION, value=told / 100.0))
    return truth, evidence
