"""What a station may be asked to pour: the evidence it takes, the limits kept, the setpoint itself.

Nothing here remembers anything; `advisor.station` does. Chosen, and why:

- evidence: level and Brix good, heard within a quarter of an hour, and known well enough: volume
  to 5 % of the volume wanted, concentration to 15 % of the band's width, holdup to 2.5 % of the
  volume at the brim (one that nobody gave has to be learned first). Fluid that goes or comes by
  itself, and a concentrate that is not the sump's, stop it too;
- limits: the largest dose, the hour, the day, the brim less headroom and margin, the strengths that
  the fluid takes. Hour and day roll, and count what was reported, or all that was asked for where
  no report came;
- the level at which the station stops is the highest that any advised dose leads to, as the sensor
  shows it while the pumps run, since fluid comes back when they stop; with the pumps known to have
  stood until all has drained back, as it shows it then;
- the strength at which it stops is a quarter and a point above the mix's own, at most the fluid's
  limit.
"""

from collections.abc import Collection
from dataclasses import dataclass
from math import floor

from advisor.effects import Advice, Mix, Setpoint
from advisor.geometry import volume_at
from advisor.level import as_plant_reads, reading_at_depth
from advisor.limits import rest_range, running_range
from advisor.plan import Station, SumpPlan
from advisor.vessels import least_dose
from advisor.words import MINUTE, Instant, Quality, Signal, SumpState

LEASE: Instant = 10 * MINUTE
"""A setpoint, and each lease, runs out after so long. [ms]"""

FRESH: Instant = 15 * MINUTE
"""Evidence older than this moves no pump. [ms]"""

VOLUME_SD = 0.05
"""Sd of the volume at most, as part of the volume wanted. [1]"""

STRENGTH_SD = 0.15
"""Sd of the concentration at most, as part of the band's width. [1]"""

HOLDUP_SD = 0.025
"""Sd of the holdup at most, as part of the volume at the brim. [1]"""

STOPPING = ("mix-loss-high", "water-gain", "wrong-concentrate")
"""Alarms under which nothing is poured: nobody knows then what it would do."""

STRONGER, STRONGER_BY = 1.25, 0.01
"""Factor on the mix's strength, and what is added to it, at which the station stops. [1]"""

METERS = (Signal.WATER_METER, Signal.CONCENTRATE_METER)
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Poured:
    """So much was authorised; it counts in the hour and the day from here. [ms], [L]"""

    at: Instant
    volume: float


def trouble(
    state: SumpState, plan: SumpPlan, now: Instant, *, alarmed: Collection[str] = ()
) -> str:
    """Say why the evidence is not good enough to pour by; empty where it is.

    Parameters
    ----------
    state : SumpState
        What is known, staleness included. Volumes in [L], concentrations in [1].
    plan : SumpPlan
        The sump.
    now : Instant
        The clock. [ms]
    alarmed : Collection[str]
        Names of the sump's alarms whose condition stands, or that wait for a reset.
    """
    if plan.station is None or not plan.station.automatic:
        return "the sump is not set to automatic"
    if state.charging:
        return "the sump is being charged"
    for signal in (Signal.LEVEL, Signal.BRIX):
        quality = state.qualities.get(signal, Quality.ABSENT)
        if quality is not Quality.GOOD:
            return f"the {signal} signal is {quality}"
    if now - min(state.at, state.last_seen.get(Signal.LEVEL, -1)) > FRESH:
        return "the level has not been heard for too long"
    seen = state.last_seen.get(Signal.BRIX, -1)
    if state.running is not False and now - seen > FRESH:
        return "the refractometer has not been heard for too long"
    stopping = [name for name in STOPPING if name in alarmed]
    return _unknown(state, plan) or (f"{stopping[0]} stands" if stopping else "")


def _unknown(state: SumpState, plan: SumpPlan) -> str:
    """Say what is not known well enough. [L], [1]"""
    volume, strength, holdup = state.volume, state.concentration, state.holdup
    fluid, levels = plan.fluid, plan.levels
    if volume is None or volume.sd > VOLUME_SD * volume_at(plan.tank, levels.target):
        return "the volume is not known well enough"
    if strength is None or strength.sd > STRENGTH_SD * (fluid.band_high - fluid.band_low):
        return "the concentration is not known well enough"
    if holdup is None or holdup.sd > HOLDUP_SD * volume_at(plan.tank, levels.brim):
        return "the holdup is not known well enough"
    return ""


