"""A dosing station: obeys setpoints within its limits, meters, reports, and can fail."""

import json
from dataclasses import dataclass
from typing import Any

from simulators.instants import DAY, MINUTE, SECOND, instant, rfc3339
from simulators.machine_tool import MachineTool
from simulators.scenario.people import Station, StationTrouble
from simulators.sensors.plain import Totaliser
from simulators.truth import TrueEvent

_PATIENCE = 10 * MINUTE  # [ms], by its stopwatch since it last heard a setpoint or a lease
_RESTART = 90 * SECOND  # [ms], from loss of power to pouring on: common practice


@dataclass(slots=True)
class Dose:
    """One setpoint being carried out. [L] as its meters see it, unless said otherwise."""

    setpoint: str
    event: TrueEvent
    water: float
    """To be poured."""
    concentrate: float
    strength_max: float
    """[1]"""
    stop_level: float | None
    """In the level sensor's unit."""
    stop_sense: float
    """+1 where the reading rises with the fluid, -1 for an air gap."""
    until: int
    """It stops by itself then: the lease. [ms]"""
    heard: int
    """When the last setpoint or lease came, by its stopwatch. [ms]"""
    trouble: StationTrouble | None = None
    water_done: float = 0.0
    concentrate_done: float = 0.0
    report_due: int = 0
    rebooted: bool = False


