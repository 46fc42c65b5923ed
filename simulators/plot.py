"""Draws truth against readings for each sump of a scenario."""

from simulators.instants import DAY, instant
from simulators.sensors.units import LEVEL_UNITS
from simulators.shop_floor import ShopFloor
from simulators.svg import Mark, Panel, Point, Series, chart
from simulators.truth import Record

_TRUTH, _READ, _ADD, _FAULT = "#1f4e79", "#d98e3f", "#2a7f62", "#b3261e"


class Sketch:
    """Collects what the charts of one sump need."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.readings: dict[str, list[Point]] = {"level": [], "brix": []}
        self.states: list[tuple[float, Record]] = []
        self.marks: list[Mark] = []


def sketch(floor: ShopFloor) -> str:
    """Play a scenario and draw it."""
    sketches = {name: Sketch(name) for name in floor.tools}
    begin = floor.now
    while floor.now < floor.end:
        floor.step()
        for name, tool in floor.tools.items():
            day = (floor.now - begin) / DAY
            for signal, points in sketches[name].readings.items():
                value = tool.shown.pop(signal, None)
                if value is not None:
                    points.append((day, value))
        for record in floor.take_truth():
            _note(sketches, record, begin)
    panels: list[Panel] = []
    for one in sketches.values():
        panels += _panels(floor, one)
    return chart(f"{floor.scenario.title} (seed {floor.seed})", panels)


def _note(sketches: dict[str, Sketch], record: Record, begin: int) -> None:
    """Take in one line of the truth."""
    one = sketches.get(str(record.get("sump")))
    if one is None:
        return
    kind = record["type"]
    if kind == "state":
        one.states.append(((instant(str(record["at"])) - begin) / DAY, record))
    elif kind == "event":
        label = f"{record['kind']} {record['volume_l']} L at {record['strength_pct']} %"
        one.marks.append(Mark((instant(str(record["at"])) - begin) / DAY, _ADD, label))
    elif kind in {"fault", "disturbance"}:
        label = f"{kind}: {record['kind']}"
        one.marks.append(Mark((instant(str(record["begin"])) - begin) / DAY, _FAULT, label))


def _panels(floor: ShopFloor, one: Sketch) -> list[Panel]:
    """Level, concentration, volume and losses of one sump."""
    tool = floor.tools[one.name]
    level = tool.spec.signals.level
    panels: list[Panel] = []
    if level is not None:
        unit = f"{level.kind} [{level.unit}]"
        shown = [Series("reading", one.readings["level"], _READ, dots=True)]
        if level.kind == "depth":
            size = LEVEL_UNITS["depth"][level.unit]
            true = [(x, _number(state, "depth_mm") / size) for x, state in one.states]
            shown.append(Series("truth", true, _TRUTH))
        panels.append(Panel(f"{one.name}: {unit}", shown, one.marks))
    fluid = floor.scenario.fluid(tool.spec.concentrate)
    believed = [(x, y * fluid.refractometer_factor) for x, y in one.readings["brix"]]
    panels.append(
        Panel(
            f"{one.name}: concentration [%]",
            [
                Series("Brix x factor", believed, _READ, dots=True),
                Series("truth", _line(one, "concentration_pct"), _TRUTH),
            ],
            one.marks,
            fluid.band_pct,
        )
    )
    panels.append(
        Panel(
            f"{one.name}: fluid, and what went since the beginning [L]",
            [
                Series("volume", _line(one, "volume_l"), _TRUTH),
                Series("evaporated", _summed(one, ("evaporation",)), "#6b8fb3"),
                Series("carried off", _summed(one, _CARRIED), "#8a6d3b"),
            ],
        )
    )
    return panels


_CARRIED = ("carry_off_water", "carry_off_concentrate", "leak_water", "leak_concentrate")


def _number(record: Record, key: str) -> float:
    """A number of a truth line."""
    value = record[key]
    return float(value) if isinstance(value, int | float) else 0.0


def _line(one: Sketch, key: str) -> list[Point]:
    """A quantity over time."""
    return [(x, _number(state, key)) for x, state in one.states]


def _summed(one: Sketch, keys: tuple[str, ...]) -> list[Point]:
    """Running sums over time."""
    points: list[Point] = []
    for x, state in one.states:
        sums = state["sums_l"]
        if isinstance(sums, dict):
            points.append((x, sum(sums[key] for key in keys)))
    return points
