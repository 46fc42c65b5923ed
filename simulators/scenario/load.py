"""A scenario file, read whole, with all that is wrong with it said at once."""

import copy
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, ValidationError, field_validator, model_validator
from pydantic_core import ErrorDetails

from simulators.errors import ScenarioError
from simulators.scenario.base import Positive, Spec
from simulators.scenario.shop import Climate, Concentrate, Network, Plant, Vessel, Water, Work
from simulators.scenario.sump import SumpSpec


class Scenario(Spec):
    """One invented plant, its people and its troubles, from a date on."""

    name: str = ""
    """Of its file; part of every seed, so that equal seeds of two scenarios differ."""
    title: str
    """What it is about, in one line."""
    group: str = "clean"
    """For the table: clean, losses, sensors, people, everything, closed."""
    scored: bool = True
    begin: datetime = datetime(2026, 3, 2, 5, 0)  # noqa: DTZ001 - the wall clock of the plant
    """On the wall clock of the plant."""
    days: Positive = 14.0
    step_s: Annotated[int, Field(ge=1, le=60)] = 10
    """Of the physics. [s]"""
    tick_s: Annotated[int, Field(ge=1)] = 60
    """Between clock messages; ticks in a recording. [s]"""
    truth_s: Annotated[int, Field(ge=1)] = 600
    """Between states in the truth file. [s]"""
    plant: Plant = Plant()
    climate: Climate = Climate()
    work: Work = Work()
    water: Water = Water()
    network: Network = Network()
    vessel: tuple[Vessel, ...] = ()
    concentrate: tuple[Concentrate, ...]
    sump: tuple[SumpSpec, ...]

    @field_validator("begin")
    @classmethod
    def _on_the_wall_clock(cls, begin: datetime) -> datetime:
        """The time zone stands in the plant, not here."""
        if begin.tzinfo is not None:
            raise ValueError("begin is on the plant's wall clock, without an offset")
        return begin

    @model_validator(mode="after")
    def _fits_together(self) -> "Scenario":
        """Names must be known, ids single, intervals whole steps."""
        try:
            ZoneInfo(self.plant.timezone)
        except (ZoneInfoNotFoundError, ValueError) as error:
            raise ValueError(f"plant.timezone: {self.plant.timezone!r} is unknown") from error
        fluids = {fluid.id for fluid in self.concentrate}
        names = [sump.id for sump in self.sump]
        for sump in self.sump:
            if sump.concentrate not in fluids:
                raise ValueError(f"{sump.id}: concentrate {sump.concentrate!r} is not described")
            _check_intervals(sump, self.step_s)
        if len(set(names)) < len(names):
            raise ValueError(f"sump ids repeat: {sorted(names)}")
        if self.tick_s % self.step_s or self.truth_s % self.step_s:
            raise ValueError(f"tick_s and truth_s must be multiples of step_s = {self.step_s}")
        return self

    @property
    def zone(self) -> ZoneInfo:
        """Time zone of the plant."""
        return ZoneInfo(self.plant.timezone)

    @property
    def prefix(self) -> str:
        """Of the topics of people and stations."""
        return f"millpond/{self.plant.id}"

    def fluid(self, name: str) -> Concentrate:
        """Concentrate of that id."""
        return next(fluid for fluid in self.concentrate if fluid.id == name)

    def sumps(self) -> tuple[SumpSpec, ...]:
        """All sumps, copies written out as ``ID-001`` and so on."""
        single: list[SumpSpec] = []
        for sump in self.sump:
            if sump.copies == 1:
                single.append(sump)
            else:
                single += [
                    sump.model_copy(update={"id": f"{sump.id}-{i + 1:03d}", "copies": 1})
                    for i in range(sump.copies)
                ]
        return tuple(single)


def _check_intervals(sump: SumpSpec, step: int) -> None:
    """Readings fall on steps of the physics."""
    for name in type(sump.signals).model_fields:
        signal = getattr(sump.signals, name)
        if signal is not None and signal.interval_s % step:
            raise ValueError(
                f"{sump.id}.signals.{name}.interval_s = {signal.interval_s:g} is no multiple of "
                f"step_s = {step}"
            )


def merged(base: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """Tables laid over each other, the own values in front; arrays and tanks are replaced whole."""
    result = copy.deepcopy(base)
    for key, value in own.items():
        if isinstance(value, dict) and isinstance(result.get(key), dict) and "shape" not in value:
            result[key] = merged(result[key], value)
        else:
            result[key] = value
    return result


def scenario_from(data: dict[str, Any], source: str) -> Scenario:
    """Make a scenario of what a TOML file held; ``[each]`` lies under every sump.

    Raises
    ------
    ScenarioError
        With one line for every key that is wrong.
    """
    data = dict(data)
    each = data.pop("each", {})
    data.pop("like", None)
    data.setdefault("name", Path(source).stem)
    data["sump"] = [merged(each, sump) for sump in data.get("sump", [])]
    try:
        return Scenario.model_validate(data)
    except ValidationError as error:
        raise ScenarioError(source, [_problem(item) for item in error.errors()]) from error


def _problem(item: ErrorDetails) -> str:
    """One wrong key as a line: where, what was expected, what was found."""
    place = ".".join(str(part) for part in item["loc"]) or "the file"
    found = item.get("input")
    shown = "" if isinstance(found, dict) else f", found {found!r}"
    return f"{place}: {item['msg']}{shown}"


def load(path: Path) -> Scenario:
    """Read a scenario file.

    Raises
    ------
    ScenarioError
        If it cannot be read, is no TOML, or says something that no scenario can.
    """
    return scenario_from(_read(path, ()), str(path))


def _read(path: Path, above: tuple[Path, ...]) -> dict[str, Any]:
    """A file's tables, laid over those of the file that it is ``like``."""
    if path in above:
        raise ScenarioError(str(path), [f"like: goes in a circle with {above[0]}"])
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ScenarioError(str(path), [f"cannot be read: {error.strerror}"]) from error
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(str(path), [f"is no TOML: {error}"]) from error
    like = data.get("like")
    if like is None:
        return data
    if not isinstance(like, str):
        raise ScenarioError(str(path), [f"like: expected the name of a file, found {like!r}"])
    return merged(_read(path.parent / f"{like}.toml", (*above, path)), data)


def scenario_folders() -> tuple[Path, ...]:
    """Where the scenarios that come with the program may lie: the source tree, the wheel."""
    root = Path(__file__).resolve().parents[2]
    return (root / "config" / "scenarios", root / "agent" / "shipped" / "scenarios")


def find(name: str) -> Path:
    """Path of a scenario, given as a file or by the name of one that comes with the program.

    Raises
    ------
    ScenarioError
        If there is none; it lists the known ones.
    """
    given = Path(name)
    if given.suffix == ".toml":
        return given
    known = {path.stem: path for folder in scenario_folders() for path in folder.glob("*.toml")}
    if name not in known:
        listed = ", ".join(sorted(known))
        raise ScenarioError(name, [f"is neither a TOML file nor one of: {listed}"])
    return known[name]


def known_scenarios() -> list[Path]:
    """All scenarios that come with the program, by name."""
    found = {path.stem: path for folder in scenario_folders() for path in folder.glob("*.toml")}
    return [found[name] for name in sorted(found)]
