"""What a payload would give by a plant file that is not written yet: the decoder itself says."""

from dataclasses import dataclass

from advisor.geometry import capacity, height, volume_at
from advisor.level import depth_of
from advisor.plan import SumpPlan
from advisor.words import Instant, Signal
from agent.arrival import Arrival
from agent.decode.decoder import Decoder
from agent.decode.results import Refusal, Sample
from agent.page.speech import Speech
from agent.plant.plant import Plant
from agent.plant.units import internal_unit


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of a payload."""

    said: str
    """The reading in a person's words; or why there is none."""
    meaning: str = ""
    """What that is in the sump: volume, concentration."""
    at: Instant | None = None
    """The payload's own time."""
    is_reading: bool = False
    doubt: str = ""
    """Key of the text that says why it may be wrong, such as a level above the brim."""


def try_out(plant: Plant, sump: str, signal: Signal, arrival: Arrival, say: Speech) -> Reading:
    """Read a message by a plant, for one of its signals."""
    found = Decoder(plant).decode(arrival)
    refused = ""
    for piece in found:
        if isinstance(piece, Sample) and (piece.sump, piece.signal) == (sump, signal):
            return _told(plant.sumps[sump], piece, say)
        if isinstance(piece, Refusal) and piece.sump in {None, sump} and not refused:
            refused = piece.detail
    return Reading(refused or say.text("setup.try.nothing"))


def _told(plan: SumpPlan, sample: Sample, say: Speech) -> Reading:
    """A sample in words."""
    signal = sample.signal
    match signal:
        case Signal.LEVEL:
            return _level(plan, sample, say)
        case Signal.BRIX:
            share = sample.value * plan.fluid.refractometer_factor / 100.0
            meaning = say.text("setup.try.brix", strength=say.percent(max(share, 0.0)))
            return Reading(say.brix(sample.value), meaning, sample.at, is_reading=True)
        case Signal.RUNNING | Signal.CUTTING if not plan.signals[signal].counter:
            word = say.text("setup.try.on" if sample.value else "setup.try.off")
            return Reading(word, "", sample.at, is_reading=True)
        case Signal.WATER_METER | Signal.CONCENTRATE_METER:
            return Reading(say.volume(sample.value), "", sample.at, is_reading=True)
        case _:
            unit = internal_unit(signal) or ""
            value = 100.0 * sample.value if unit == "1" else sample.value
            shown = f"{say.short(value)} {_unit(unit)}".strip()
            return Reading(shown, "", sample.at, is_reading=True)


def _level(plan: SumpPlan, sample: Sample, say: Speech) -> Reading:
    """A level, and the fluid that it stands for."""
    kind = plan.signals[Signal.LEVEL].kind
    unit = internal_unit(Signal.LEVEL, kind) or ""
    shown = {
        "depth": say.depth(sample.value),
        "air-gap": say.depth(sample.value),
        "volume": say.volume(sample.value),
        "percent": say.percent(sample.value),
    }.get(kind, f"{say.short(sample.value)} {_unit(unit)}")
    if not _is_in_tank(plan, sample.value):
        return Reading(shown, "", sample.at, is_reading=True, doubt="setup.try.outside")
    depth = depth_of(plan, sample.value)
    volume = volume_at(plan.tank, depth)
    meaning = say.text("setup.try.level", depth=say.depth(depth), volume=say.volume(volume))
    doubt = "setup.try.over_brim" if depth > plan.levels.brim else ""
    return Reading(shown, meaning, sample.at, is_reading=True, doubt=doubt)


def _is_in_tank(plan: SumpPlan, value: float) -> bool:
    """Whether a tank explains a reading, which otherwise is kept within it."""
    signal = plan.signals[Signal.LEVEL]
    top = height(plan.tank)
    match signal.kind:
        case "depth":
            return 0.0 <= value <= top
        case "air-gap":
            return 0.0 <= (signal.mount or 0.0) - value <= top
        case "volume":
            return 0.0 <= value <= capacity(plan.tank)
        case "percent":
            return 0.0 <= value <= capacity(plan.tank) / volume_at(plan.tank, plan.levels.brim)
        case "pressure":
            return value >= 0.0 and depth_of(plan, value) < top


def _unit(unit: str) -> str:
    """A unit as people write it."""
    return {"degC": "°C", "1": "%", "mS/cm": "mS/cm", "pH": ""}.get(unit, unit)
