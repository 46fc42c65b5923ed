"""Credentials of broker and historian: from the environment, or from files that it names."""

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from agent.errors import CredentialsError

USER = "MILLPOND_BROKER_USER"
PASSWORD = "MILLPOND_BROKER_PASSWORD"  # noqa: S105  # the variable's name, not a password
TOKEN = "MILLPOND_HISTORIAN_TOKEN"  # noqa: S105  # as above
METRICS_TOKEN = "MILLPOND_METRICS_TOKEN"  # noqa: S105  as above
_OURS = "MILLPOND_"
_FILE = "_FILE"
_LONGEST = 65_535
"""MQTT 5.0, 3.1.3.5 and 3.1.3.6: the length of each stands in two bytes."""


@dataclass(frozen=True, slots=True)
class Credentials:
    """User and password; neither shows in a representation."""

    user: str = field(repr=False)
    password: str | None = field(repr=False)


def read_credentials(environment: Mapping[str, str]) -> Credentials | None:
    """Credentials that the environment holds or points at; `None` where it says nothing.

    Parameters
    ----------
    environment : mapping of str to str
        `os.environ`, as a rule.

    Raises
    ------
    CredentialsError
        If a file cannot be read, a value is empty, both a variable and its file are given, or
        there is a password without a user. The message names the variable, never its value.
    """
    user = _read(environment, USER)
    password = _read(environment, PASSWORD)
    if user is not None:
        return Credentials(user, password)
    if password is not None:
        raise CredentialsError(USER, f"is not set, though a password is; set it or {USER}{_FILE}")
    return None


def read_token(environment: Mapping[str, str]) -> str | None:
    """The historian's token that the environment holds or points at; `None` where it says nothing.

    Raises
    ------
    CredentialsError
        As `read_credentials`.
    """
    return _read(environment, TOKEN)


def read_secret(environment: Mapping[str, str], variable: str) -> str | None:
    """What a variable, or the file that it names with _FILE at its end, holds; `None`: nothing.

    Raises
    ------
    CredentialsError
        As `read_credentials`.
    """
    return _read(environment, variable)


def known_secrets(environment: Mapping[str, str]) -> tuple[str, ...]:
    """Every secret that this process was given, so that its log can leave them out.

    What cannot be read is passed over here: whoever needs it says so.
    """
    found: list[str] = []
    for variable, value in environment.items():
        if not variable.startswith(_OURS) or not value or variable in {USER, USER + _FILE}:
            continue
        if variable.endswith(_FILE):
            try:
                found.append(_content(variable, Path(value)))
            except CredentialsError:
                continue
        else:
            found.append(value)
    return tuple(filter(None, found))


def _read(environment: Mapping[str, str], variable: str) -> str | None:
    """One value; an unset or empty variable says nothing."""
    direct = environment.get(variable)
    named = environment.get(variable + _FILE)
    if direct and named:
        raise CredentialsError(variable, f"is set, and {variable}{_FILE} too; set one of the two")
    if named:
        return _checked(variable + _FILE, _content(variable + _FILE, Path(named)))
    return _checked(variable, direct) if direct else None


def _content(variable: str, path: Path) -> str:
    """Text of a file without the end of its last line."""
    try:
        with path.open("rb") as file:
            text = file.read(_LONGEST + 3).decode("utf-8")
    except UnicodeDecodeError:
        # from None: the decoder's own error carries the bytes
        raise CredentialsError(variable, f"{path} is not UTF-8 text") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "no usable path"
        raise CredentialsError(variable, f"{path}: {reason}") from None
    return text.removesuffix("\n").removesuffix("\r")


def _checked(variable: str, value: str) -> str:
    """Give the value back, if MQTT can carry it."""
    if not value:
        raise CredentialsError(variable, "is empty")
    if any(unicodedata.category(character) in {"Cc", "Cs"} for character in value):
        raise CredentialsError(variable, "holds a control character")
    if len(value.encode("utf-8")) > _LONGEST:
        raise CredentialsError(variable, f"is longer than {_LONGEST} bytes")
    return value
