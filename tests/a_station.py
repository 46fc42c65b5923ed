"""A dosing station as `docs/stations.md` asks for one, small enough to be read in one go.

What it must not forget when its power goes is in `Memory`; everything else is gone then.
"""

from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

from advisor.words import MINUTE, Instant
from agent.instants import instant_of, text_of

Saying: TypeAlias = tuple[str, dict[str, Any]]
"""Last level of a topic, and the body."""

LEASE_MAX: Instant = 10 * MINUTE


@dataclass
class Memory:
    """Survives a loss of power. [L]"""

    answers: dict[str, bool] = field(default_factory=dict)
    water_total: float = 0.0
    concentrate_total: float = 0.0
    dose: dict[str, Any] | None = None
    """The setpoint in hand, with what was poured for it."""


class AStation:
    """Answers before it pours, knows ids again, stops at its lease, reports its totals.

    Parameters
    ----------
    memory : Memory, optional
        Of an earlier life.
    clock_off : Instant
        How far its clock is ahead. [ms]
    metered : bool
        Whether it minds where its counters shall end.
    """

    def __init__(
        self, memory: Memory | None = None, *, clock_off: Instant = 0, metered: bool = True
    ) -> None:
        self.memory = memory or Memory()
        self.clock_off = clock_off
        self.metered = metered
        self.lease: Instant = 0
        self.heard_at: Instant = 0
        """When it last heard a lease or a setpoint, by a stopwatch that no clock moves."""
        if self.memory.dose is not None:
            self.lease = self.memory.dose["lease"]
            self.heard_at = self.memory.dose["heard_at"]

    def hear(self, what: str, body: dict[str, Any], now: Instant) -> list[Saying]:
        """Take in a message."""
        if what == "setpoint":
            return self._asked(body, now)
        dose = self.memory.dose
        if what == "lease" and dose is not None and dose["id"] == body["setpoint"]:
            self._let(_instant(body["until"]), now)
        return []

    def _asked(self, body: dict[str, Any], now: Instant) -> list[Saying]:
        """Answer a setpoint, and take it in hand."""
        ident = body["id"]
        if ident not in self.memory.answers:
            expired = _instant(body["expires_at"]) <= now + self.clock_off
            why = "expired" if expired else "busy" if self.memory.dose is not None else ""
            self.memory.answers[ident] = not why
            if not why:
                self.memory.dose = {**body, "water": 0.0, "concentrate": 0.0}
                self._let(_instant(body["expires_at"]), now)
        else:
            why = "known already"
        accepted = self.memory.answers[ident]
        return [self._say("accepted", now, setpoint=ident, accepted=accepted, reason=why)]

    def _let(self, until: Instant, now: Instant) -> None:
        """Go on until then, and no longer than ten minutes from now."""
        self.lease, self.heard_at = until, now
        if self.memory.dose is not None:
            self.memory.dose |= {"lease": until, "heard_at": now}

    def pour(self, litres: float, now: Instant) -> list[Saying]:
        """Pour so much of the dose in hand, water and concentrate together, and report."""
        dose = self.memory.dose
        if dose is None:
            return []
        if now + self.clock_off >= self.lease or now >= self.heard_at + LEASE_MAX:
            return self._end(now, "lease ran out")
        left = self._left(dose)
        share = min(litres / sum(left), 1.0) if sum(left) > 1e-9 else 1.0
        dose["water"] += left[0] * share
        dose["concentrate"] += left[1] * share
        self.memory.water_total += left[0] * share
        self.memory.concentrate_total += left[1] * share
        return self._end(now, None) if share >= 1.0 else [self._report(now, dose)]

    def _left(self, dose: dict[str, Any]) -> tuple[float, float]:
        """What is left to pour: at most what was asked, and to where the counters shall end."""
        left = []
        for what in ("water", "concentrate"):
            end, total = dose[f"{what}_meter_end_l"], getattr(self.memory, f"{what}_total")
            asked = dose[f"{what}_l"] - dose[what]
            if self.metered and end is not None:
                asked = min(asked, end - total)
            left.append(max(asked, 0.0))
        return left[0], left[1]

    def _end(self, now: Instant, fault: str | None) -> list[Saying]:
        """Report the end."""
        dose, self.memory.dose = self.memory.dose, None
        assert dose is not None
        return [self._report(now, dose, finished=True, fault=fault)]

    def _report(
        self,
        now: Instant,
        dose: dict[str, Any],
        *,
        finished: bool = False,
        fault: str | None = None,
    ) -> Saying:
        """Tell the totals so far."""
        return self._say(
            "delivered",
            now,
            setpoint=dose["id"],
            water_l=round(dose["water"], 3),
            concentrate_l=round(dose["concentrate"], 3),
            finished=finished,
            fault=fault,
        )

    def _say(self, what: str, now: Instant, **body: Any) -> Saying:
        """Speak, with the time by its own clock."""
        return what, {"at": text_of(now + self.clock_off), **body}

    def lose_power(self, *, memory: bool = True) -> "AStation":
        """What it is after its power has come back; without `memory` it knows only its counters."""
        kept = self.memory if memory else replace(self.memory, answers={}, dose=None)
        return AStation(kept, clock_off=self.clock_off, metered=self.metered)


def _instant(text: str) -> Instant:
    """Moment of a text that the agent wrote."""
    at = instant_of(text)
    assert at is not None, text
    return at
