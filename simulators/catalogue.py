"""The table of scenarios for the docs, made from the scenario files."""

from collections.abc import Iterable

from simulators.marks import markdown
from simulators.scenario.load import Scenario, known_scenarios, load
from simulators.scenario.people import Operators
from simulators.scenario.signals import LevelSpec
from simulators.scenario.sump import SumpSpec

NAME = "scenarios"
"""Of the table, on a page."""
_HEAD = (
    "scenario", "about", "group", "sumps", "days", "readings", "waves", "foam", "holdup off",
    "film a day", "oil a day", "oil bias", "unreported", "at a start", "faults and troubles",
)  # fmt: skip


def table() -> str:
    """The table in Markdown, one row for each scenario that comes along."""
    return markdown([list(_HEAD), *(_row(path.stem, load(path)) for path in known_scenarios())])


def _row(name: str, scenario: Scenario) -> list[str]:
    """One scenario."""
    sumps = scenario.sump
    levels = [sump.signals.level for sump in sumps if sump.signals.level is not None]
    crews = [sump.operators for sump in sumps if sump.operators is not None]
    pouring = [crew for crew in crews if crew.looks_share > 0.0 and not crew.only_advised]
    film = [sump.signals.brix.film_brix_per_day for sump in sumps if sump.signals.brix]
    return [
        f"`{name}`" if scenario.scored else f"`{name}` (not scored)",
        scenario.title,
        scenario.group,
        str(sum(sump.copies for sump in sumps)),
        f"{scenario.days:g}",
        _span((_interval(sump) for sump in sumps), "s"),
        _waves(levels),
        _span((level.foam_mm for level in levels), "mm"),
        _span((100.0 * sump.holdup_error for sump in sumps), "%"),
        _span(film, "°Brix"),
        _span((sump.machine.tramp_oil_l_per_day for sump in sumps), "L"),
        _span((sump.machine.oil_brix_per_l for sump in sumps), "°Brix"),
        _unreported(pouring),
        _span((100.0 * crew.at_start_share for crew in pouring), "%"),
        _troubles(scenario),
    ]


def _interval(sump: SumpSpec) -> float:
    """Reading interval of the level, or else of Brix. [s]"""
    signal = sump.signals.level or sump.signals.brix
    return signal.interval_s if signal is not None else 0.0


def _span(values: Iterable[float], unit: str) -> str:
    """One value, or the range of several; a dash where there is none."""
    found = sorted({round(value, 6) for value in values})
    if not found:
        return "–"
    shown = f"{found[0]:g}" if len(found) == 1 else f"{found[0]:g}–{found[-1]:g}"
    return f"{shown} {unit}"


def _unreported(crews: list[Operators]) -> str:
    """Share of additions that nobody reports, and whether meters count them."""
    shares = _span((100.0 * (1.0 - crew.reports_share) for crew in crews), "%")
    metered = [crew for crew in crews if crew.metered]
    if not metered:
        return shares
    return f"{shares}, {'all' if len(metered) == len(crews) else 'some'} metered"


def _waves(levels: list[LevelSpec]) -> str:
    """Spread and correlation time."""
    if not levels:
        return "–"
    return f"{_span((s.wave_mm for s in levels), 'mm')}, {_span((s.wave_s for s in levels), 's')}"


def _troubles(scenario: Scenario) -> str:
    """All that goes wrong, in a few words."""
    found: list[str] = []
    for sump in scenario.sump:
        found += [f"{fault.signal} {fault.kind}" for fault in sump.fault]
        found += [disturbance.kind for disturbance in sump.disturbance]
        found += [f"station {one.kind}" for one in (sump.station.trouble if sump.station else ())]
    network = scenario.network
    found += ["outages"] if network.outage else []
    found += ["late messages"] if network.late_share else []
    found += ["doubled messages"] if network.duplicate_share else []
    return ", ".join(dict.fromkeys(found)) or "–"
