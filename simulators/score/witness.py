"""Plays a scenario as it is, and notes beside it the truth and what the yardstick is told."""

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simulators.fluid import Book
from simulators.instants import DAY, MINUTE, instant
from simulators.machine_tool import MachineTool
from simulators.payloads import Message
from simulators.scenario.load import Scenario
from simulators.score.told import (
    TRACKS,
    Blemish,
    Burst,
    Check,
    Happening,
    Service,
    Sight,
    Told,
    Witness,
)
from simulators.sensors.level import strength_of
from simulators.shop_floor import ShopFloor
from simulators.truth import Record
from simulators.water import brix_correction

_SPOILING = {"spike", "stuck", "step", "drift", "unit", "noise", "garbage", "zero", "dropout"}
"""Kinds of fault after which a reading is worth nothing; the others delay or repeat it."""
_MIXED = 0.003  # share of the strength by which fluid in sight may differ from the sump's mean
_FLOWS = 3 * MINUTE  # [ms], after a start the line has been rinsed
_STRONG = 100.0  # [L/d], from here on a leak or an ingress is an event
_BUBBLE = 3.5  # sd's below what was to be read


class Spy:
    """Stands before a sensor and remembers what it read before its faults."""

    def __init__(self, read: Callable[..., float]) -> None:
        self._read = read
        self.last = 0.0

    def read(self, *what: object) -> float:
        """Read on, and remember, in the sensor's unit."""
        self.last = self._read(*what)
        return self.last


