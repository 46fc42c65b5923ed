"""Who may sign in, with what right: a file of names, roles and hashed passwords.

Passwords are hashed with scrypt at the cost that OWASP's Password Storage Cheat Sheet gives for
16 MB of memory: N = 2^14, r = 8, p = 5 (from memory).
"""

import hashlib
import hmac
import os
import re
import secrets
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path

from agent.errors import MillpondError

COST, BLOCK, PARALLEL = 14, 8, 5
SALT_BYTES, HASH_BYTES = 16, 32
SHORTEST = 10
"""Characters of a password at least."""
LONGEST = 256
"""Of a password at most, so that hashing one costs what it should."""
TOKEN_BYTES = 32
TOKEN_HASH = "sha256"  # noqa: S105  names the hash, no secret
TOKEN_PREFIX = "mp-"  # noqa: S105  so that whoever finds one knows what it is

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


class UsersError(MillpondError):
    """The file of users cannot be read, or a name or password cannot be taken."""


class Role(IntEnum):
    """What a person may do; each includes those before."""

    LOOK = 1
    ENTER = 2
    """Report what was poured, measured and done; acknowledge alarms."""
    CHANGE = 3
    """Change the plant file, shelve alarms."""

    @property
    def word(self) -> str:
        """As it stands in the file."""
        return self.name.lower()


ROLES: Mapping[str, Role] = {role.word: role for role in Role}


@dataclass(frozen=True, slots=True)
class User:
    """A person who may sign in."""

    name: str
    role: Role
    hash: str

    @property
    def is_program(self) -> bool:
        """Whether it brings a token in place of a password."""
        return self.hash.startswith(f"{TOKEN_HASH}$")


def token_user(name: str, role: str) -> tuple[User, str]:
    """Make a program's user, and the token that it will bring: told once, kept as its hash.

    Raises
    ------
    UsersError
        If the name or the role cannot be taken.
    """
    _check(name, role)
    token = f"{TOKEN_PREFIX}{secrets.token_urlsafe(TOKEN_BYTES)}"
    return User(name, ROLES[role], token_hash(token)), token


def token_hash(token: str) -> str:
    """Hash of a token. It is random and long: a slow hash, as passwords need, gains nothing."""
    return f"{TOKEN_HASH}${hashlib.sha256(token.encode()).hexdigest()}"


def hashed(password: str) -> str:
    """Hash a password with a salt of its own, with the parameters beside it."""
    salt = secrets.token_bytes(SALT_BYTES)
    digest = _scrypt(password, salt, COST, BLOCK, PARALLEL)
    return f"scrypt${COST}${BLOCK}${PARALLEL}${salt.hex()}${digest.hex()}"


def matches(password: str, stored: str) -> bool:
    """Whether a password is the one that was hashed; takes the same time either way."""
    try:
        name, cost, block, parallel, salt, digest = stored.split("$")
        numbers = (int(cost), int(block), int(parallel))
        if name != "scrypt" or not _bearable(*numbers):
            return False
        found = _scrypt(password, bytes.fromhex(salt), *numbers)
        return hmac.compare_digest(found, bytes.fromhex(digest))
    except ValueError:
        return False


def _bearable(cost: int, block: int, parallel: int) -> bool:
    """Whether the parameters of a stored hash fit in memory and time."""
    return 10 <= cost <= 17 and 1 <= block <= 16 and 1 <= parallel <= 16


def _scrypt(password: str, salt: bytes, cost: int, block: int, parallel: int) -> bytes:
    """Hash."""
    return hashlib.scrypt(
        password[:LONGEST].encode(),
        salt=salt,
        n=2**cost,
        r=block,
        p=parallel,
        dklen=HASH_BYTES,
        maxmem=2**28,
    )


NOBODY = "scrypt$14$8$5$00$00"
"""Hash that no password has: checked for unknown names, so that they take as long as known ones."""


def read_users(path: Path) -> dict[str, User]:
    """Users of a file, by name.

    Raises
    ------
    UsersError
        If it is not there, or not as `write_users` writes it.
    """
    try:
        rows = tomllib.loads(path.read_text("utf-8")).get("user", [])
    except (OSError, ValueError) as error:
        raise UsersError(f"{path}: {error}; millpond user add writes such a file") from error
    users = {}
    for row in rows if isinstance(rows, list) else ():
        match row:
            case {"name": str(name), "role": str(role), "hash": str(stored)} if (
                _NAME.fullmatch(name) and role in ROLES
            ):
                users[name] = User(name, ROLES[role], stored)
            case _:
                raise UsersError(
                    f"{path}: expected name, role ({', '.join(ROLES)}) and hash in each [[user]]"
                )
    return users


def write_users(path: Path, users: Mapping[str, User]) -> None:
    """Write the file anew, readable by its owner alone; the old one stands until it is complete.

    Raises
    ------
    UsersError
        If it cannot be written.
    """
    text = "# Written by millpond user. Roles: look, enter, change.\n" + "".join(
        f'\n[[user]]\nname = "{user.name}"\nrole = "{user.role.word}"\nhash = "{user.hash}"\n'
        for user in users.values()
    )
    partial = path.with_name(path.name + ".partial")
    try:
        partial.unlink(missing_ok=True)
        handle = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        partial.replace(path)
    except OSError as error:
        raise UsersError(f"{path}: {error.strerror or error}") from error


def new_user(name: str, role: str, password: str) -> User:
    """Make a user.

    Raises
    ------
    UsersError
        If the name, the role or the password cannot be taken; it says what is expected.
    """
    _check(name, role)
    if not SHORTEST <= len(password) <= LONGEST:
        raise UsersError(f"expected a password of {SHORTEST} to {LONGEST} characters")
    return User(name, ROLES[role], hashed(password))


def _check(name: str, role: str) -> None:
    """See that a name and a role can be taken."""
    if not _NAME.fullmatch(name):
        raise UsersError(f"{name[:40]!r}: expected up to 64 letters, digits and . _ -")
    if role not in ROLES:
        raise UsersError(f"{role[:40]!r}: expected one of {', '.join(ROLES)}")
