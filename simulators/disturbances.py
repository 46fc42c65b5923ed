"""Leaks, ingress, drains, spills and change-outs, as the scenario has them."""

from dataclasses import dataclass
from functools import partial

from simulators.agenda import Action
from simulators.changeout import change_out
from simulators.checks import serve
from simulators.fluid import Trouble
from simulators.instants import DAY, HOUR, MINUTE, SECOND, rfc3339
from simulators.machine_tool import MachineTool, Pour
from simulators.scenario.trouble import Disturbance

_RATES = ("leak", "ingress", "carry-off")


@dataclass(slots=True)
class Flow:
    """A leak, an ingress, more carry-off, while it lasts. [ms]"""

    spec: Disturbance
    begin: int
    end: int


class Disturber:
    """Carries out the disturbances of one sump."""

    def __init__(self, tool: MachineTool) -> None:
        self._tool = tool
        self._flows: list[Flow] = []
        self._ticking = False
        end = tool.calendar.begin + round(tool.scenario.days * DAY)
        for spec in tool.spec.disturbance:
            begin = tool.calendar.moment(spec.begin)
            last = tool.calendar.moment(spec.end) if spec.end is not None else end
            if spec.kind in _RATES:
                flow = Flow(spec, begin, last)
                tool.agenda.at(begin, partial(self._begin, flow=flow))
            else:
                action = self._single(spec)
                tool.agenda.at(begin, action)

    def _begin(self, now: int, flow: Flow) -> None:
        """A flow begins; while any lasts, its rate is looked at each minute."""
        self._flows.append(flow)
        self._tool.journal.write(
            {
                "type": "disturbance",
                "sump": self._tool.spec.id,
                "kind": flow.spec.kind,
                "begin": rfc3339(flow.begin),
                "end": rfc3339(flow.end),
                "l_per_day": flow.spec.l_per_day,
            }
        )
        if not self._ticking:
            self._ticking = True
            self._tick(now)

    def _tick(self, now: int) -> None:
        """Set the rates for the next minute."""
        self._flows = [flow for flow in self._flows if flow.end > now]
        trouble = Trouble()
        for flow in self._flows:
            grows = flow.spec.grows_h * HOUR
            grown = min(1.0, (now - flow.begin) / grows) if grows > 0.0 else 1.0
            _set(trouble, flow.spec, flow.spec.l_per_day / (DAY / SECOND) * grown)
        self._tool.sump.trouble = trouble
        self._ticking = bool(self._flows)
        if self._ticking:
            self._tool.agenda.at(now + MINUTE, self._tick)

    def _single(self, spec: Disturbance) -> Action:
        """What happens once."""
        tool, told = self._tool, spec.reported
        actions: dict[str, Action] = {
            "charge": partial(change_out, tool, reported=told),
            "skim": partial(serve, tool, kind="skimmed", told=told, share=spec.share),
            "clean-prism": partial(serve, tool, kind="prism-cleaned", told=told),
            "clean-sump": partial(serve, tool, kind="sump-cleaned", told=told),
            "oil-spill": lambda _now: tool.sump.spill_oil(spec.volume_l),
            "wrong-concentrate": partial(self._wrong, spec=spec),
            "top-up": partial(self._top_up, spec=spec),
            "drain": partial(self._drain, spec=spec),
        }
        return actions[spec.kind]

    def _drain(self, now: int, spec: Disturbance) -> None:
        """Somebody takes fluid out at 20 L/min, and may say so."""
        tool = self._tool
        event = tool.journal.event(tool.spec.id, "drain", now)
        event.details = {"reported": spec.reported}
        portions = max(1, round(spec.volume_l / 5.0))
        for i in range(portions):
            last = i == portions - 1
            at = now + round(i * 15.0 * SECOND)

            def take(then: int, *, last: bool = last) -> None:
                """Take one portion out; the last one closes the event."""
                water, concentrate = tool.sump.drain(spec.volume_l / portions)
                event.water += water
                event.concentrate += concentrate
                if last:
                    event.until = then
                    tool.journal.write(event.record())

            tool.agenda.at(at, take)
        if spec.reported:
            body: dict[str, object] = {
                "id": f"{tool.spec.id}-drain-{now // MINUTE}",
                "at": rfc3339(now),
                "volume_l": round(spec.volume_l),
                "by": "service",
            }
            tool.agenda.at(now + 12 * MINUTE, lambda then: tool.say(then, "drain", body))

    def _top_up(self, now: int, spec: Disturbance) -> None:
        """Somebody tops up at a moment that the scenario chose."""
        strength = spec.strength_pct / 100.0
        self._pour(now, spec, strength)
        if spec.reported:
            body: dict[str, object] = {
                "id": f"{self._tool.spec.id}-top-up-{now // MINUTE}",
                "at": rfc3339(now),
                "volume_l": spec.volume_l,
                "strength_pct": spec.strength_pct,
                "by": "visitor",
            }
            self._tool.agenda.at(
                now + 8 * MINUTE, lambda then: self._tool.say(then, "addition", body)
            )

    def _wrong(self, now: int, spec: Disturbance) -> None:
        """Concentrate of another kind is poured in; nobody says so."""
        tool = self._tool
        tool.drawn.optics.foreign_factor = spec.factor
        tool.sump.add_foreign(spec.volume_l, tool.pour_place)
        event = tool.journal.event(tool.spec.id, "addition", now)
        event.until, event.concentrate = now, spec.volume_l
        event.details = {"reported": False, "metered": False, "wrong_concentrate": True}
        tool.journal.write(event.record())

    def _pour(self, now: int, spec: Disturbance, strength: float) -> None:
        """Pour at 12 L/min."""
        tool = self._tool
        event = tool.journal.event(tool.spec.id, "addition", now)
        event.details = {
            "reported": spec.reported,
            "metered": False,
            "near_start": any(abs(at - now) <= 2 * MINUTE for at in tool.starts),
        }
        tool.pours.append(
            Pour(
                event=event,
                water=spec.volume_l * (1.0 - strength),
                concentrate=spec.volume_l * strength,
                rate=0.2,
                place=tool.pour_place,
                metered=False,
                last=True,
            )
        )


def _set(trouble: Trouble, spec: Disturbance, rate: float) -> None:
    """Add a rate [L/s] where it belongs."""
    if spec.kind == "carry-off":
        trouble.carry_off += rate
    elif spec.kind == "leak" and spec.only_running:
        trouble.leak_running += rate
    elif spec.kind == "leak":
        trouble.leak += rate
    elif spec.only_running:
        trouble.ingress_running += rate
    else:
        trouble.ingress += rate
