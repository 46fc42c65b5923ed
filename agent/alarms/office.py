"""Everything about alarms that the pipeline does not leave to a sump's own desk."""

import logging
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from advisor.alarms import Outage
from advisor.effects import AlarmReport
from advisor.plant_findings import Heard
from advisor.words import AlarmOrder, Instant
from agent.alarms.around import Around
from agent.alarms.notify import Memory, decide
from agent.alarms.plant_desk import PlantDesk, PlantStanding, Told
from agent.alarms.roll import Roll
from agent.decode.results import StockReport
from agent.plant.plant import Plant
from agent.store.changes import AlarmChange
from agent.store.notices import Notice

LOG = logging.getLogger("millpond.alarms")

KEEPSAKE = "/plant"
"""Under this name the store keeps what is remembered of the plant, beside the sumps'."""

SCHEMA = 1
"""Version of `Keepsake`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Keepsake:
    """What is stored beside the sumps' own standings."""

    schema: int = SCHEMA
    plant: PlantStanding = field(default_factory=PlantStanding)
    told: Mapping[str, Memory] = field(default_factory=dict)
    """By target: of what it was notified."""


@cache
def keepsake_codec() -> TypeAdapter[Keepsake]:
    """Keepsake to JSON and back, exactly."""
    return TypeAdapter(Keepsake)


class AlarmOffice:
    """Alarms of plant and supplies, and the roll of all that stand.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    keepsake : bytes, optional
        What an earlier run left.
    """

    def __init__(self, plant: Plant, keepsake: bytes | None = None) -> None:
        self._desk = PlantDesk(plant)
        self._kept = Keepsake()
        if keepsake is not None:
            self._remember(keepsake)
        self._roll = Roll(self._desk.standing())
        self._rules = plant.notify
        self._zone = ZoneInfo(plant.timezone)
        self._told = dict(self._kept.told)

    @property
    def outage(self) -> Outage | None:
        """What silences the sumps' signals at the moment."""
        return self._desk.outage

    @property
    def stock(self) -> dict[str, float]:
        """What is left of each supply whose stock was reported, by its id. [L]"""
        return self._desk.stock

    # --- what happens ----------------------------------------------------------------------------

    def found_standing(self, told: Iterable[Told]) -> None:
        """Take up alarms that an earlier run left standing at a sump."""
        self._roll.add(told)

    def look(self, sumps: Iterable[Heard | None], now: Instant, around: Around) -> list[Told]:
        """Judge the plant and its supplies; called each minute of the clock. [ms]"""
        lost, found = around.link_lost_since, around.findings(now)
        return self._desk.look(sumps, now, link_lost_since=lost, found=found)

    def take_stock(self, report: StockReport, now: Instant) -> list[Told]:
        """Take in what is left of a supply. [ms]"""
        return self._desk.take_stock(report, now)

    def obey(self, order: AlarmOrder, now: Instant) -> tuple[list[Told], str | None]:
        """Carry out a command on an alarm that is no sump's; why not, where it is not. [ms]"""
        return self._desk.obey(order, now)

    def note(self, now: Instant, about: str, report: AlarmReport, by: str | None) -> AlarmChange:
        """Note what is told of any alarm; what the journal says of it. [ms]"""
        return self._roll.take(now, about, report, by)

    def notices(self, now: Instant) -> list[Notice]:
        """Messages that people are to be sent now; asked each minute of the clock. [ms]"""
        notices = []
        for rule in self._rules:
            before = self._told.get(rule.id, Memory())
            self._told[rule.id], message = decide(
                before, self._roll.standing, rule, now, self._zone
            )
            if message is not None:
                notices.append(Notice(rule.id, now, message.priority, message.title, message.body))
        return notices

    # --- what outlives the process ---------------------------------------------------------------

    def new_keepsake(self) -> bytes | None:
        """What must outlive the process, where it is not what it was."""
        kept = Keepsake(plant=self._desk.kept(), told=dict(self._told))
        if kept == self._kept:
            return None
        self._kept = kept
        return keepsake_codec().dump_json(kept)

    def _remember(self, keepsake: bytes) -> None:
        """Go on from what was stored, unless another version wrote it."""
        try:
            kept = keepsake_codec().validate_json(keepsake)
        except ValidationError:
            LOG.warning("the plant's alarms begin anew: another version of millpond wrote them")
            return
        if kept.schema == SCHEMA:
            self._kept = kept
            self._desk.remember(kept.plant)
