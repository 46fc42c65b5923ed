"""A plant with a page, as the agent would have filled it: invented, of ordinary size."""

import html
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from starlette.testclient import TestClient

from advisor import estimate
from advisor.effects import (
    Advice,
    After,
    AlarmReport,
    AlarmState,
    Limits,
    Mix,
    NextTopUp,
)
from advisor.effects import Batch as Portion
from advisor.words import (
    DAY,
    HOUR,
    MINUTE,
    Account,
    Addition,
    Estimate,
    Instant,
    Quality,
    Signal,
    SumpEvent,
    SumpState,
)
from agent.arrival import Outgoing
from agent.clock import ManualClock
from agent.instants import instant_of
from agent.messages.publish import outgoing_for
from agent.page.app import make_app
from agent.page.office import Office
from agent.page.sending import Mailbox
from agent.plant.load import parse_plant
from agent.plant.plant import Plant
from agent.resources import shipped
from agent.store.batch import Batch, StoredEntry
from agent.store.database import Database
from agent.store.history import history_row
from agent.store.ledger import Ledger
from tests.sump_states import sump_holding

NOW = instant_of("2026-03-02T06:00:00Z")
SUMP = "mill-07"


def a_plant(folder: Path, *, page: str = "", sumps: int = 1, names: str = "") -> Plant:
    """The example with a page; more sumps are copies of its own."""
    text = shipped("plant.example.toml").read_text("utf-8")
    head, mark, sump = text.partition("[[sump]]")
    body = mark + sump
    if names:
        body = body.replace('id = "mill-07"', f'id = "mill-07"\nname = {names}', 1)
    copies = [body.replace("mill-07", f"mill-{number + 7:02d}") for number in range(sumps)]
    whole = f"{head}\n[page]\n{page}\n" + "\n".join(copies)
    plant = parse_plant(whole, folder / "north.toml")
    return replace(plant, store=folder / "north.db")


class Shop:
    """A plant's page with a store that a test fills, and a broker that only takes notes.

    Parameters
    ----------
    folder : Path
        Takes the store.
    plant : Plant
        With a page.
    """

    def __init__(self, folder: Path, plant: Plant | None = None) -> None:
        self.plant = a_plant(folder) if plant is None else plant
        assert self.plant.page is not None
        self.ledger = Ledger.open(self.plant.store)
        self.ledger.commit(Batch(clock=NOW))
        self.sent: list[Outgoing] = []
        self.is_connected = True
        self.answers = True
        """Whether what is sent is stored at once."""
        self.wall = ManualClock(NOW)
        self.office = Office(
            plant=self.plant,
            settings=self.plant.page,
            database=Database(self.plant.store),
            mailbox=Mailbox(self.plant, self._publish, lambda: self.is_connected),
            wall=self.wall,
        )
        self.app = make_app(self.office)

    def _publish(self, message: Outgoing) -> None:
        """Take in what the page sends, as the agent would."""
        self.sent.append(message)
        if self.answers:
            self.store_sent(message)

    def store_sent(self, message: Outgoing) -> None:
        """Decode a message and store the entry that it holds."""
        from agent.arrival import Arrival
        from agent.decode.people import decode_sump_message
        from agent.decode.results import Report

        _, sump, channel = message.topic.rsplit("/", 2)
        found = decode_sump_message(
            Arrival(NOW, message.topic, message.payload), channel, self.plant.sumps[sump]
        )
        if isinstance(found, Report):
            self.commit(Batch(entries=[StoredEntry(sump, found.entry, NOW)]))

    def commit(self, batch: Batch) -> None:
        """Store a batch and show it to the page, as the worker does."""
        self.ledger.commit(batch)
        self.office.take(batch)

    def tell(self, *effects: object, sump: str = SUMP, clock: Instant = NOW) -> None:
        """Publish what the computation decided."""
        self.tell_all([(sump, effects)], clock=clock)

    def tell_all(
        self, told: Iterable[tuple[str, Iterable[object]]], *, clock: Instant = NOW
    ) -> None:
        """Publish what was decided about several sumps, in one transaction."""
        batch = Batch(clock=clock)
        for sump, effects in told:
            for effect in effects:
                self._put(batch, sump, effect)
        self.commit(batch)

    def _put(self, batch: Batch, sump: str, effect: object) -> None:
        """Put one effect into a transaction."""
        for message in outgoing_for(effect, self.plant.prefix, sump):  # type: ignore[arg-type]  # effects of all kinds
            batch.outgoing.append(message)
            if message.retain:
                batch.retained[message.topic] = message.payload
        state = getattr(effect, "state", None)
        row = history_row(state) if isinstance(state, SumpState) else None
        if row is not None:
            batch.history.append((sump, row))
        if isinstance(getattr(effect, "event", None), SumpEvent):
            batch.events.append((sump, effect.event))  # type: ignore[attr-defined]  # it has one

    def believe(self, sump: str = SUMP) -> None:
        """Give the page a belief to look ahead from: one that has seen a few readings."""
        plan = self.plant.sumps[sump]
        belief = estimate.begin(plan)
        for minute in range(30):
            at = NOW - (30 - minute) * MINUTE
            for reading in readings(at):
                belief = estimate.absorb(belief, reading, plan)
        self.office.beliefs[sump] = belief

    @contextmanager
    def client(self, **options: object) -> Iterator[TestClient]:
        """A browser without a screen, on this machine."""
        with TestClient(self.app, base_url="http://127.0.0.1", **options) as client:  # type: ignore[arg-type]  # handed on
            yield client

    def close(self) -> None:
        """Close the store."""
        self.ledger.close()
        self.office.database.close()