class Watcher:
    """Notes what one machine does."""

    def __init__(self, tool: MachineTool, begin: int, end: int) -> None:
        self.tool = tool
        drawn = tool.drawn
        self.witness = Witness(
            sump=tool.spec.id,
            spec=tool.spec,
            scenario=tool.scenario,
            begin=begin,
            end=end,
            brim=drawn.body.tank.volume(drawn.body.brim),
            area_factor=drawn.area_factor,
            seed=tool.seed,
        )
        self._spies: dict[str, Spy] = {}
        self._windows: dict[str, list[tuple[int, int]]] = {}
        for instrument in tool.outfit.instruments:
            spy = self._spies[instrument.name] = Spy(instrument.reader.read)
            instrument.reader = spy
            self._windows[instrument.name] = [
                (window.begin, window.end)
                for window in instrument.line.windows
                if window.fault.kind in _SPOILING
            ]
        self._before: dict[str, int] = dict.fromkeys(self._spies, begin)
        self._started = begin
        self._was_running = False
        self._was_out = False
        self._tracks: list[tuple[float, ...]] = []

    def look(self, now: int) -> None:
        """After a step: note what was read, and at whole minutes the truth."""
        tool = self.tool
        running = tool.sump.running
        if running and not self._was_running:
            self._started = now
        self._was_running = running
        if tool.shown:
            self._note(now)
        if now % MINUTE == 0:
            self._tracks.append(self._truth())
        if self._was_out and not tool.out_of_service:
            self.witness.services.append(Service(now, "hung-anew"))
        self._was_out = tool.out_of_service

    def _truth(self) -> tuple[float, ...]:
        """One minute of the truth, in the order of `TRACKS`."""
        sump, book = self.tool.sump, self.tool.sump.book
        water, concentrate = lost(book)
        hand = self.tool.drawn.optics.reading(sump.concentrate / max(sump.volume, 1e-9), sump)
        return (
            sump.volume,
            sump.concentrate,
            sump.oil,
            water,
            concentrate,
            float(sump.running),
            hand,
            sump.celsius,
        )

    def _note(self, now: int) -> None:
        """Note the readings of this step."""
        tool, sump = self.tool, self.tool.sump
        values, spoilt = {}, {}
        for name, value in tool.shown.items():
            if name not in self._spies:
                continue
            step = getattr(getattr(tool.spec.signals, name), "resolution", None)
            values[name] = round(value / step) * step if step else value
            if self._is_spoilt(name, now):
                spoilt[name] = self._spies[name].last
            self._before[name] = now
        tool.shown.clear()
        if not values:
            return
        mean = sump.concentrate / max(sump.volume, 1e-9)
        even = abs(strength_of(sump.suction) - mean) < _MIXED * mean
        sight = Sight(
            at=now,
            running=sump.running,
            holdup=sump.holdup,
            salts=_salts(tool),
            mixed=even and not tool.out_of_service and now - self._started >= _FLOWS,
            values=values,
            spoilt=spoilt,
        )
        self.witness.sights.append(sight)

    def _is_spoilt(self, name: str, now: int) -> bool:
        """Whether a fault was at work, the sensor was out of the tank, or a bubble in the way."""
        if name in {"level", "brix"} and self.tool.out_of_service:
            return True
        before = self._before[name]
        for begin, end in self._windows[name]:
            if begin <= now and (end > now or begin > before):
                return True
        return name == "brix" and self._spies[name].last < self._least_brix()

    def _least_brix(self) -> float:
        """What the refractometer reads at least without a bubble. [°Brix]"""
        tool, sump = self.tool, self.tool.sump
        spec, brix = tool.spec.signals.brix, tool.outfit.brix
        if spec is None or brix is None or not sump.running or spec.bubble_share <= 0.0:
            return -np.inf
        true = tool.drawn.optics.reading(strength_of(sump.suction), sump) + brix.film + brix.offset
        if not spec.compensated:
            true -= brix_correction(sump.celsius, true)
        true += spec.temperature_brix_per_k * (sump.celsius - 20.0)
        return true - _BUBBLE * float(np.hypot(spec.sd_brix, spec.wander_brix))

    def close(self, records: list[Record], said: list[tuple[str, Record]]) -> Witness:
        """All that was noted, with what the truth says of this sump and what people said."""
        witness = self.witness
        table = np.array(self._tracks)
        witness.minutes = {name: table[:, i].copy() for i, name in enumerate(TRACKS)}
        own = [record for record in records if record.get("sump") == witness.sump]
        witness.happenings = [_happening(r) for r in own if r["type"] == "event"]
        witness.happenings.sort(key=lambda happening: happening.at)
        witness.blemishes = [_blemish(r) for r in own if r["type"] == "fault"]
        witness.services += [
            Service(instant(str(r["at"])), str(r["kind"])) for r in own if r["type"] == "service"
        ]
        witness.services += _spills(self.tool)
        witness.bursts = _bursts(self.tool, witness.end)
        witness.services.sort(key=lambda service: service.at)
        witness.checks = sorted(_checks(said), key=lambda check: check.at)
        witness.happenings = [_with_report(h, said, self.tool) for h in witness.happenings]
        return witness


