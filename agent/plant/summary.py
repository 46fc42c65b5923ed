"""What was understood of a plant file, for people and for programs."""

from collections.abc import Iterator
from typing import Any

from advisor.geometry import volume_at
from advisor.plan import SignalPlan, SumpPlan
from advisor.units import percent_from_fraction
from advisor.words import Signal
from agent.errors import PlantFileError
from agent.plant.plant import Binding, Plant
from agent.quantities import for_people

Summary = dict[str, Any]

_DEPTHS = ("low", "target", "brim")


def summary(plant: Plant) -> Summary:
    """Everything that `sheet` says, as JSON."""
    return {
        "valid": True,
        "plant": plant.id,
        "name": plant.name,
        "units": plant.units,
        "timezone": plant.timezone,
        "broker": broker_address(plant),
        "prefix": plant.prefix,
        "store": str(plant.store),
        "sumps": [_sump_summary(plant, sump) for sump in plant.sumps.values()],
    }


def problem_summary(error: PlantFileError) -> Summary:
    """Everything that is wrong with a file, as JSON."""
    return {
        "valid": False,
        "file": str(error.path),
        "problems": [
            {
                "line": problem.line,
                "key": problem.key,
                "value": problem.value,
                "expected": problem.expected,
            }
            for problem in error.problems
        ],
    }


def sheet(plant: Plant) -> str:
    """Say in a few lines what was understood."""
    return "\n".join([*_plant_lines(plant), *_all_sumps(plant)])


def broker_address(plant: Plant) -> str:
    """Address of the broker, as in the plant file."""
    scheme = "mqtts" if plant.broker.tls else "mqtt"
    host = f"[{plant.broker.host}]" if ":" in plant.broker.host else plant.broker.host
    return f"{scheme}://{host}:{plant.broker.port}"


# --- for programs --------------------------------------------------------------------------------


def _sump_summary(plant: Plant, sump: SumpPlan) -> Summary:
    """Everything about one sump."""
    fluid = sump.fluid
    return {
        "id": sump.id,
        "name": sump.name,
        "concentrate": fluid.id,
        "band_pct": [percent_from_fraction(end) for end in (fluid.band_low, fluid.band_high)],
        "target_pct": percent_from_fraction(fluid.target),
        "target_brix": target_brix(sump),
        "level_mm": {key: getattr(sump.levels, key) for key in (*_DEPTHS, "top_up", "low_running")},
        "volume_l": {key: _volume(sump, key) for key in _DEPTHS},
        "holdup_l": sump.holdup,
        "signals": [
            {
                "signal": binding.signal.value,
                "source": source(binding),
                "unit": binding.unit,
                "meaning": _meaning(sump.signals[binding.signal]),
            }
            for binding in _bindings(plant, sump)
        ],
        "vessels": [vessel.id for vessel in sump.vessels],
        "supplies": [supply.id for supply in sump.supplies],
        "automatic": sump.station is not None and sump.station.automatic,
    }


def _bindings(plant: Plant, sump: SumpPlan) -> Iterator[Binding]:
    """Signals of one sump."""
    return (binding for binding in plant.bindings if binding.sump == sump.id)


def target_brix(sump: SumpPlan) -> float:
    """What a refractometer reads at the target. [°Brix]"""
    return percent_from_fraction(sump.fluid.target) / sump.fluid.refractometer_factor


def _volume(sump: SumpPlan, key: str) -> float:
    """Volume at one of the levels, pumps stopped. [L]"""
    depth: float = getattr(sump.levels, key)
    return round(volume_at(sump.tank, depth), 2)


def source(binding: Binding) -> str:
    """Where a signal comes from, in one line."""
    if binding.sparkplug is None:
        places = (binding.value_pointer, binding.name)
        return " ".join([binding.topic or "", *(place for place in places if place)])
    place = binding.sparkplug
    node = "/".join(part for part in (place.group, place.edge, place.device) if part)
    return f"Sparkplug {node} {place.metric}"


