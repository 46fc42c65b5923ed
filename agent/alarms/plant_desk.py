"""Alarms of the whole plant and of its supplies: what a sump's own desk cannot know."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from advisor.alarms import AlarmBoard, Outage, assess_findings, command, standing
from advisor.effects import AlarmReport
from advisor.plan import AlarmPlan, Supply
from advisor.plant_findings import Heard, expired, feed_lost, stock_low
from advisor.words import AlarmOrder, Finding, Instant
from agent.decode.results import StockReport
from agent.messages.names import WHOLE_PLANT, about_supply
from agent.plant.plant import Plant

Told = tuple[str, AlarmReport]
"""What an alarm is about, and how it stands now."""


@dataclass(frozen=True, slots=True)
class Watched:
    """A supply or the plant, as the computation of alarms looks at it."""

    id: str
    name: str
    alarms: Mapping[str, AlarmPlan]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantStanding:
    """What has been told of the plant and its supplies, and the newest stock of each."""

    board: AlarmBoard = field(default_factory=AlarmBoard)
    supplies: Mapping[str, AlarmBoard] = field(default_factory=dict)
    stock: Mapping[str, StockReport] = field(default_factory=dict)


class PlantDesk:
    """State of the plant's own alarms; every method takes the clock from its caller.

    Parameters
    ----------
    plant : Plant
        Its supplies, and what it wants otherwise of alarms.
    """

    def __init__(self, plant: Plant) -> None:
        self._plant = Watched(plant.id, plant.name, plant.alarms)
        self._supplies = {
            name: (supply, Watched(name, supply.name, plant.alarms))
            for name, supply in plant.supplies.items()
        }
        self._boards: dict[str, AlarmBoard] = {}
        self._stock: dict[str, StockReport] = {}
        self._board = AlarmBoard()
        self.outage: Outage | None = None
        """What silences the signals of the sumps at the moment."""
        self.stock: dict[str, float] = {}
        """What is left of each supply whose stock was reported, by its id. [L]"""

    # --- what the evidence changes ---------------------------------------------------------------

    def look(
        self,
        sumps: Iterable[Heard | None],
        now: Instant,
        *,
        link_lost_since: Instant | None,
        found: tuple[Finding, ...] = (),
    ) -> list[Told]:
        """Judge the feed and every supply; called each minute of the clock.

        Parameters
        ----------
        sumps : iterable of Heard or None
            When each sump was last heard of.
        now : Instant
            The clock. [ms]
        link_lost_since : Instant or None
            Since when the agent has had no broker. [ms]
        found : tuple of Finding
            What else is wrong with the plant, such as a historian that is behind.
        """
        lost = feed_lost(sumps, now, disconnected_since=link_lost_since)
        self.outage = None if lost is None else Outage(alarm=lost.name, since=lost.since)
        findings = found if lost is None else (lost, *found)
        self._board, reports = assess_findings(self._board, findings, self._plant, now=now)
        told = [(WHOLE_PLANT, report) for report in reports]
        for name in self._stock:
            told += self._look_at(name, now)
        return told

    def take_stock(self, report: StockReport, now: Instant) -> list[Told]:
        """Take in what is left of a supply; an older report than the newest changes nothing."""
        known = self._stock.get(report.supply)
        if known is not None and report.at < known.at:
            return []
        self._stock[report.supply] = report
        self.stock[report.supply] = report.volume
        return self._look_at(report.supply, now)

    def _look_at(self, name: str, now: Instant) -> list[Told]:
        """Judge one supply by its newest report; one the plant file no longer has is forgotten."""
        if name not in self._supplies:
            return []
        supply, watched = self._supplies[name]
        board = self._boards.get(name, AlarmBoard())
        findings = _of_stock(supply, self._stock[name], watched, now)
        self._boards[name], reports = assess_findings(board, findings, watched, now=now)
        return [(about_supply(name), report) for report in reports]

    # --- what people order -----------------------------------------------------------------------

    def obey(self, order: AlarmOrder, now: Instant) -> tuple[list[Told], str | None]:
        """Carry out a command on an alarm of the plant or a supply; why not, where it is not."""
        if order.supply is None:
            self._board, reports, refusal = command(self._board, order, self._plant, at=now)
            return [(WHOLE_PLANT, report) for report in reports], refusal
        _, watched = self._supplies[order.supply]
        board = self._boards.get(order.supply, AlarmBoard())
        self._boards[order.supply], reports, refusal = command(board, order, watched, at=now)
        return [(about_supply(order.supply), report) for report in reports], refusal

    # --- what outlives the process ---------------------------------------------------------------

    def standing(self) -> list[Told]:
        """All alarms that stand."""
        told = [(WHOLE_PLANT, report) for report in standing(self._board, self._plant)]
        for name, board in self._boards.items():
            if name in self._supplies:
                _, watched = self._supplies[name]
                told += [(about_supply(name), report) for report in standing(board, watched)]
        return told

    def kept(self) -> PlantStanding:
        """What is to be stored."""
        boards = {name: board for name, board in self._boards.items() if board.alarms}
        return PlantStanding(board=self._board, supplies=boards, stock=dict(self._stock))

    def remember(self, kept: PlantStanding) -> None:
        """Go on from what was stored."""
        self._board = kept.board
        self._boards = dict(kept.supplies)
        self._stock = dict(kept.stock)
        self.stock = {name: report.volume for name, report in kept.stock.items()}


def _of_stock(
    supply: Supply, report: StockReport, watched: Watched, now: Instant
) -> tuple[Finding, ...]:
    """What is wrong with a supply; an empty one cannot be too old."""
    rule = watched.alarms.get("stock-low")
    limit = supply.reorder if rule is None or rule.limit is None else rule.limit
    low = stock_low(supply, report.volume, report.at, reorder=limit)
    old = expired(report.lot, report.expires, now) if report.volume > 0.0 else None
    return tuple(finding for finding in (low, old) if finding is not None)