def room(state: SumpState, plan: SumpPlan) -> float:
    """How much fits at most, headroom and margin kept. [L]"""
    if state.volume is None:
        return 0.0
    full = volume_at(plan.tank, max(plan.levels.brim - plan.headroom, 0.0))
    return full - plan.margin_sd * state.volume.sd - state.volume.value


def allowance(station: Station, poured: tuple[Poured, ...], now: Instant) -> float:
    """How much may be asked for now, by dose, hour and day. [L]"""
    dose, day = station.max_dose, station.max_day
    if dose is None or day is None:
        return 0.0
    hour = dose if station.max_hour is None else station.max_hour
    in_hour = sum(past.volume for past in poured if now - past.at < 60 * MINUTE)
    in_day = sum(past.volume for past in poured if now - past.at < 24 * 60 * MINUTE)
    return max(min(dose, hour - in_hour, day - in_day), 0.0)


def within(mix: Mix, most: float, plan: SumpPlan) -> Mix | None:
    """Cut a mix down to `most` [L] in the station's steps; `None` where nothing is left of it.

    Its strength stays within what the fluid takes.
    """
    station, fluid = plan.station, plan.fluid
    if station is None or mix.volume <= 0.0:
        return None
    if mix.volume <= most + _SLACK:
        return mix if _is_taken(mix, plan) else None
    if most < (least_dose(plan) or 0.0):
        return None
    share, step = most / mix.volume, station.resolution
    concentrate = _steps(mix.concentrate * share, step)
    water = _steps(most - concentrate, step)
    strongest = fluid.premix_max * (water + concentrate)
    concentrate = min(concentrate, _steps(strongest, step))
    cut = Mix(water, concentrate)
    return cut if cut.volume > 0.0 and _is_taken(cut, plan) else None


def _is_taken(mix: Mix, plan: SumpPlan) -> bool:
    """Whether the fluid takes a mix so weak or so strong."""
    return plan.fluid.weak_mix - _SLACK <= mix.strength <= plan.fluid.premix_max + _SLACK


def _steps(volume: float, step: float) -> float:
    """Whole steps of a volume, rounded down. [L]"""
    return round(floor(volume / step + 1e-6) * step, 9)


def setpoint_for(
    advice: Advice, mix: Mix, state: SumpState, plan: SumpPlan, *, number: int, now: Instant
) -> Setpoint:
    """Write a setpoint.

    Parameters
    ----------
    advice : Advice
        What it carries out.
    mix : Mix
        What is to be poured. [L]
    state : SumpState
        Holdup [L], pumps; `running` is `False` only where everything has drained back.
    plan : SumpPlan
        The sump.
    number : int
        Counts setpoints.
    now : Instant
        The clock. [ms]
    """
    strongest = min(plan.fluid.premix_max, STRONGER * mix.strength + STRONGER_BY)
    water_end, concentrate_end = ends(mix, state, plan)
    signal = plan.signals.get(Signal.LEVEL)
    return Setpoint(
        id=f"s-{number}",
        sump=plan.id,
        advice=advice.id,
        mix=mix,
        max_strength=max(strongest, mix.strength),
        water_meter_end=water_end,
        concentrate_meter_end=concentrate_end,
        stop_at_level=stop_level(state, plan),
        level_unit="mm" if signal is None else signal.unit or "mm",
        issued_at=now,
        expires_at=now + LEASE,
    )


def ends(mix: Mix, state: SumpState, plan: SumpPlan) -> tuple[float | None, float | None]:
    """Where the two counters stand once all is poured; `None` for one that is not there. [L]"""
    found: list[float | None] = []
    for signal, volume in zip(METERS, (mix.water, mix.concentrate), strict=True):
        total, meter = state.totals.get(signal), plan.signals.get(signal)
        if total is None or meter is None:
            found.append(None)
            continue
        end = total + volume
        if meter.rollover is not None and end >= meter.rollover:
            end -= meter.rollover
        found.append(end)
    return found[0], found[1]


def stop_level(state: SumpState, plan: SumpPlan) -> float:
    """Level at which the station stops, in the sensor's own unit and sense. [its own unit]"""
    stands = state.running is False
    depth = (rest_range(plan) if stands else running_range(plan, state.holdup))[1]
    reading: float = reading_at_depth(plan, depth)
    signal = plan.signals.get(Signal.LEVEL)
    return reading if signal is None else as_plant_reads(signal, reading)
