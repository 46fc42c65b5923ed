"""Measurements by hand, prism cleaning and skimming, on their weekly round."""

from functools import partial

from simulators.instants import DAY, MINUTE, When, rfc3339
from simulators.machine_tool import MachineTool
from simulators.scenario.people import CheckName, CheckRound, PrismRound
from simulators.sensors.level import strength_of
from simulators.sensors.plain import acidity

_USUAL_SD: dict[CheckName, float] = {
    "refractometer": 0.15,  # °Brix
    "titration": 0.2,  # % of the mix
    "dipstick": 2.5,  # mm
    "ph": 0.1,
    "chloride": 4.0,  # mg/L
    "hardness": 15.0,  # mg/L
    "tramp-oil": 0.3,  # %
}
"""Errors of the methods: repeatability of hand instruments and titrations, common practice."""
_UNITS: dict[CheckName, str] = {
    "refractometer": "degBrix",
    "titration": "%",
    "dipstick": "mm",
    "ph": "pH",
    "chloride": "mg/L",
    "hardness": "mg/L",
    "tramp-oil": "%",
}
_STEPS: dict[CheckName, float] = {
    "refractometer": 0.1,
    "titration": 0.1,
    "dipstick": 1.0,
    "ph": 0.1,
    "chloride": 1.0,
    "hardness": 5.0,
    "tramp-oil": 0.1,
}
_OILY = {"as-is": 1.0, "settled": 0.35, "filtered": 0.1}
"""Share of the tramp oil's bias that is left in a sample."""


class Inspector:
    """Makes the checks of one sump and reports them."""

    def __init__(self, tool: MachineTool) -> None:
        self._tool = tool
        self._draws = tool.draws("checks")
        self._count = 0
        for check in tool.spec.checks:
            self._enter(check)
        self._services("prism-cleaned", tool.spec.clean_prism)
        self._services("skimmed", tool.spec.skim)

    def _enter(self, check: CheckRound) -> None:
        """Put all rounds of one kind on the agenda."""
        calendar = self._tool.calendar
        for day in range(int(self._tool.scenario.days) + 2):
            if calendar.weekday(day) in check.weekdays:
                about = round(self._draws.between(-20.0, 40.0) * MINUTE)
                at = calendar.moment(When(day, check.at)) + about
                if at > calendar.begin and not self._draws.chance(check.missed_share):
                    self._tool.agenda.at(at, partial(self.measure, check=check))

    def measure(self, now: int, check: CheckRound) -> None:
        """Measure; a dipstick waits until the pumps have stood still for a while."""
        tool = self._tool
        if check.kind == "dipstick" and (tool.running or tool.sump.holdup > 1.0):
            tool.agenda.at(now + 10 * MINUTE, lambda then: self.measure(then, check))
            return
        sd = check.sd if check.sd is not None else _USUAL_SD[check.kind]
        unit = check.unit or _UNITS[check.kind]
        value = self._true(check) + sd * self._draws.normal()
        if check.kind == "refractometer" and unit == "%":
            value *= tool.scenario.fluid(tool.spec.concentrate).refractometer_factor
        step = _STEPS[check.kind]
        self._count += 1
        body: dict[str, object] = {
            "id": f"{tool.spec.id}-{check.by}-{self._count}",
            "at": rfc3339(now // MINUTE * MINUTE),
            "kind": check.kind,
            "value": round(max(0.0, round(value / step) * step), 4),
            "unit": unit,
            "sample": check.sample,
            "by": check.by,
        }
        later = now + round(self._draws.waiting(check.delay_min) * MINUTE)
        tool.agenda.at(later, lambda then: tool.say(then, "check", body))

    def _true(self, check: CheckRound) -> float:
        """What a faultless method would find, in its unit; refractometers share the oil's bias."""
        tool, sump = self._tool, self._tool.sump
        volume = max(sump.volume, 1e-9)
        if check.kind == "refractometer":
            return tool.drawn.optics.reading(self._sampled(), sump, _OILY[check.sample])
        found: dict[CheckName, float] = {
            "titration": 100.0 * self._sampled(),
            "dipstick": sump.depth,
            "ph": acidity(sump),
            "chloride": sump.chloride / volume,
            "hardness": sump.hardness / volume,
            "tramp-oil": 100.0 * sump.oil / volume,
        }
        return found[check.kind]

    def _sampled(self) -> float:
        """Strength of a sample: from the nozzle while running, else from the tank. [1]"""
        sump = self._tool.sump
        return strength_of(sump.machine if sump.running else sump.suction)

    def _services(self, kind: str, spec: PrismRound | None) -> None:
        """Put a service that comes round on the agenda."""
        if spec is None:
            return
        calendar, days = self._tool.calendar, self._draws.between(0.3, 1.0) * spec.every_days
        while days < self._tool.scenario.days:
            at = calendar.moment(When(int(days), spec.at))
            told = self._draws.chance(spec.reported_share)
            self._tool.agenda.at(at, partial(serve, self._tool, kind=kind, told=told))
            days += spec.every_days


def serve(tool: MachineTool, now: int, *, kind: str, told: bool, share: float = 0.85) -> None:
    """Clean the prism, or skim the oil (this share of it), and say so if `told`."""
    if kind == "prism-cleaned":
        if tool.outfit.brix is not None:
            tool.outfit.brix.clean()
    elif kind == "skimmed":
        tool.sump.skim(share, 0.3)
    tool.journal.write(
        {
            "type": "service",
            "at": rfc3339(now),
            "sump": tool.spec.id,
            "kind": kind,
            "reported": told,
        }
    )
    if told:
        body: dict[str, object] = {
            "id": f"{tool.spec.id}-{kind}-{now // DAY}",
            "at": rfc3339(now),
            "kind": kind,
            "by": "service",
        }
        tool.say(now, "service", body)
