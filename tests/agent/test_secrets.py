"""Credentials come from the environment or from files it names, and never show."""

from pathlib import Path

import pytest

from agent.errors import CredentialsError
from agent.secrets import Credentials, read_credentials


def test_nothing_said_is_no_credentials() -> None:
    """A broker without users needs none; an empty variable says nothing."""
    assert read_credentials({}) is None
    assert read_credentials({"MILLPOND_BROKER_USER": "", "MILLPOND_BROKER_PASSWORD": ""}) is None


def test_the_environment_holds_them() -> None:
    """User and password stand in their variables; a password may be absent."""
    both = {"MILLPOND_BROKER_USER": "anna", "MILLPOND_BROKER_PASSWORD": "hush hush"}

    assert read_credentials(both) == Credentials("anna", "hush hush")
    assert read_credentials({"MILLPOND_BROKER_USER": "anna"}) == Credentials("anna", None)


@pytest.mark.parametrize("end", ["", "\n", "\r\n"])
def test_a_file_holds_them(tmp_path: Path, end: str) -> None:
    """The end of the file's last line is no part of the password; a space is."""
    (tmp_path / "user").write_bytes(b"anna")
    (tmp_path / "password").write_bytes(f" häsh {end}".encode())

    found = read_credentials(
        {
            "MILLPOND_BROKER_USER_FILE": str(tmp_path / "user"),
            "MILLPOND_BROKER_PASSWORD_FILE": str(tmp_path / "password"),
        }
    )

    assert found == Credentials("anna", " häsh ")


def test_they_never_show() -> None:
    """Neither repr nor a formatted string gives them away."""
    credentials = Credentials("anna", "hush")

    assert "anna" not in repr(credentials)
    assert "hush" not in f"{credentials} {credentials!r} {[credentials]}"


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "is empty"),
        (b"hush\x00", "control character"),
        (b"hush\nhush", "control character"),
        (b"hush\xff", "not UTF-8"),
        (b"hush" * 20_000, "longer than 65535 bytes"),
    ],
)
def test_a_file_that_cannot_be_meant_is_refused_without_its_content(
    tmp_path: Path, content: bytes, what: str
) -> None:
    """The message names variable and reason, the exception chain holds nothing of the secret."""
    path = tmp_path / "password"
    path.write_bytes(content)

    with pytest.raises(CredentialsError, match=what) as caught:
        read_credentials(
            {"MILLPOND_BROKER_USER": "anna", "MILLPOND_BROKER_PASSWORD_FILE": str(path)}
        )

    error = caught.value
    assert error.variable.startswith("MILLPOND_BROKER_PASSWORD")
    assert "hush" not in str(error)
    assert error.__cause__ is None
    assert error.__suppress_context__ or error.__context__ is None


@pytest.mark.parametrize("path", ["/nowhere/at/all", "with\0nul", "/"])
def test_a_file_that_cannot_be_read_is_named(path: str) -> None:
    """A wrong path is said with the variable that holds it."""
    with pytest.raises(CredentialsError, match="MILLPOND_BROKER_USER_FILE"):
        read_credentials({"MILLPOND_BROKER_USER_FILE": path})


def test_two_places_for_one_value_are_refused() -> None:
    """Which of the two counts is nobody's guess."""
    with pytest.raises(CredentialsError, match="one of the two"):
        read_credentials({"MILLPOND_BROKER_USER": "anna", "MILLPOND_BROKER_USER_FILE": "/x"})


def test_a_password_without_a_user_is_refused() -> None:
    """More likely a forgotten variable than a broker that wants it so."""
    with pytest.raises(CredentialsError, match="MILLPOND_BROKER_USER") as caught:
        read_credentials({"MILLPOND_BROKER_PASSWORD": "hush"})

    assert "hush" not in str(caught.value)