# --- for people ----------------------------------------------------------------------------------


def _plant_lines(plant: Plant) -> Iterator[str]:
    """Lines about the plant itself."""
    sumps, signals = len(plant.sumps), len(plant.bindings)
    yield f"{plant.name}: {_counted(sumps, 'sump')}, {_counted(signals, 'signal')}"
    yield f"  broker {broker_address(plant)}, topics under {plant.prefix}"
    yield f"  store {plant.store}"
    yield f"  {plant.units} units, times of {plant.timezone}"


def _counted(count: int, what: str) -> str:
    """Words for so many of something."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _all_sumps(plant: Plant) -> Iterator[str]:
    """Lines about every sump."""
    for sump in plant.sumps.values():
        yield ""
        yield sump.id if sump.name == sump.id else f"{sump.id}, {sump.name}"
        yield from _fluid_lines(sump)
        yield from _level_lines(plant, sump)
        for binding in _bindings(plant, sump):
            meaning = _meaning(sump.signals[binding.signal])
            yield f"  {binding.signal:<17} {source(binding)}{f' ({meaning})' if meaning else ''}"
        if not sump.signals:
            yield "  no signals: checks and reported additions carry the balance"
        yield from _pouring_lines(plant, sump)


def _fluid_lines(sump: SumpPlan) -> Iterator[str]:
    """Lines about what is in the sump."""
    fluid = sump.fluid
    band = f"{_percent(fluid.band_low)} to {_percent(fluid.band_high)} %"
    yield (
        f"  {'fluid':<17} {fluid.id}: {_percent(fluid.target)} % of the mix, band {band}; "
        f"reads {target_brix(sump):.2f} °Brix at the target"
    )
    water = (
        "plain water may be added"
        if fluid.weak_mix == 0.0
        else f"{_percent(fluid.weak_mix)} % mix in place of plain water"
    )
    yield f"  {'':<17} {water}; premix at most {_percent(fluid.premix_max)} %"


def _percent(fraction: float) -> str:
    """Fraction as people read it. [%]"""
    return f"{percent_from_fraction(fraction):.6g}"


def _level_lines(plant: Plant, sump: SumpPlan) -> Iterator[str]:
    """Lines about the tank."""
    levels = [
        f"{key} {getattr(sump.levels, key):g} mm = {for_people(_volume(sump, key), plant.units)}"
        for key in _DEPTHS
    ]
    yield f"  {'depths':<17} {', '.join(levels)}"
    holdup = "unknown, to be learned"
    if sump.holdup is not None:
        holdup = for_people(sump.holdup, plant.units)
    yield f"  {'holdup':<17} {holdup}; top-up due under {sump.levels.top_up:g} mm"


def _meaning(plan: SignalPlan) -> str:
    """What a sensor is said to be, in a few words."""
    words = {
        Signal.LEVEL: plan.kind,
        Signal.BRIX: "compensated" if plan.compensated else "not compensated",
        Signal.CUTTING: "counter" if plan.counter else "on/off",
        Signal.RUNNING: "on/off",
    }
    parts = [words.get(plan.signal, ""), plan.unit and f"in {plan.unit}"]
    if plan.sd is not None:
        parts.append(f"sd {plan.sd / abs(plan.per_unit):.6g}")
    if plan.mount is not None:
        parts.append(f"sensor at {plan.mount:g} mm")
    return ", ".join(part for part in parts if part)


def _pouring_lines(plant: Plant, sump: SumpPlan) -> Iterator[str]:
    """Lines about what fills it."""
    vessels = [f"{v.id} of {for_people(v.volume, plant.units)}" for v in sump.vessels]
    yield f"  {'poured with':<17} {', '.join(vessels) or 'no vessel: litres to 0.1'}"
    if sump.supplies:
        yield f"  {'supplies':<17} {', '.join(f'{s.id} ({s.kind})' for s in sump.supplies)}"
    if sump.station is not None:
        how = "automatic" if sump.station.automatic else "on advice only"
        yield f"  {'station':<17} {how}"
