"""Who is signed in, and how often somebody may try: in memory, bounded, gone with the process.

A browser holds a random token in a cookie; here stands only its hash. The token that guards forms
against other sites is derived from it.
"""

import hashlib
import hmac
import logging
import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass

from advisor.words import MINUTE, Instant
from agent.page.people import NOBODY, Role, User, UsersError, matches, read_users, token_hash
from agent.plant.plant import PageSettings

LOG = logging.getLogger("millpond.page")

TOKEN_BYTES = 32
SESSIONS_MAX = 2_000
FREE_TRIES = 5
"""Wrong passwords for a name from one address before each further one has to wait."""
FREE_TRIES_ALONE = 25
"""The same for a name from anywhere, and from an address for any name."""
FIRST_WAIT: Instant = 30_000
LONGEST_WAIT: Instant = 15 * MINUTE
REMEMBERED = 10_000
"""Names and addresses of which wrong tries are remembered."""
HASHING = threading.BoundedSemaphore(2)
"""Hashing takes 16 MB and a core: not more than two at once."""


@dataclass(slots=True)
class Session:
    """Somebody who has signed in."""

    user: str
    role: Role
    used: Instant


@dataclass(frozen=True, slots=True)
class Refused:
    """A sign-in that was not let through."""

    wait: Instant = 0
    """How long until the next try is looked at; 0: name or password was wrong. [ms]"""


class Throttle:
    """Makes repeated wrong tries wait, longer each time.

    Examples
    --------
    >>> throttle = Throttle()
    >>> for _ in range(FREE_TRIES):
    ...     throttle.failed("ann", 0)
    >>> throttle.wait("ann", 0, FREE_TRIES), throttle.wait("bob", 0, FREE_TRIES)
    (30000, 0)
    """

    def __init__(self) -> None:
        self._failures: OrderedDict[str, tuple[int, Instant]] = OrderedDict()

    def wait(self, key: str, now: Instant, free: int) -> Instant:
        """How long until a try may be made, `free` of them having been free. [ms]"""
        count, last = self._failures.get(key, (0, 0))
        if count < free:
            return 0
        pause = min(FIRST_WAIT << min(count - free, 10), LONGEST_WAIT)
        return max(last + pause - now, 0)

    def failed(self, key: str, now: Instant) -> None:
        """Count a wrong try. [ms]"""
        count, _ = self._failures.pop(key, (0, 0))
        self._failures[key] = (count + 1, now)
        while len(self._failures) > REMEMBERED:
            self._failures.popitem(last=False)

    def succeeded(self, key: str) -> None:
        """Forget the wrong tries."""
        self._failures.pop(key, None)


class Door:
    """Lets people in, and knows who is in.

    Parameters
    ----------
    settings : PageSettings
        Whether people sign in, and for how long.
    """

    def __init__(self, settings: PageSettings) -> None:
        self._settings = settings
        self._secret = secrets.token_bytes(32)
        self._sessions: OrderedDict[str, Session] = OrderedDict()
        self._throttle = Throttle()
        self._lock = threading.Lock()
        self._users: dict[str, User] = {}
        self._read_at: tuple[int, int] | None = None

    def succeed(self, former: "Door") -> None:
        """Take over who is in and which forms are good, where the same people may come in."""
        if self._settings.users == former._settings.users:  # noqa: SLF001  of the same class
            with former._lock:  # noqa: SLF001
                self._secret, self._throttle = former._secret, former._throttle  # noqa: SLF001
                self._sessions.update(former._sessions)  # noqa: SLF001

    @property
    def asks(self) -> bool:
        """Whether people have to sign in."""
        return self._settings.users is not None

    def new_token(self) -> str:
        """Make a token for a browser that has none."""
        return secrets.token_urlsafe(TOKEN_BYTES)

    def form_token(self, token: str) -> str:
        """What a form sent from this browser has to carry."""
        return hmac.new(self._secret, token.encode(), "sha256").hexdigest()

    def is_form_token(self, token: str, found: str) -> bool:
        """Whether a form was made for this browser."""
        return hmac.compare_digest(self.form_token(token).encode(), found.encode())

    def session(self, token: str, now: Instant) -> Session | None:
        """Who this browser is signed in as, if it is; using it keeps it alive."""
        with self._lock:
            key = _digest(token)
            session = self._sessions.get(key)
            if session is None:
                return None
            user = self._known_users().get(session.user)
            if user is None or not 0 <= now - session.used <= self._settings.session_ms:
                del self._sessions[key]
                return None
            session.used, session.role = now, user.role
            self._sessions.move_to_end(key)
            return session

    def sign_in(self, name: str, password: str, address: str, now: Instant) -> str | Refused:
        """Give the token of a new session, or refuse; it replaces the one that the browser had."""
        keys = {
            f"{name[:64]} at {address}": FREE_TRIES,
            f"name {name[:64]}": FREE_TRIES_ALONE,
            f"address {address}": FREE_TRIES_ALONE,
        }
        with self._lock:
            pause = max(self._throttle.wait(key, now, free) for key, free in keys.items())
            user = self._known_users().get(name)
        if pause > 0:
            return Refused(pause)
        with HASHING:
            good = matches(password, NOBODY if user is None else user.hash)
        with self._lock:
            if user is None or not good:
                for key in keys:
                    self._throttle.failed(key, now)
                return Refused()
            for key in keys:
                self._throttle.succeeded(key)
            token = self.new_token()
            self._sessions[_digest(token)] = Session(user.name, user.role, now)
            while len(self._sessions) > SESSIONS_MAX:
                self._sessions.popitem(last=False)
            return token

    def bearer(self, token: str, address: str, now: Instant) -> Session | Refused:
        """Tell which program brings a token; wrong ones from one address have to wait.

        A right one passes all the same: it cannot be guessed, and a neighbour's old token must not
        shut it out.
        """
        wanted, key = token_hash(token), f"token from {address}"
        with self._lock:
            for user in self._known_users().values():
                if user.is_program and hmac.compare_digest(user.hash, wanted):
                    return Session(user.name, user.role, now)
            pause = self._throttle.wait(key, now, FREE_TRIES_ALONE)
            if not pause:
                self._throttle.failed(key, now)
            return Refused(pause)

    def sign_out(self, token: str) -> None:
        """End a session."""
        with self._lock:
            self._sessions.pop(_digest(token), None)

    def _known_users(self) -> dict[str, User]:
        """Users of the file, read again when it has changed."""
        path = self._settings.users
        if path is None:
            return {}
        try:
            found = path.stat()
            stamp = (found.st_mtime_ns, found.st_ino)
            if stamp != self._read_at:
                self._users, self._read_at = read_users(path), stamp
        except (OSError, UsersError) as error:
            if self._users or self._read_at is None:
                LOG.error("%s; until that is mended nobody can sign in", error)  # noqa: TRY400  no bug
            self._users, self._read_at = {}, (0, 0)
        return self._users


def _digest(token: str) -> str:
    """Hash under which a token is kept."""
    return hashlib.sha256(token.encode()).hexdigest()
