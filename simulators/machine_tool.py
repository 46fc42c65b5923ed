"""One machine tool: its true sump, its hours, its instruments, and what is poured into it."""

from collections.abc import Callable
from dataclasses import dataclass

from simulators.agenda import Agenda
from simulators.climate import Hall
from simulators.draw_machine import draw_machine
from simulators.draws import Draws
from simulators.faults import Sent, Window
from simulators.fluid import Mix
from simulators.instants import HOUR, SECOND, Calendar, rfc3339
from simulators.instrument import Instrument, Switch
from simulators.network import Line
from simulators.outfit import Outfitter
from simulators.payloads import Message, entry
from simulators.physics import Sump
from simulators.scenario.load import Scenario
from simulators.scenario.sump import SumpSpec
from simulators.schedule_of_work import Schedule
from simulators.truth import Journal, TrueEvent


@dataclass(slots=True)
class Pour:
    """Something that is being poured in. [L], [L/s]"""

    event: TrueEvent
    water: float
    concentrate: float
    rate: float
    place: Mix
    metered: bool
    last: bool
    done: Callable[[int], None] | None = None


class MachineTool:
    """Steps one machine and its sump, and posts what its instruments and its people say."""

    def __init__(
        self, spec: SumpSpec, scenario: Scenario, calendar: Calendar, seed: int, journal: Journal
    ) -> None:
        self.spec = spec
        self.scenario = scenario
        self.calendar = calendar
        self.seed = seed
        self.journal = journal
        self.agenda = Agenda()
        self.drawn = draw_machine(spec, scenario, seed)
        self.sump = Sump(self.drawn.body, scenario.step_s, self.drawn.depth, self.drawn.strength)
        self.sump.spill_oil(spec.oil_l)
        outfitter = Outfitter(scenario, spec, calendar, seed)
        self.outfit = outfitter.outfit(self.drawn)
        work = spec.work or scenario.work
        self.schedule = Schedule(work, calendar, scenario.days, self.draws("work"))
        self._line = Line(spec.network or scenario.network, calendar, self.draws("network"))
        self._lumps = self.draws("lumps")
        self.posted: list[Message] = []
        self.shown: dict[str, float] = {}
        """Last value that each sensor gave."""
        self.pours: list[Pour] = []
        self.running = self.cutting = False
        self.parts = 0
        self.out_of_service = False
        """Pumps and sensors are out of the tank."""
        self.starts = _starts(self.schedule)
        self._turn = 0
        self._bin_hours = 0.0
        self._dt_h = scenario.step_s / 3600.0
        self._due = calendar.begin
        self._until_precipitation = calendar.begin

    def draws(self, *names: str) -> Draws:
        """A stream of this sump's own."""
        return Draws.named(self.seed, self.spec.id, *names)

    # --- time ------------------------------------------------------------------------------------

    def step(self, now: int, hall: Hall) -> None:
        """Go on by one step that ends at `now`."""
        self.agenda.carry_out(now)
        self._turn_to(now)
        if self.pours:
            self._pour(now)
        running = self.running and not self.out_of_service
        self.sump.step(running, self.cutting and running, hall.celsius, hall.vapour)
        if self.cutting:
            self._fill_bin()
        if now >= self._until_precipitation:
            self._until_precipitation += HOUR
            self.sump.precipitate(0.004)
        self._tell_switches(now)
        if now >= self._due:
            self._read(now, hall)

    def _turn_to(self, now: int) -> None:
        """Bring the machine's state to `now`."""
        turns = self.schedule.turns
        while self._turn < len(turns) and turns[self._turn].at <= now:
            turn = turns[self._turn]
            self._turn += 1
            self.running, self.cutting = turn.running, turn.cutting
            if turn.part_done and turn.at > self.calendar.begin:
                self.parts += 1
                self.sump.finish_part(self._lumps.between(0.4, 1.6))

    def _fill_bin(self) -> None:
        """After some hours of cutting the chip bin is full."""
        self._bin_hours += self._dt_h
        if self._bin_hours >= self.spec.machine.bin_h:
            self._bin_hours = self._lumps.between(-1.0, 1.0)
            self.sump.empty_bin(self._lumps.between(0.8, 1.1))

    # --- pouring ---------------------------------------------------------------------------------

    def _pour(self, now: int) -> None:
        """Let what is being poured run in for one step."""
        for pour in list(self.pours):
            left = pour.water + pour.concentrate
            share = min(1.0, pour.rate * self.sump.dt / left) if left > 0.0 else 1.0
            water, concentrate = pour.water * share, pour.concentrate * share
            if share >= 1.0:
                self.pours.remove(pour)
            pour.water -= water
            pour.concentrate -= concentrate
            self._run_in(pour, water, concentrate)
            if share >= 1.0 and pour.last:
                pour.event.until = now
                self.journal.write(pour.event.record())
            if share >= 1.0 and pour.done is not None:
                pour.done(now)

    def _run_in(self, pour: Pour, water: float, concentrate: float) -> None:
        """Into the sump, through the meters where there are such."""
        self.sump.add(water, concentrate, pour.place)
        pour.event.water += water
        pour.event.concentrate += concentrate
        if pour.metered:
            if self.outfit.water_meter is not None:
                self.outfit.water_meter.pass_through(water)
            if self.outfit.concentrate_meter is not None:
                self.outfit.concentrate_meter.pass_through(concentrate)

    @property
    def pour_place(self) -> Mix:
        """Where people pour."""
        return self.sump.back if self.spec.machine.pour_zone == "return" else self.sump.suction

    @property
    def rest_depth(self) -> float:
        """Depth if everything had drained back, oil included. [mm]"""
        return self.drawn.body.tank.depth(self.sump.volume + self.sump.oil)

    # --- messages --------------------------------------------------------------------------------

    def _tell_switches(self, now: int) -> None:
        """Running and cutting, at changes and at intervals."""
        running, cutting = self.outfit.running, self.outfit.cutting
        if running is not None:
            self._faults(now, running)
            told = running.look(now, float(self.running and not self.out_of_service))
            self._send(now, running, told)
        if cutting is not None:
            self._faults(now, cutting)
            counter = self.spec.signals.cutting is not None and self.spec.signals.cutting.counter
            value = float(self.parts) if counter else float(self.cutting)
            self._send(now, cutting, cutting.look(now, value))

    def _read(self, now: int, hall: Hall) -> None:
        """All instruments whose time has come."""
        due = now + 3600 * SECOND
        for instrument in self.outfit.instruments:
            self._faults(now, instrument)
            if now >= instrument.due:
                self._send(now, instrument, instrument.measure(now, self.sump, hall))
            due = min(due, instrument.due)
        self._due = due

    def _faults(self, now: int, device: Instrument | Switch) -> None:
        """Write new faults into the truth; a totaliser that is set back starts at zero."""
        for window in device.line.begun(now):
            self.journal.write(_fault_record(self.spec.id, window))
            if window.fault.kind == "reset":
                meter = getattr(self.outfit, window.fault.signal, None)
                if meter is not None:
                    meter.set_back()

    def _send(self, now: int, device: Instrument | Switch, told: tuple[Sent, bytes] | None) -> None:
        """Put a reading on the line, as often as its fault has it."""
        if told is None:
            return
        sent, payload = told
        wire = device.wire
        self.shown[device.name] = sent.value
        message = Message(now + wire.phase, wire.topic, payload, wire.retain)
        for _ in range(sent.copies):
            self.posted += self._line.carry(message, sent.delay)

    def say(self, now: int, what: str, body: dict[str, object], *, copies: int = 1) -> None:
        """Publish what a person or a station says about this sump."""
        topic = f"{self.scenario.prefix}/{self.spec.id}/{what}"
        for _ in range(copies):
            self.posted += self._line.carry(Message(now, topic, entry(body)))

    # --- truth -----------------------------------------------------------------------------------

    def state_record(self, now: int) -> dict[str, object]:
        """What is truly there, and what has come and gone, as a line of the truth file."""
        sump = self.sump
        level, brix = self.outfit.level, self.outfit.brix
        return {
            "type": "state",
            "at": rfc3339(now),
            "sump": self.spec.id,
            "volume_l": round(sump.volume, 5),
            "concentrate_l": round(sump.concentrate, 6),
            "concentration_pct": round(100.0 * sump.concentrate / max(sump.volume, 1e-9), 5),
            "oil_l": round(sump.oil, 5),
            "holdup_l": round(sump.holdup, 4),
            "depth_mm": round(sump.depth, 3),
            "rest_depth_mm": round(self.rest_depth, 3),
            "celsius": round(sump.celsius, 3),
            "running": sump.running,
            "cutting": sump.cutting,
            "evaporation_l_per_day": round(sump.evaporation_now, 3),
            "chloride_mg_l": round(sump.chloride / max(sump.volume, 1e-9), 3),
            "hardness_mg_l": round(sump.hardness / max(sump.volume, 1e-9), 3),
            "level_bias_mm": round(level.offset, 3) if level is not None else None,
            "brix_bias": round(brix.offset + brix.film, 4) if brix is not None else None,
            "sums_l": {
                name: round(value, 5)
                for name, value in sump.book.as_dict().items()
                if not name.startswith(("chloride", "hardness"))
            },
        }


def _starts(schedule: Schedule) -> list[int]:
    """Moments at which the pumps start. [ms]"""
    starts: list[int] = []
    running = False
    for turn in schedule.turns:
        if turn.running and not running:
            starts.append(turn.at)
        running = turn.running
    return starts


def _fault_record(sump: str, window: Window) -> dict[str, object]:
    """A fault as a line of the truth file."""
    return {
        "type": "fault",
        "sump": sump,
        "signal": window.fault.signal,
        "kind": window.fault.kind,
        "begin": rfc3339(window.begin),
        "end": rfc3339(window.end),
        "size": window.fault.size,
    }
