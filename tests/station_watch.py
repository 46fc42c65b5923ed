"""A station's desk stepped through time: what tests of automatic dosing work with."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import TypeAdapter

from advisor.effects import Advice, Effect, Limits, Mix, PublishLease, PublishSetpoint, Setpoint
from advisor.plan import Levels, SignalPlan, Station, SumpPlan
from advisor.setpoint import trouble
from advisor.station import Scene, step
from advisor.station_desk import StationDesk, returned, told
from advisor.station_reports import hear
from advisor.words import (
    DAY,
    MINUTE,
    Delivery,
    Estimate,
    Instant,
    Quality,
    Signal,
    StationAnswer,
    SumpState,
)
from tests.alarm_watch import START
from tests.plants import a_sump
from tests.sump_states import sump_holding

STATION = Station(automatic=True, max_dose=40.0, max_day=120.0)
METERED: Mapping[Signal, SignalPlan] = {
    Signal.LEVEL: SignalPlan(signal=Signal.LEVEL, sd=1.5, unit="mm", interval=60.0),
    Signal.BRIX: SignalPlan(signal=Signal.BRIX, sd=0.08, unit="degBrix", interval=60.0),
    Signal.RUNNING: SignalPlan(signal=Signal.RUNNING),
    Signal.WATER_METER: SignalPlan(signal=Signal.WATER_METER, rollover=10_000.0),
    Signal.CONCENTRATE_METER: SignalPlan(signal=Signal.CONCENTRATE_METER),
}
CODEC = TypeAdapter(StationDesk)
NO_LIMITS = Limits(
    level_running=None,
    level_stopped=None,
    level_unit="mm",
    brix=None,
    water_loss_high=None,
    concentrate_loss_high=None,
)


def a_dosed_sump(**changes: object) -> SumpPlan:
    """A box of 1.05 L/mm with a station: 399 L wanted, at most 435.75 L, 451.5 L at the brim."""
    levels = Levels(low=180.0, target=380.0, brim=430.0, top_up=280.0)
    return a_sump(**{"station": STATION, "levels": levels, **changes})


def an_advice(
    water: float = 18.0, concentrate: float = 2.0, number: int = 1, **changes: object
) -> Advice:
    """A top-up of so much. [L]"""
    fields: dict[str, Any] = {
        "id": f"a-{number:06d}",
        "sump": "mill-07",
        "issued_at": START,
        "valid_until": START + 400 * DAY,
        "kind": "top-up",
        "mix": Mix(water, concentrate),
        "batches": (),
        "drain": 0.0,
        "after": None,
        "limits": NO_LIMITS,
        "next": None,
        "why": (),
        "cautions": (),
    }
    return Advice(**{**fields, **changes})


@dataclass
class Bench:
    """A desk, a clock, and all that was published."""

    plan: SumpPlan = field(default_factory=a_dosed_sump)
    desk: StationDesk = field(default_factory=StationDesk)
    now: Instant = START
    since: Instant | None = None
    advice: Advice | None = field(default_factory=an_advice)
    fields: dict[str, Any] = field(default_factory=dict)
    """Of the state, in place of those of a sump in good order."""
    alarmed: tuple[str, ...] = ()
    told: list[Effect] = field(default_factory=list)
    news: list[str] = field(default_factory=list)

    # --- time -------------------------------------------------------------------------------------

    def state(self) -> SumpState:
        """A sump of 360 L at 8 % whose signals were all heard just now, but for `fields`."""
        changes = {
            "holdup": Estimate(35.0, 2.0),
            "last_seen": dict.fromkeys(self.plan.signals, self.now),
            "totals": {},
            **self.fields,
        }
        volume = changes.pop("volume_l", 360.0)
        strength = changes.pop("strength", 0.08)
        return sump_holding(self.plan, volume, strength, changes.pop("at", self.now), **changes)

    def look(self) -> tuple[Effect, ...]:
        """Judge once, now."""
        state = self.state()
        scene = Scene(
            state=state,
            advice=self.advice,
            plan=self.plan,
            now=self.now,
            since=self.since,
            trouble=trouble(state, self.plan, self.now, alarmed=self.alarmed),
        )
        self.desk, effects = step(self.desk, scene)
        return self._kept(effects)

    def minutes(self, count: int) -> tuple[Effect, ...]:
        """Let minutes pass, each judged."""
        effects: list[Effect] = []
        for _ in range(count):
            self.now += MINUTE
            effects.extend(self.look())
        return tuple(effects)

    def restart(self) -> None:
        """The process ends and begins anew: what is stored comes back, and nothing else."""
        self.desk = CODEC.validate_json(CODEC.dump_json(self.desk))
        self.since = self.now

    # --- the station ------------------------------------------------------------------------------

    def answer(
        self, accepted: bool = True, *, ident: str | None = None, late: Instant = 0, why: str = ""
    ) -> str | None:
        """The station answers; its clock is ahead by `late`. Why the answer is of no use."""
        said = StationAnswer(
            sump="mill-07",
            at=self.now + late,
            setpoint=ident or self.newest.id,
            accepted=accepted,
            why=why,
        )
        self.desk, effects, refusal = hear(self.desk, said, self.plan, self.now)
        self._kept(effects)
        return refusal

    def deliver(
        self,
        water: float,
        concentrate: float,
        *,
        finished: bool = True,
        fault: str | None = None,
        ident: str | None = None,
        late: Instant = 0,
    ) -> None:
        """The station reports."""
        said = Delivery(
            at=self.now + late,
            setpoint=ident or self.newest.id,
            water=water,
            concentrate=concentrate,
            finished=finished,
            fault=fault,
        )
        self.desk, effects, _ = hear(self.desk, said, self.plan, self.now)
        self._kept(effects)

    def reset(self) -> None:
        """A person resets the alarm."""
        self.desk = returned(self.desk)

    # --- what was published -----------------------------------------------------------------------

    def _kept(self, effects: tuple[Effect, ...]) -> tuple[Effect, ...]:
        self.told.extend(effects)
        self.news.extend(finding.detail for finding in self.desk.news)
        self.desk = told(self.desk)
        return effects

    @property
    def setpoints(self) -> list[Setpoint]:
        """All setpoints so far."""
        return [effect.setpoint for effect in self.told if isinstance(effect, PublishSetpoint)]

    @property
    def newest(self) -> Setpoint:
        """The last one."""
        return self.setpoints[-1]

    @property
    def leases(self) -> list[PublishLease]:
        """All leases so far, those that end a setpoint too."""
        return [effect for effect in self.told if isinstance(effect, PublishLease)]

    @property
    def stage(self) -> str:
        """Of the open setpoint; `none` where there is none."""
        return "none" if self.desk.open is None else self.desk.open.stage


def accepted_bench(**changes: Any) -> Bench:
    """A bench whose first setpoint has just been accepted."""
    bench = Bench(**changes)
    bench.minutes(1)
    bench.answer()
    return bench


def finished_bench(**changes: Any) -> Bench:
    """A bench whose first setpoint has just been delivered in full."""
    bench = accepted_bench(**changes)
    bench.minutes(1)
    bench.deliver(bench.newest.mix.water, bench.newest.mix.concentrate)
    return bench


def with_signals(plan: SumpPlan, **changes: object) -> SumpPlan:
    """A plan with meters."""
    return replace(plan, signals={**METERED}, **changes)  # type: ignore[arg-type]


BAD = dict.fromkeys(Signal, Quality.GOOD) | {Signal.LEVEL: Quality.BAD}
"""Qualities under which nothing is poured."""
