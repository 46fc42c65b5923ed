"""All that the routes work with, put together once: what stands, what was, and the way in."""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from advisor.estimate import Belief
from advisor.words import HOUR, MINUTE, Instant
from agent.clock import Clock, WallClock
from agent.page import figures
from agent.page.cards import Card, make_card
from agent.page.catalogue import LANGUAGES
from agent.page.entries import entry_kind, entry_text
from agent.page.keeping import Pours
from agent.page.live import TREND_HOURS, LiveView
from agent.page.people import Role
from agent.page.pours import pour_of
from agent.page.retelling import retold
from agent.page.sending import Mailbox
from agent.page.sessions import Door, Refused, Session
from agent.page.setup.desk import SetupDesk
from agent.page.visitor import (
    BROWSER_COOKIE,
    THEMES,
    UNITS,
    Visitor,
    bearer_of,
    speech_for,
    wishes_of,
)
from agent.plant.plant import PageSettings, Plant
from agent.store.batch import Batch
from agent.store.database import Database
from agent.store.history import History
from agent.store.logbook import Logbook
from agent.store.told import Told
from agent.version import VERSION

LOG = logging.getLogger("millpond.page")

TEMPLATES = Path(__file__).parent / "templates"
ROW_KEPT: Instant = 10 * MINUTE
"""A row that nothing changed is drawn again so often: it says when things are due. [ms]"""
WIDTH_COOKIE = "millpond-width"


