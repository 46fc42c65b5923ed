"""From the models of a sump's signals to what is told about them, every unit converted."""

from collections.abc import Iterator, Mapping

from advisor.plan import LevelKind, SignalPlan
from advisor.units import fraction_from_percent
from advisor.words import Signal
from agent.plant.plant import Binding, Sparkplug
from agent.plant.signal_models import (
    BrixModel,
    CuttingModel,
    GaugeModel,
    LevelModel,
    MeasuredModel,
    MeterModel,
    SignalModel,
    SparkplugModel,
    SwitchModel,
)
from agent.plant.sump_models import SumpModel
from agent.plant.units import internal_unit, scale, usual_unit

_RANGES: Mapping[Signal, tuple[float, float]] = {
    Signal.BRIX: (-5.0, 95.0),
    Signal.TEMPERATURE: (-20.0, 150.0),
    Signal.WATER_METER: (0.0, 1e12),
    Signal.CONCENTRATE_METER: (0.0, 1e12),
    Signal.PH: (0.0, 14.0),
    Signal.CONDUCTIVITY: (0.0, 1000.0),
    Signal.AIR_TEMPERATURE: (-60.0, 100.0),
    Signal.HUMIDITY: (0.0, 1.1),
}
"""Beyond these no sensor of its kind reads, whatever is the matter with the fluid; *common
practice*. What lies inside is judged by the balance. [internal unit]"""

_LEVEL_RANGES: Mapping[LevelKind, tuple[float, float]] = {
    "depth": (-1e5, 1e5),
    "air-gap": (-1e5, 1e5),
    "volume": (-1e6, 1e6),
    "percent": (-10.0, 10.0),
    "pressure": (-1e7, 1e7),
}


def signal_plans(model: SumpModel) -> dict[Signal, SignalPlan]:
    """Convert what is said of the sensors of a sump."""
    return {signal: _plan(signal, part) for signal, part in _bound(model)}


def bindings(model: SumpModel) -> Iterator[Binding]:
    """Convert where the signals of a sump come from."""
    for signal, part in _bound(model):
        low, high = _range(signal, part)
        yield Binding(
            sump=model.id,
            signal=signal,
            topic=part.topic,
            sparkplug=None if part.sparkplug is None else _sparkplug(part.sparkplug),
            value_pointer=part.value_pointer,
            time_pointer=part.time_pointer,
            unit_pointer=part.unit_pointer,
            name=part.name,
            unit=_unit(signal, part),
            true_values=_true_values(part),
            low=low,
            high=high,
            lateness_ms=None if part.lateness_s is None else round(part.lateness_s * 1000),
        )


def _bound(model: SumpModel) -> Iterator[tuple[Signal, SignalModel]]:
    """Signals that the plant file binds."""
    for signal in Signal:
        part: SignalModel | None = getattr(model.signals, signal.value)
        if part is not None:
            yield signal, part


def _plan(signal: Signal, part: SignalModel) -> SignalPlan:
    """Everything about one sensor."""
    factor, offset = _scale(signal, part)
    sd = part.sd if isinstance(part, GaugeModel) else None
    meter = part if isinstance(part, MeterModel) else MeterModel()
    brix = part if isinstance(part, BrixModel) else BrixModel()
    level = part if isinstance(part, LevelModel) else LevelModel()
    return SignalPlan(
        signal=signal,
        sd=None if sd is None else abs(factor) * sd,
        interval=part.interval_s,
        stale_after=part.stale_after_s,
        kind=level.kind,
        mount=level.mount_mm,
        compensated=brix.compensated,
        needs_flow=brix.needs_flow,
        sd_fraction=fraction_from_percent(meter.sd_pct),
        rollover=None if meter.rollover is None else factor * meter.rollover,
        counter=isinstance(part, CuttingModel) and part.kind == "counter",
        unit=_unit(signal, part),
        per_unit=factor,
        offset=offset,
    )


def _unit(signal: Signal, part: SignalModel) -> str:
    """Unit of a payload that carries none; empty of a signal without one."""
    if not isinstance(part, MeasuredModel):
        return ""
    return usual_unit(signal, _kind(part)) if part.unit is None else part.unit


def _kind(part: SignalModel) -> LevelKind:
    """Kind of a level signal; of others it does not matter."""
    return part.kind if isinstance(part, LevelModel) else "depth"


def _scale(signal: Signal, part: SignalModel) -> tuple[float, float]:
    """Factor and offset to the internal unit."""
    inside = internal_unit(signal, _kind(part))
    return (1.0, 0.0) if inside is None else scale(_unit(signal, part), inside)


def _range(signal: Signal, part: SignalModel) -> tuple[float | None, float | None]:
    """Lowest and highest value that is taken, in the internal unit."""
    if isinstance(part, MeasuredModel) and part.range is not None:
        factor, offset = _scale(signal, part)
        low, high = sorted(factor * end + offset for end in part.range)
        return low, high
    if isinstance(part, LevelModel):
        return _LEVEL_RANGES[part.kind]
    return _RANGES.get(signal, (None, None))


def _true_values(part: SignalModel) -> frozenset[str]:
    """Words that mean on, in lower case."""
    if not isinstance(part, SwitchModel):
        return frozenset()
    return frozenset(value.lower() for value in part.true_values)


def _sparkplug(model: SparkplugModel) -> Sparkplug:
    """Place in Sparkplug B."""
    return Sparkplug(
        group=model.group, edge=model.edge, device=model.device or "", metric=model.metric
    )
