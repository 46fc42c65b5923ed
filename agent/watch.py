"""A live table of a plant in the terminal, from the messages that the agent publishes."""

import json
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import count
from queue import SimpleQueue
from threading import Event
from typing import Any

from rich.box import HORIZONTALS
from rich.console import Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from advisor.plan import SumpPlan
from advisor.units import GALLON
from agent.listening import listening
from agent.plant.plant import Plant
from agent.quantities import for_people

Body = dict[str, Any]

_PRIORITIES = {"high": 0, "medium": 1, "low": 2}
_NOTHING = "–"
REFRESH_S = 0.25


@dataclass(slots=True)
class SumpView:
    """What was last heard about one sump."""

    state: Body | None = None
    advice: Body | None = None
    alarms: dict[str, Body] = field(default_factory=dict)


class PlantView:
    """What was last heard about a plant; `take` is given every message under its prefix.

    Parameters
    ----------
    plant : Plant
        Names, bands and units come from the plant file, everything else from the messages.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.sumps = {name: SumpView() for name in plant.sumps}
        self.agent: Body | None = None
        self.clock: str | None = None

    def take(self, topic: str, payload: bytes) -> None:
        """Note one message; what is not the agent's is passed over."""
        rest = topic.removeprefix(self.plant.prefix + "/")
        if rest == "agent":
            self.agent = _body(payload)
            return
        name, _, kind = rest.partition("/")
        view = self.sumps.get(name)
        if view is None:
            return
        if kind == "state":
            view.state = body = _body(payload)
            self.clock = body["at"] if body else self.clock
        elif kind == "advice":
            view.advice = _body(payload)
        elif kind.startswith("alarm/"):
            body = _body(payload)
            if body is None or body["state"] == "normal":
                view.alarms.pop(kind, None)
            else:
                view.alarms[kind] = body

    def render(self) -> Group:
        """The table as it stands, with a line on the agent above and what is poured in below."""
        table = Table(expand=True, box=HORIZONTALS, show_lines=True, pad_edge=False)
        for title in ("sump", "in it", "lost a day"):
            table.add_column(title, no_wrap=True)
        table.add_column("to do now", ratio=5)
        table.add_column("alarms", ratio=4)
        for name, view in self.sumps.items():
            table.add_row(*self._cells(self.plant.sumps[name], view))
        return Group(self._headline(), table)

    def _headline(self) -> Text:
        """Who speaks, and for which time."""
        status = self.agent["status"] if self.agent else "not heard yet"
        clock = self.clock.replace("T", " ").replace("Z", " UTC") if self.clock else "no data yet"
        return Text(f"{self.plant.name} · {clock} · agent {status}")

    def _cells(self, sump: SumpPlan, view: SumpView) -> Iterable[Text]:
        """One row."""
        name = Text(sump.name, style="bold")
        if view.state is None:
            return (name, Text("waiting for readings"), Text(), Text(), Text())
        state = view.state
        return (
            name,
            self._content(state, sump),
            self._losses(state),
            self._to_do(view.advice),
            _alarms(view.alarms.values()),
        )

    def _litres(self, estimate: Body | None) -> str:
        """An amount with its uncertainty, in the plant's units."""
        per, unit = (GALLON, "gal") if self.plant.units == "us" else (1.0, "L")
        return surely(estimate, per, unit)

    def _content(self, state: Body, sump: SumpPlan) -> Text:
        """How much is in the sump, how strong, and which of its sensors cannot be trusted."""
        doubtful = [
            f"{signal} {quality}"
            for signal, quality in state["signals"].items()
            if quality not in {"good", "absent"}
        ]
        lines = [self._litres(state["volume_l"]), *_concentration(state, sump), *doubtful]
        return Text("\n".join(lines))

    def _losses(self, state: Body) -> Text:
        """What goes, as water and as concentrate."""
        losses = state["losses"]
        return Text(
            f"{self._litres(losses['water_l_per_day'])} water\n"
            f"{self._litres(losses['concentrate_l_per_day'])} conc."
        )

    def _to_do(self, advice: Body | None) -> Text:
        """What to pour, as it is poured; or why nothing is."""
        if advice is None:
            return Text(_NOTHING)
        if advice["kind"] in {"none", "check"} or not advice["batches"]:
            head = "nothing" if advice["kind"] == "none" else advice["kind"]
            return Text("\n".join([head, *advice["why"][:1]]))
        lines = (
            [f"drain {for_people(advice['drain_l'], self.plant.units)}"]
            if advice["drain_l"]
            else []
        )
        for batch in advice["batches"]:
            pour = f"{batch['count']} × {for_people(batch['water_l'], self.plant.units)} water"
            if batch["concentrate_l"]:
                pour += f", then {for_people(batch['concentrate_l'], self.plant.units)} concentrate"
            lines.append(pour)
        return Text("\n".join(lines), style="bold")


def _concentration(state: Body, sump: SumpPlan) -> tuple[str, str]:
    """Strength with its uncertainty, against the band in words and not by colour."""
    estimate = state["concentration_pct"]
    low, high = 100.0 * sump.fluid.band_low, 100.0 * sump.fluid.band_high
    place = ""
    if estimate is not None:
        place = "lean " if estimate["value"] < low else "rich " if estimate["value"] > high else ""
    return surely(estimate, 1.0, "%"), f"{place}(band {low:g}–{high:g} %)"


def surely(estimate: Body | None, per: float, unit: str) -> str:
    """An estimate as a person reads it: as many digits as its sd leaves meaning in.

    >>> surely({"value": 312.43, "sd": 1.94}, 1.0, "L")
    '312 ± 2 L'
    >>> surely({"value": 0.041, "sd": 0.16}, 1.0, "L"), surely(None, 1.0, "L")
    ('0.0 ± 0.2 L', 'unknown')
    """
    if estimate is None:
        return "unknown"
    value, sd = estimate["value"] / per, estimate["sd"] / per
    digits = 2 if sd < 0.095 else 1 if sd < 0.95 else 0
    return f"{value:.{digits}f} ± {sd:.{digits}f} {unit}"


def _alarms(alarms: Iterable[Body]) -> Text:
    """Alarms that stand, the most urgent first."""
    order = sorted(alarms, key=lambda a: (_PRIORITIES.get(a["priority"], 3), a["name"]))
    lines = [f"{a['name']}{' ' + a['signal'] if a['signal'] else ''} ({a['state']})" for a in order]
    return Text("\n".join(lines) or _NOTHING)


def _body(payload: bytes) -> Body | None:
    """A message's JSON; `None` where it withdraws one."""
    return json.loads(payload) if payload else None


def watch(
    plant: Plant,
    *,
    check: Callable[[], None] = lambda: None,
    seconds: float | None = None,
) -> None:
    """Show the live table until interrupted, or for so many seconds.

    Parameters
    ----------
    plant : Plant
        Its broker is listened to, below its prefix.
    check : callable
        Called at every refresh; what it raises ends the table.
    seconds : float, optional
        How long; `None`: until Ctrl-C. [s]
    """
    view = PlantView(plant)
    heard: SimpleQueue[tuple[str, bytes]] = SimpleQueue()
    over = Event()
    with (
        suppress(KeyboardInterrupt),
        listening(plant, f"{plant.prefix}/#", lambda *message: heard.put(message)),
        Live(view.render(), refresh_per_second=4) as live,
    ):
        for _ in count() if seconds is None else range(round(seconds / REFRESH_S)):
            over.wait(REFRESH_S)
            check()
            while not heard.empty():
                view.take(*heard.get())
            live.update(view.render())