class WatchedFloor(ShopFloor):
    """A plant that is watched while it plays; it plays exactly as it would alone."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        super().__init__(scenario, seed)
        self._watchers = {
            name: Watcher(tool, self.now, self.end) for name, tool in self.tools.items()
        }
        self._said: dict[str, list[tuple[str, Record]]] = {name: [] for name in self.tools}

    def step(self) -> list[Message]:
        """Go on by one step, and look."""
        messages = super().step()
        for watcher in self._watchers.values():
            watcher.look(self.now)
        prefix = self.scenario.prefix + "/"
        for message in messages:
            if message.topic.startswith(prefix):
                _, name, what = message.topic.rsplit("/", 2)
                self._said[name].append((what, json.loads(message.payload)))
        return messages

    def witnesses(self) -> dict[str, Witness]:
        """What was seen of each sump; once, at the end."""
        records = self.take_truth()
        return {
            name: watcher.close(records, self._said[name])
            for name, watcher in self._watchers.items()
        }


def lost(book: Book) -> tuple[float, float]:
    """Water (evaporation and carry-off less ingress) and concentrate lost since the beginning. [L]

    Leaks and what ran over the brim count as lost; drains do not.
    """
    water = book.evaporation + book.carry_off_water + book.leak_water + book.spilled_water
    concentrate = book.carry_off_concentrate + book.leak_concentrate + book.spilled_concentrate
    return water - book.ingress, concentrate + book.depletion


def _salts(tool: MachineTool) -> float:
    """Chloride of the fluid over that of the make-up water. [1]"""
    fresh = tool.sump.body.water_chloride
    return tool.sump.chloride / max(tool.sump.volume, 1e-9) / fresh if fresh > 0.0 else 1.0


def _number(record: Record, key: str) -> float:
    """A number of a record, in its unit; 0 where there is none."""
    value = record.get(key)
    return float(value) if isinstance(value, int | float) else 0.0


def _happening(record: Record) -> Happening:
    """An event of the truth."""
    return Happening(
        kind=str(record["kind"]),
        at=instant(str(record["at"])),
        until=instant(str(record["until"])),
        volume=_number(record, "volume_l"),
        concentrate=_number(record, "concentrate_l"),
        metered=bool(record.get("metered")),
        reported=bool(record.get("reported")),
        all=bool(record.get("all")),
        foreign=bool(record.get("wrong_concentrate")),
        near_start=bool(record.get("near_start")),
    )


def _blemish(record: Record) -> Blemish:
    """A fault of the truth."""
    begin, end = instant(str(record["begin"])), instant(str(record["end"]))
    return Blemish(str(record["signal"]), str(record["kind"]), begin, end)


def _spills(tool: MachineTool) -> list[Service]:
    """Oil that the scenario lets fall into the sump."""
    return [
        Service(tool.calendar.moment(spec.begin), "oil-spill", spec.volume_l)
        for spec in tool.spec.disturbance
        if spec.kind == "oil-spill"
    ]


def _bursts(tool: MachineTool, end: int) -> list[Burst]:
    """Flows of the scenario that are too strong for a rate that walks."""
    moment = tool.calendar.moment
    return [
        Burst(moment(d.begin), moment(d.end) if d.end is not None else end, d.l_per_day)
        for d in tool.spec.disturbance
        if d.l_per_day >= _STRONG
    ]


def _checks(said: list[tuple[str, Record]]) -> list[Check]:
    """Measurements by hand, each once."""
    found: dict[str, Check] = {}
    for what, body in said:
        if what == "check":
            found[str(body["id"])] = Check(
                at=instant(str(body["at"])),
                kind=str(body["kind"]),
                value=_number(body, "value"),
                unit=str(body["unit"]),
                sample=str(body["sample"]),
            )
    return list(found.values())


def _with_report(
    happening: Happening, said: list[tuple[str, Record]], tool: MachineTool
) -> Happening:
    """The same, with what was said about it and is not plainly wrong."""
    for what, body in said:
        told = _told(happening, what, body, tool)
        if told is not None and abs(told.volume - happening.volume) <= 5.0 * told.volume_sd:
            return replace(happening, told=told)
    return happening


def _told(happening: Happening, what: str, body: Record, tool: MachineTool) -> Told | None:
    """What an entry says of an event, if it is about it, with the error that people truly make."""
    if what != happening.kind or not happening.reported:
        return None
    if what == "charge":
        water, concentrate = _number(body, "water_l"), _number(body, "concentrate_l")
        near = abs(instant(str(body["at"])) - happening.until) < DAY / 4.0
        return Told(water + concentrate, 0.2, concentrate, 0.001) if water and near else None
    if abs(instant(str(body["at"])) - happening.at) >= MINUTE:
        return None
    crew = tool.spec.operators
    relative = crew.report_error if crew is not None else 0.0
    blur = crew.strength_error if crew is not None else 0.0
    volume = _number(body, "volume_l")
    if "strength_pct" in body:
        strength = _number(body, "strength_pct") / 100.0
    else:
        water, concentrate = _number(body, "water_l"), _number(body, "concentrate_l")
        volume = volume or water + concentrate
        strength = concentrate / volume if volume > 0.0 else 0.0
    sd = float(np.hypot(relative * happening.volume, 0.5))
    return Told(volume, sd, volume * strength, max(blur * strength, 1e-4))