class DosingStation:
    """Beside one sump: a water line, a drum, two meters, a level stop.

    It answers a setpoint before it pours, knows the ids that it had (also after a loss of power),
    and stops at whatever of its limits comes first.
    """

    def __init__(self, tool: MachineTool, spec: Station) -> None:
        self._tool = tool
        self._spec = spec
        draws = tool.draws("station")
        self._water_gain = 1.0 + spec.meter_error * draws.normal()
        self._concentrate_gain = 1.0 + spec.meter_error * draws.normal()
        self._known: dict[str, bool] = {}
        self._used: set[StationTrouble] = set()
        self._dose: Dose | None = None
        self._days: dict[int, float] = {}

    # --- what it is told -------------------------------------------------------------------------

    def hear_setpoint(self, now: int, payload: bytes) -> None:
        """Answer a setpoint, and begin to pour if it is accepted."""
        body: dict[str, Any] = json.loads(payload)
        ident = str(body["id"])
        if ident in self._known:
            self._answer(now, ident, accepted=self._known[ident], reason="known already")
            return
        trouble = self._trouble_at(now)
        reason = self._refusal(self._clock(now, trouble), body)
        self._known[ident] = not reason
        self._answer(now, ident, accepted=not reason, reason=reason)
        if not reason:
            self._begin(now, body, trouble)

    def hear_lease(self, now: int, payload: bytes) -> None:
        """Go on for longer with the dose in hand."""
        body = json.loads(payload)
        if self._dose is not None and body["setpoint"] == self._dose.setpoint:
            self._dose.until = instant(str(body["until"]))
            self._dose.heard = now

    def _refusal(self, here: int, body: dict[str, Any]) -> str:
        """Why a setpoint cannot be carried out; empty if it can."""
        total = float(body["water_l"]) + float(body["concentrate_l"])
        spec, today = self._spec, self._days.get(here // DAY, 0.0)
        hindrances = (
            (not spec.automatic, "not set to automatic"),
            (self._dose is not None, "busy"),
            (instant(str(body["expires_at"])) <= here, "expired"),
            (total > spec.max_dose_l, f"more than {spec.max_dose_l:g} L at once"),
            (today + total > spec.max_day_l, f"more than {spec.max_day_l:g} L in a day"),
            (self._tool.out_of_service, "out of service"),
        )
        return next((reason for hinders, reason in hindrances if hinders), "")

    def _begin(self, now: int, body: dict[str, Any], trouble: StationTrouble | None) -> None:
        """Set the limits of a dose."""
        tool = self._tool
        water, concentrate = float(body["water_l"]), float(body["concentrate_l"])
        stop = body.get("stop_at_level")
        level = tool.spec.signals.level
        event = tool.journal.event(tool.spec.id, "addition", now)
        event.details = {
            "by": "station",
            "setpoint": str(body["id"]),
            "reported": True,
            "metered": tool.outfit.water_meter is not None,
            "fault": trouble.kind if trouble is not None else None,
        }
        self._dose = Dose(
            setpoint=str(body["id"]),
            event=event,
            water=self._left(tool.outfit.water_meter, body.get("water_meter_end_l"), water),
            concentrate=self._left(
                tool.outfit.concentrate_meter, body.get("concentrate_meter_end_l"), concentrate
            ),
            strength_max=float(body["max_strength_pct"]) / 100.0,
            stop_level=float(stop["value"]) if stop else None,
            stop_sense=-1.0 if level is not None and level.kind == "air-gap" else 1.0,
            until=instant(str(body["expires_at"])),
            heard=now,
            trouble=trouble,
            report_due=now + round(self._spec.report_s * SECOND),
        )
        tool.agenda.at(now, self._pour)

    @staticmethod
    def _left(meter: Totaliser | None, end: float | None, asked: float) -> float:
        """What is left to pour until a counter stands where it shall; at most what was asked."""
        if meter is None or end is None:
            return asked
        return min(max(meter.until(end), 0.0), asked)

    # --- pouring ---------------------------------------------------------------------------------

    def _pour(self, now: int) -> None:
        """Pour for one step, unless a limit or a fault says stop."""
        dose, tool = self._dose, self._tool
        if dose is None:
            return
        if self._hangs(now, dose):
            return
        stop = self._stop(now, dose)
        if stop is not None:
            self._end(now, dose, stop)
            return
        step = self._spec.l_min * tool.sump.dt / 60.0
        water = min(step, dose.water - dose.water_done)
        ahead = dose.water_done + water
        share = ahead / dose.water if dose.water > 0.0 else 1.0
        concentrate = max(dose.concentrate * share - dose.concentrate_done, 0.0)
        self._run_in(dose, water, min(concentrate, 0.3 * step))
        if now >= dose.report_due:
            dose.report_due = now + round(self._spec.report_s * SECOND)
            self._report(now, dose, finished=False, fault=None)
        tool.agenda.at(now + round(tool.sump.dt * SECOND), self._pour)

    def _run_in(self, dose: Dose, water: float, concentrate: float) -> None:
        """What its meters count goes in, with their errors and the fault of the day. [L]"""
        tool, kind = self._tool, dose.trouble.kind if dose.trouble is not None else None
        if kind == "drum-empty":
            concentrate = 0.0
        dose.water_done += water
        dose.concentrate_done += concentrate
        true_water, true_concentrate = (
            water / self._water_gain,
            concentrate / self._concentrate_gain,
        )
        if kind == "wrong-strength" and dose.trouble is not None:
            true_concentrate *= dose.trouble.size
        tool.sump.add(true_water, true_concentrate, tool.sump.back)
        dose.event.water += true_water
        dose.event.concentrate += true_concentrate
        if tool.outfit.water_meter is not None:
            tool.outfit.water_meter.pass_through(true_water)
        if tool.outfit.concentrate_meter is not None:
            tool.outfit.concentrate_meter.pass_through(concentrate / self._concentrate_gain)

    def _stop(self, now: int, dose: Dose) -> str | None:
        """Why to stop now: empty when all is poured, else the fault; nothing to go on."""
        short = 0.5 * self._spec.resolution_l
        kind = dose.trouble.kind if dose.trouble is not None else None
        full = dose.water_done >= dose.water - short
        poured, asked = dose.water_done + dose.concentrate_done, dose.water + dose.concentrate
        reasons = (
            (full and dose.concentrate_done >= dose.concentrate - short, ""),
            (kind == "half-delivered" and poured >= 0.5 * asked, "flow lost"),
            (kind == "drum-empty" and full, "drum empty"),
            (self._forgotten(now, dose), "lease ran out"),
            (poured > 1.0 and dose.concentrate_done > dose.strength_max * poured, "too strong"),
            (self._too_high(dose), "level reached"),
        )
        return next((reason for stops, reason in reasons if stops), None)

    def _forgotten(self, now: int, dose: Dose) -> bool:
        """Whether its lease ran out, by its clock or by a stopwatch that needs none."""
        return self._clock(now, dose.trouble) >= dose.until or now - dose.heard >= _PATIENCE

    def _too_high(self, dose: Dose) -> bool:
        """Whether the level sensor says that it is enough."""
        level = self._tool.shown.get("level")
        if dose.stop_level is None or level is None:
            return False
        return dose.stop_sense * (level - dose.stop_level) >= 0.0

    def _hangs(self, now: int, dose: Dose) -> bool:
        """Whether it stands still in mid-dose: for good, or restarting after a loss of power."""
        kind = dose.trouble.kind if dose.trouble is not None else None
        if kind == "never-finished" and dose.water_done > 0.4 * dose.water:
            if self._forgotten(now, dose):
                self._close(now, dose)
            else:
                self._tool.agenda.at(now + MINUTE, self._pour)
            return True
        if kind == "rebooted" and not dose.rebooted and dose.water_done > 0.5 * dose.water:
            dose.rebooted = True
            self._tool.agenda.at(now + _RESTART, self._pour)
            return True
        return False

    # --- reporting -------------------------------------------------------------------------------

    def _end(self, now: int, dose: Dose, fault: str) -> None:
        """Report the end, and close the event."""
        self._report(now, dose, finished=True, fault=fault or None)
        self._close(now, dose)

    def _close(self, now: int, dose: Dose) -> None:
        """Be ready for the next dose, and write the truth of this one."""
        self._dose = None
        day, poured = now // DAY, dose.water_done + dose.concentrate_done
        self._days[day] = self._days.get(day, 0.0) + poured
        dose.event.until = now
        self._tool.journal.write(dose.event.record())

    def _report(self, now: int, dose: Dose, *, finished: bool, fault: str | None) -> None:
        """Tell the totals of this setpoint so far."""
        kind = dose.trouble.kind if dose.trouble is not None else None
        if kind == "silent":
            return
        step = self._spec.resolution_l
        body: dict[str, object] = {
            "at": rfc3339(self._clock(now, dose.trouble)),
            "setpoint": dose.setpoint,
            "water_l": round(round(dose.water_done / step) * step, 3),
            "concentrate_l": round(round(dose.concentrate_done / step) * step, 3),
            "finished": finished,
            "fault": fault,
        }
        self._tool.say(now, "delivered", body, copies=2 if kind == "reported-twice" else 1)

    def _answer(self, now: int, setpoint: str, *, accepted: bool, reason: str) -> None:
        """Accept or refuse."""
        body: dict[str, object] = {
            "at": rfc3339(self._clock(now, self._trouble_at(now, use=False))),
            "setpoint": setpoint,
            "accepted": accepted,
            "reason": reason or None,
        }
        self._tool.say(now, "accepted", body)

    def _clock(self, now: int, trouble: StationTrouble | None) -> int:
        """What its own clock shows. [ms]"""
        wrong = trouble is not None and trouble.kind == "clock"
        return now + round(trouble.size * SECOND) if wrong and trouble is not None else now

    def _trouble_at(self, now: int, *, use: bool = True) -> StationTrouble | None:
        """Trouble that is in force; one without an end is used up by a dose."""
        calendar = self._tool.calendar
        for trouble in self._spec.trouble:
            begun = calendar.moment(trouble.begin) <= now
            over = trouble.end is not None and calendar.moment(trouble.end) <= now
            if begun and not over and trouble not in self._used:
                if use and trouble.end is None:
                    self._used.add(trouble)
                return trouble
        return None
