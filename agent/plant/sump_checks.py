"""What must hold between the keys of one sump: its tank, its levels, its station."""

from collections.abc import Iterator
from itertools import pairwise

from pydantic import TypeAdapter, ValidationError

from advisor.errors import AdvisorError
from advisor.geometry import Tank, height, volume_at
from agent.plant.alarm_checks import alarm_faults
from agent.plant.parts import Part
from agent.plant.problems import Fault
from agent.plant.signal_checks import signal_faults
from agent.plant.sump_models import TankModel
from agent.plant.tanks import tank

_TANK: TypeAdapter[TankModel] = TypeAdapter(TankModel)


def sump_faults(sump: Part) -> Iterator[Fault]:
    """List everything that is wrong between the keys of a sump."""
    levels = sump.part("level_mm")
    yield from _level_faults(levels)
    yield from _table_faults(sump.part("tank"))
    shape = _tank(sump.part("tank"))
    if shape is not None:
        yield from _fit_faults(sump, levels, shape)
    yield from _headroom_faults(sump, levels)
    yield from _station_faults(sump.part("station"))
    yield from signal_faults(sump)
    yield from alarm_faults(sump)


def _tank(part: Part) -> Tank | None:
    """Tank, if it can be read and computed with."""
    try:
        model = _TANK.validate_python(part.table())
        return tank(model)
    except (ValidationError, AdvisorError):
        return None


_ORDER = ("low", "target", "brim")


def _level_faults(levels: Part) -> Iterator[Fault]:
    """Low, target and brim rise; the others lie between their neighbours."""
    depth = {key: levels.number(key) for key in (*_ORDER, "low_running", "top_up")}
    for lower, upper in (*pairwise(_ORDER), ("low", "brim"), ("low_running", "target")):
        below, above = depth[lower], depth[upper]
        if (lower, upper) == ("low", "brim") and depth["target"] is not None:
            continue
        if below is not None and above is not None and below >= above:
            yield levels.fault(lower, f"expected less than {upper} ({above:g})")
    top_up, low, target = depth["top_up"], depth["low"], depth["target"]
    if top_up is not None and low is not None and top_up < low:
        yield levels.fault("top_up", f"expected at least low ({low:g})")
    if top_up is not None and target is not None and top_up > target:
        yield levels.fault("top_up", f"expected at most target ({target:g})")


def _table_faults(part: Part) -> Iterator[Fault]:
    """Strapping tables rise in both columns, which are of equal length."""
    if part.text("shape") != "table":
        return
    depths, volumes = part.numbers("depth_mm"), part.numbers("volume_l")
    for index, (lower, upper) in enumerate(pairwise(depths or ())):
        if lower >= upper:
            yield part.part("depth_mm").fault(index + 1, f"expected more than {lower:g} before it")
    for index, (lower, upper) in enumerate(pairwise(volumes or ())):
        if lower > upper:
            yield part.part("volume_l").fault(index + 1, f"expected at least {lower:g} before it")
    if volumes and volumes[0] == volumes[-1]:
        yield part.fault("volume_l", "expected volumes that rise")
    if depths is not None and volumes is not None and len(depths) != len(volumes):
        yield part.fault("volume_l", f"expected {len(depths)} values, as many as in depth_mm")
    if depths and depths[0] != 0.0:
        yield part.part("depth_mm").fault(0, "expected 0: a table begins at the floor")


def _fit_faults(sump: Part, levels: Part, shape: Tank) -> Iterator[Fault]:
    """Levels lie in the tank, and the holdup in the volume at the brim."""
    top = height(shape)
    for key in (*_ORDER, "low_running", "top_up"):
        depth = levels.number(key)
        if depth is not None and depth > top:
            yield levels.fault(key, f"expected inside the tank, which is {top:g} mm high")
    brim, holdup = levels.number("brim"), sump.number("holdup_l")
    if brim is None or not 0.0 < brim <= top:
        return
    volume = volume_at(shape, brim)
    if volume <= 0.0:
        yield levels.fault("brim", "expected a depth at which the tank holds something")
    elif holdup is not None and holdup >= volume:
        yield sump.fault("holdup_l", f"expected less than the volume at the brim ({volume:.1f} L)")


def _headroom_faults(sump: Part, levels: Part) -> Iterator[Fault]:
    """Headroom leaves room to fill above low."""
    headroom, low, brim = sump.number("headroom_mm"), levels.number("low"), levels.number("brim")
    if headroom is not None and low is not None and brim is not None:
        room = brim - low
        if 0.0 < room <= headroom:
            what = f"expected less than the room between low and brim ({room:g})"
            yield sump.fault("headroom_mm", what)


def _station_faults(station: Part) -> Iterator[Fault]:
    """Doses are limited wherever they are automatic."""
    dose, day = station.number("max_dose_l"), station.number("max_day_l")
    if dose is not None and day is not None and dose > day:
        yield station.fault("max_dose_l", f"expected at most max_day_l ({day:g})")
    hour, least = station.number("max_hour_l"), station.number("min_dose_l")
    if hour is not None and day is not None and hour > day:
        yield station.fault("max_hour_l", f"expected at most max_day_l ({day:g})")
    for most, key in ((dose, "max_dose_l"), (hour, "max_hour_l")):
        if least is not None and most is not None and least > most:
            yield station.fault("min_dose_l", f"expected at most {key} ({most:g})")
            break
    if station.raw("automatic") is True:
        for key in ("max_dose_l", "max_day_l"):
            if key not in station:
                yield station.fault(key, "missing; nothing is dosed automatically without a limit")
