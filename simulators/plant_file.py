"""The plant file of a scenario: what the plant believes, without what it cannot know."""

from collections.abc import Iterable, Mapping

from simulators.outfit import topic_of
from simulators.scenario.load import Scenario
from simulators.scenario.shop import Concentrate
from simulators.scenario.signals import (
    BrixSpec,
    LevelSpec,
    MeterSpec,
    PlainSpec,
    SignalSpec,
    SwitchSpec,
)
from simulators.scenario.sump import SumpSpec
from simulators.sensors.units import LEVEL_UNITS, PRESSURE
from simulators.tank import Tank

_WORDS = {"1", "on", "true", "running"}


def plant_toml(scenario: Scenario, url: str = "mqtt://127.0.0.1:1883") -> str:
    """The plant file, whole."""
    lines = [*_head(scenario, url)]
    for fluid in scenario.concentrate:
        lines += _concentrate(fluid)
    for vessel in scenario.vessel:
        lines += ["", "[[vessel]]"]
        lines += _pairs(vessel.model_dump())
    for sump in scenario.sumps():
        lines += _sump(scenario, sump)
    return "\n".join(lines) + "\n"


def _head(scenario: Scenario, url: str) -> Iterable[str]:
    """Plant, broker, store."""
    plant = scenario.plant
    names = {"id": plant.id, "name": plant.name or plant.id, "units": plant.units}
    yield f"# {scenario.title}"
    yield "# Written from a scenario of the simulator: what the plant believes about itself."
    yield ""
    yield "[plant]"
    yield from _pairs(names | {"timezone": plant.timezone})
    yield from ("", "[broker]")
    yield from _pairs({"url": url, "prefix": scenario.prefix})
    yield from ("", "[store]")
    yield from _pairs({"path": f"{plant.id}.db"})


def _concentrate(fluid: Concentrate) -> Iterable[str]:
    """A concentrate by its data sheet."""
    yield from ("", "[[concentrate]]")
    yield from _pairs(fluid.model_dump(exclude={"factor_error"}))


def _sump(scenario: Scenario, sump: SumpSpec) -> Iterable[str]:
    """A sump with its signals."""
    yield from ("", "[[sump]]")
    said: dict[str, object] = {"id": sump.id}
    if sump.name:
        said["name"] = sump.name
    said |= {
        "concentrate": sump.concentrate,
        "tank": sump.tank.model_dump(),
        "level_mm": sump.level_mm.model_dump(exclude_none=True),
    }
    if sump.holdup_told:
        said["holdup_l"] = sump.holdup_l
    yield from _pairs(said)
    for name in type(sump.signals).model_fields:
        spec: SignalSpec | None = getattr(sump.signals, name)
        if spec is not None:
            yield from ("", f"[sump.signals.{name}]")
            yield from _pairs(_signal(scenario, sump, name, spec))
    if sump.station is not None:
        keys = {"automatic", "max_dose_l", "max_day_l", "resolution_l"}
        yield from ("", "[sump.station]")
        yield from _pairs(sump.station.model_dump(include=keys))


def _signal(scenario: Scenario, sump: SumpSpec, name: str, spec: SignalSpec) -> dict[str, object]:
    """How one signal is bound."""
    said: dict[str, object] = {"topic": topic_of(scenario, sump, name)}
    if spec.form == "json":
        said["value_pointer"] = spec.value_pointer
        if spec.time_pointer is not None:
            said["time_pointer"] = spec.time_pointer
        if spec.unit_pointer is not None:
            said["unit_pointer"] = spec.unit_pointer
    said |= _kind_of(sump, spec)
    return {key: _short(value) for key, value in said.items()}


def _kind_of(sump: SumpSpec, spec: SignalSpec) -> dict[str, object]:
    """What is said of a sensor of this kind."""
    match spec:
        case LevelSpec():
            return _level(sump, spec)
        case BrixSpec():
            return {
                "unit": spec.unit,
                "sd": spec.sd_brix + 0.3 * spec.resolution,
                "compensated": spec.compensated,
                "needs_flow": spec.needs_flow,
            }
        case MeterSpec():
            sd = 100.0 * spec.gain_error
            return {"unit": spec.unit, "sd_pct": sd, "rollover": spec.rollover}
        case SwitchSpec():
            return _switch(spec)
        case PlainSpec():
            return {"unit": spec.unit or None}
        case _:
            return {}


def _switch(spec: SwitchSpec) -> dict[str, object]:
    """Words that are not the usual ones; a counter."""
    if spec.counter:
        return {"kind": "counter"}
    if spec.form == "senml" or spec.on in _WORDS:
        return {}
    return {"true_values": [spec.on]}


def _short(value: object) -> object:
    """A float to six significant digits."""
    return float(f"{value:.6g}") if isinstance(value, float) else value


def _level(sump: SumpSpec, spec: LevelSpec) -> dict[str, object]:
    """Kind, mount and the sensor's own spread in its unit."""
    unit = LEVEL_UNITS[spec.kind][spec.unit]
    own = spec.sd_mm + spec.wander_mm
    tank = Tank(sump.tank)
    if spec.kind == "pressure":
        own *= 9.789 / unit * PRESSURE["Pa"]  # 1 mm of water at 20 °C is 9.789 Pa
    elif spec.kind in {"volume", "percent"}:
        litres = own * tank.area(sump.level_mm.target)
        own = litres / unit / (tank.volume(sump.level_mm.brim) if spec.kind == "percent" else 1.0)
    else:
        own /= unit
    said: dict[str, object] = {"unit": spec.unit, "kind": spec.kind, "sd": own}
    if spec.mount_mm is not None:
        said["mount_mm"] = spec.mount_mm
    return said


def _pairs(table: Mapping[str, object]) -> list[str]:
    """Lines of a table."""
    return [f"{key} = {_value(value)}" for key, value in table.items() if value is not None]


def _value(value: object) -> str:
    """A TOML value; tables inside a line."""
    match value:
        case bool():
            return "true" if value else "false"
        case int():
            return str(value)
        case float():
            return repr(value)
        case str():
            escaped = value.replace("\\", "\\\\").replace('"', '\\"')
            return f'"{escaped}"'
        case dict():
            return "{ " + ", ".join(_pairs(value)) + " }"
        case list() | tuple():
            return "[" + ", ".join(_value(item) for item in value) + "]"
        case _:
            raise TypeError(f"{value!r} has no form in a plant file")