@dataclass(slots=True)
class Office:
    """What every route may use.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    settings : PageSettings
        Its section on the page.
    database : Database
        Reads the store; a connection of the page's own.
    mailbox : Mailbox
        The way in.
    belief_of : callable
        Gives what is believed of a sump at the moment; called on the worker's thread only.
    """

    plant: Plant
    settings: PageSettings
    database: Database
    mailbox: Mailbox
    belief_of: Callable[[str], Belief | None] = lambda _sump: None
    setup: SetupDesk | None = None
    """Set-up; `None` where the page was not told of a plant file."""
    wall: Clock = field(default_factory=WallClock)
    door: Door = field(init=False)
    live: LiveView = field(init=False)
    history: History = field(init=False)
    told: Told = field(init=False)
    logbook: Logbook = field(init=False)
    pours: Pours = field(init=False)
    beliefs: dict[str, Belief] = field(default_factory=dict)
    """By sump, as of its newest transaction: a value that nobody changes."""
    templates: Environment = field(init=False)
    _rows: dict[tuple[str, str, str], tuple[object, str]] = field(default_factory=dict)
    """Rows as they were last drawn: by sump, language and units, each with what it rests on."""

    def __post_init__(self) -> None:
        self.door = Door(self.settings)
        self.pours = Pours(self.plant.store.with_suffix(".lists.json"))
        self.history = History(self.database)
        self.told = Told(self.database)
        self.logbook = Logbook(self.database)
        row = self.database.row("SELECT at FROM clock")
        clock = None if row is None else int(row[0])
        trends = self.history.traces(clock - TREND_HOURS * HOUR) if clock is not None else {}
        self.live = LiveView(self.plant, self.told.retained(), trends, clock)
        self.mailbox.is_stored = lambda place, name: self.logbook.entry(place, name) is not None
        self.templates = _environment(self)

    # --- for the worker ---------------------------------------------------------------------------

    def take(self, batch: Batch) -> None:
        """Note what a transaction brought. Never raises: the worker has more to do."""
        try:
            for name in {sump for sump, _ in batch.history}:
                belief = self.belief_of(name)
                if belief is not None:
                    self.beliefs[name] = belief
            self.live.take(batch)
            self.mailbox.take(batch)
        except Exception:
            LOG.exception("mistake in the page while it took in what was stored")

    # --- for routes -------------------------------------------------------------------------------

    @property
    def now(self) -> Instant:
        """The agent's time; where it has none yet, the machine's. [ms]"""
        clock = self.live.clock
        return self.wall_now if clock is None else clock

    @property
    def wall_now(self) -> Instant:
        """The machine's time, by which people are signed in. [ms]"""
        return self.wall.now() or 0

    def visitor(self, request: Request) -> Visitor:
        """Tell who sends a request."""
        token = request.cookies.get(BROWSER_COOKIE, "")[:100] or self.door.new_token()
        defaults = {"language": self.settings.language, "units": self.plant.units}
        wishes = wishes_of(request, defaults)
        found = self._signed_in(request, token) if self.door.asks else None
        if self.door.asks:
            name, role = (found.user, found.role) if isinstance(found, Session) else ("", None)
        else:
            name, role = wishes["by"], Role.CHANGE
        return Visitor(
            token=token,
            form_token=self.door.form_token(token),
            name=name,
            role=role,
            speech=speech_for(wishes["lang"], wishes["units"], self.plant.timezone),
            theme=wishes["theme"],
            is_narrow=request.cookies.get(WIDTH_COOKIE) == "narrow",
            asks=self.door.asks,
            is_program=isinstance(found, Session) and bearer_of(request) is not None,
            wait=found.wait if isinstance(found, Refused) else 0,
        )

    def _signed_in(self, request: Request, token: str) -> Session | Refused | None:
        """Who sends a request, by a program's token or by the browser's session."""
        bearer = bearer_of(request)
        if bearer is None:
            return self.door.session(token, self.wall_now)
        address = request.client.host if request.client else ""
        return self.door.bearer(bearer, address, self.wall_now)

    def card(self, sump: str) -> Card:
        """One sump as it stands.

        Raises
        ------
        KeyError
            If the plant has no such sump.
        """
        return make_card(self.plant.sumps[sump], self.live.sump(sump), self.live.clock)

    def cards(self) -> list[Card]:
        """All sumps, worst first."""
        return sorted((self.card(name) for name in self.plant.sumps), key=lambda card: card.order)

    def row(self, card: Card, visitor: Visitor) -> str:
        """A sump's row of the overview; the same for everybody who reads the same language."""
        say, now = visitor.speech, self.live.clock
        key = (card.plan.id, say.text.language, say.units)
        kept = self._rows.get(key)
        stamp = (card.now.version, card.urgency, None if now is None else now // ROW_KEPT)
        if kept is None or kept[0] != stamp:
            kept = self._rows[key] = (stamp, self.part("_row.html", visitor, card=card))
        return kept[1]

    def part(self, template: str, visitor: Visitor, **values: Any) -> str:  # noqa: ANN401  whatever a template shows
        """A piece of a page."""
        say = visitor.speech
        return self.templates.get_template(template).render(
            visitor=visitor, say=say, t=say.text, now=self.live.clock, **values
        )

    def page(
        self,
        template: str,
        visitor: Visitor,
        *,
        status: int = 200,
        **values: Any,  # noqa: ANN401  whatever a template shows
    ) -> HTMLResponse:
        """A whole page."""
        return HTMLResponse(self.part(template, visitor, **values), status)


def _environment(office: Office) -> Environment:
    """Templates, every value in them escaped, a missing one an error."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.globals.update(
        plant=office.plant,
        settings=office.settings,
        strip=figures.strip,
        steps_of=pour_of,
        entry_kind=entry_kind,
        entry_text=entry_text,
        retold=retold,
        trend_path=figures.trend_path,
        STRIP_WIDTH=figures.STRIP_WIDTH,
        LANGUAGES=LANGUAGES,
        UNITS=UNITS,
        THEMES=THEMES,
        version=VERSION,
        connected=lambda: office.mailbox.is_open,
    )
    return environment


def reading_database(plant: Plant) -> Database:
    """A connection of the page's own: while the store is away, only the page says so.

    Raises
    ------
    StoreError
        If the store cannot be opened.
    """
    return Database(plant.store)