def readings(at: Instant) -> list[object]:
    """Level, Brix and pumps of a sump that works quietly."""
    from advisor.words import Reading

    return [
        Reading(at, Signal.RUNNING, 1.0),
        Reading(at + 1, Signal.LEVEL, 320.0),
        Reading(at + 2, Signal.BRIX, 6.4),
    ]


# --- what is told --------------------------------------------------------------------------------


def a_state(
    plant: Plant,
    volume: float | None = 312.4,
    concentration: float | None = 0.0762,
    *,
    at: Instant = NOW,
    sump: str = SUMP,
    **changes: object,
) -> SumpState:
    """A state with totals and qualities."""
    total = Account(since=NOW - 5 * DAY, water=Estimate(100.0, 2.0), concentrate=Estimate(4.0, 0.5))
    fields: dict[str, object] = {
        "lost": total,
        "added": total,
        "drained": None,
        "qualities": {Signal.LEVEL: Quality.GOOD, Signal.BRIX: Quality.GOOD},
        **changes,
    }
    return sump_holding(plant.sumps[sump], volume, concentration, at, **fields)  # type: ignore[arg-type]  # replaces fields


LIMITS = Limits(
    level_running=None,
    level_stopped=None,
    level_unit="mm",
    brix=None,
    water_loss_high=None,
    concentrate_loss_high=None,
)


def an_advice(kind: str = "top-up", **changes: object) -> Advice:
    """Three buckets of 8 L of water and 2 L of concentrate, unless told otherwise."""
    pours = kind in {"top-up", "charge", "exchange"}
    fields: dict[str, object] = {
        "id": "a-000001",
        "sump": SUMP,
        "issued_at": NOW,
        "valid_until": NOW + DAY,
        "kind": kind,
        "mix": Mix(24.0, 6.0) if pours else None,
        "batches": (Portion(3, 8.0, 2.0),) if pours else None,
        "drain": 0.0,
        "after": After(volume=Estimate(342.4, 2.0), concentration=Estimate(0.0871, 0.0009))
        if pours
        else None,
        "limits": LIMITS,
        "next": NextTopUp(at=NOW + 5 * HOUR, sd_h=1.5, strength=0.02),
        "why": ("Level 250 mm; a top-up is due under 280 mm.",),
        "cautions": ("Water first, then the concentrate into the water.",) if pours else (),
        **changes,
    }
    return Advice(**fields)  # type: ignore[arg-type]  # replaces fields


def an_alarm(name: str = "level-low", **changes: object) -> AlarmReport:
    """An alarm that nobody has acknowledged."""
    fields: dict[str, object] = {
        "name": name,
        "signal": None,
        "state": AlarmState.UNACKNOWLEDGED,
        "active": True,
        "acknowledged": False,
        "priority": "high",
        "raised_at": NOW - HOUR,
        "value": 170.0,
        "limit": 180.0,
        "unit": "mm",
        "cause": "Mill 7: the fluid stands at 170 mm.",
        "consequence": "The pumps may draw air.",
        "action": "Operator: top up.",
        **changes,
    }
    return AlarmReport(**fields)  # type: ignore[arg-type]  # replaces fields


def an_addition(name: str = "e-1", at: Instant = NOW - HOUR, **changes: object) -> Addition:
    """Twelve litres that somebody reported."""
    fields = {"water": 11.0, "concentrate": 1.0, "by": "ann", **changes}
    return Addition(at=at, id=name, **fields)  # type: ignore[arg-type]  # replaces fields


# --- reading pages -------------------------------------------------------------------------------


def token_of(page: str) -> str:
    """The token that the forms of a page carry."""
    found = re.search(r'name="token" value="([0-9a-f]{64})"', page)
    assert found is not None, "the page has no form"
    return found.group(1)


def words_of(page: str) -> str:
    """What a page says, without its markup; narrow spaces as spaces."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    text = html.unescape(re.sub(r"<[^>]*>", " ", text)).replace("\u202f", " ")
    return re.sub(r"\s+", " ", text)
