"""Who looks at a page, and how they want to be spoken to."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from urllib.parse import parse_qsl, urlencode
from zoneinfo import ZoneInfo

from starlette.requests import Request

from advisor.words import Instant
from agent.page.catalogue import LANGUAGES, catalogue, preferred
from agent.page.people import Role
from agent.page.speech import Speech

BROWSER_COOKIE = "millpond"
WISHES_COOKIE = "millpond-wishes"
UNITS = ("metric", "us")
THEMES = ("system", "light", "dark")
LONGEST_NAME = 64
LONGEST_BEARER = 200


@dataclass(frozen=True, slots=True)
class Visitor:
    """One person at one browser."""

    token: str
    """Of the browser; a form made for it carries `form_token`."""
    form_token: str
    name: str
    """Who is signed in; where nobody is asked, the name that was last given."""
    role: Role | None
    """`None`: has to sign in first."""
    speech: Speech
    theme: str
    is_narrow: bool
    """The screen is a phone's: charts are drawn for it."""
    asks: bool
    """Whether people sign in here."""
    is_program: bool = False
    """It came with a bearer token, so that no browser can have sent it unasked."""
    wait: Instant = 0
    """How long until a further wrong token is looked at. [ms]"""

    @property
    def may_enter(self) -> bool:
        """Whether this person may report things."""
        return self.role is not None and self.role >= Role.ENTER

    @property
    def may_change(self) -> bool:
        """Whether this person may change the plant."""
        return self.role is not None and self.role >= Role.CHANGE

    @property
    def language(self) -> str:
        """Language of the page."""
        return self.speech.text.language


@lru_cache(maxsize=64)
def speech_for(language: str, units: str, timezone: str) -> Speech:
    """Speech of a language, in units, in a time zone."""
    return Speech(catalogue(language), units, ZoneInfo(timezone))


def wishes_of(request: Request, defaults: Mapping[str, str]) -> dict[str, str]:
    """What a browser wants: language, units, theme, and whose name its entries carry.

    What it has not chosen comes from its settings and from `defaults`.
    """
    said = dict(parse_qsl(request.cookies.get(WISHES_COOKIE, "")[:400], max_num_fields=10))
    accept = request.headers.get("accept-language", "")[:200]
    language, units, theme = (said.get(key, "") for key in ("lang", "units", "theme"))
    return {
        "lang": language if language in LANGUAGES else preferred(accept, defaults["language"]),
        "units": units if units in UNITS else defaults["units"],
        "theme": theme if theme in THEMES else "system",
        "by": clean_name(said.get("by", "")),
    }


def wishes_text(wishes: Mapping[str, Any]) -> str:
    """Wishes as their cookie holds them."""
    return urlencode({key: wishes[key] for key in ("lang", "units", "theme", "by")})


def clean_name(text: str) -> str:
    """A person's name without what no name holds."""
    return "".join(c for c in text if c.isprintable())[:LONGEST_NAME].strip()


def bearer_of(request: Request) -> str | None:
    """Token that a program brings (RFC 6750, 2.1); on pages for people it means nothing."""
    kind, _, token = request.headers.get("authorization", "").partition(" ")
    is_api = request.url.path.startswith("/api/")
    return token.strip()[:LONGEST_BEARER] if is_api and kind.lower() == "bearer" else None
