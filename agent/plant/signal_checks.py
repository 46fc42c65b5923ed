"""What must hold between the keys of one signal: its unit, its range, what its kind needs."""

from collections.abc import Iterator
from typing import get_args

from advisor.plan import LevelKind
from advisor.words import Signal
from agent.plant.parts import Part
from agent.plant.problems import Fault
from agent.plant.units import internal_unit, scale, usual_unit
from agent.quantities import QuantityError

_KINDS: tuple[LevelKind, ...] = get_args(LevelKind)


def signal_faults(sump: Part) -> Iterator[Fault]:
    """List everything that is wrong between the keys of a sump's signals."""
    signals = sump.part("signals")
    brim = sump.part("level_mm").number("brim")
    for signal in Signal:
        part = signals.part(signal)
        if not part.there:
            continue
        kind = _kind(part)
        yield from _unit_faults(part, signal, kind)
        yield from _range_faults(part)
        if signal is Signal.LEVEL:
            yield from _mount_faults(part, kind, brim)


def _kind(part: Part) -> LevelKind | None:
    """Kind of a level signal, if it is a known one."""
    text = part.text("kind", "depth")
    return next((kind for kind in _KINDS if kind == text), None)


def _unit_faults(part: Part, signal: Signal, kind: LevelKind | None) -> Iterator[Fault]:
    """The unit exists and measures what the signal tells."""
    unit = part.text("unit")
    if unit is None or (signal is Signal.LEVEL and kind is None):
        return
    inside = internal_unit(signal, kind or "depth")
    if inside is None:
        return
    try:
        scale(unit, inside)
    except QuantityError as error:
        yield part.fault(
            "unit", f"expected a unit like {usual_unit(signal, kind or 'depth')}: {error}"
        )


def _range_faults(part: Part) -> Iterator[Fault]:
    """A range has its lower end first."""
    ends = part.numbers("range")
    if ends is not None and len(ends) == 2 and ends[0] >= ends[1]:
        yield part.fault("range", "expected the lower value first")
    stale, interval = part.number("stale_after_s"), part.number("interval_s")
    if stale is not None and interval is not None and stale <= interval:
        yield part.fault("stale_after_s", f"expected more than interval_s ({interval:g})")


def _mount_faults(part: Part, kind: LevelKind | None, brim: float | None) -> Iterator[Fault]:
    """An air gap needs the height of its sensor, which hangs above the brim."""
    mount = part.number("mount_mm")
    if kind == "air-gap" and "mount_mm" not in part:
        yield part.fault("mount_mm", "missing; expected the sensor's height above the floor [mm]")
    if kind is not None and kind != "air-gap" and "mount_mm" in part:
        yield part.fault("mount_mm", f'is for kind = "air-gap"; this one is "{kind}"')
    if mount is not None and brim is not None and mount < brim:
        yield part.fault("mount_mm", f"expected at least the brim ({brim:g})")
