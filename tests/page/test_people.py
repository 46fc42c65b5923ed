"""Names, roles and hashed passwords, and the command that writes them."""

import io
import stat
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.cli import main
from agent.page.people import (
    NOBODY,
    Role,
    UsersError,
    hashed,
    matches,
    new_user,
    read_users,
    write_users,
)
from agent.resources import shipped

PASSWORD = "correct horse battery"  # noqa: S105  invented


@settings(max_examples=5)
@given(st.text(min_size=1, max_size=40))
def test_only_the_password_itself_matches(password: str):
    """Any characters; a hash never holds the password, and two of one password differ."""
    one, other = hashed(password), hashed(password)

    assert one != other
    assert matches(password, one)
    assert not matches(password + "x", one)
    assert not matches(password, NOBODY)


@pytest.mark.parametrize(
    "stored",
    ["", "scrypt", "scrypt$14$8$5$zz$zz", "scrypt$60$8$5$00$00", "md5$14$8$5$00$00", "a$b$c$d$e$f"],
)
def test_a_spoilt_hash_matches_nothing(stored: str):
    """Whatever stands in the file: no password fits, and nothing takes all the memory."""
    assert not matches("", stored)
    assert not matches(PASSWORD, stored)


def test_users_come_back_and_only_their_owner_reads_the_file(tmp_path: Path):
    """The file holds roles and hashes, and its rights are the owner's."""
    path = tmp_path / "users.toml"
    users = {"ann": new_user("ann", "enter", PASSWORD)}
    write_users(path, users)

    assert read_users(path) == users
    assert read_users(path)["ann"].role is Role.ENTER
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert PASSWORD not in path.read_text("utf-8")


@pytest.mark.parametrize(
    ("name", "role", "password", "said"),
    [
        ("a b", "look", PASSWORD, "letters, digits"),
        ("", "look", PASSWORD, "letters, digits"),
        ('x"\nrole', "look", PASSWORD, "letters, digits"),
        ("ann", "root", PASSWORD, "look, enter, change"),
        ("ann", "look", "short", "10 to 256"),
    ],
)
def test_what_cannot_be_taken_is_said(name: str, role: str, password: str, said: str):
    """Name, role and password each say what is expected of them."""
    with pytest.raises(UsersError, match=said):
        new_user(name, role, password)


@pytest.mark.parametrize("text", ["[[user]]\nname = 1", "user = 3\n[", '[[user]]\nname = "a"'])
def test_a_spoilt_file_is_an_error_that_names_it(tmp_path: Path, text: str):
    """A file that somebody edited by hand and broke is said so, with its path."""
    path = tmp_path / "users.toml"
    path.write_text(text, "utf-8")

    with pytest.raises(UsersError, match=r"users\.toml"):
        read_users(path)


class TestCommand:
    """`millpond user`."""

    @pytest.fixture
    def plant(self, tmp_path: Path) -> str:
        """A plant file whose page asks who you are."""
        text = shipped("plant.example.toml").read_text("utf-8")
        path = tmp_path / "north.toml"
        path.write_text(f'{text}\n[page]\nusers = "users.toml"\n', "utf-8")
        return str(path)

    def test_add_list_remove(self, plant: str, monkeypatch, capsys):
        """A password on standard input; the list shows names and roles, never hashes."""
        monkeypatch.setattr(sys, "stdin", io.StringIO(f"{PASSWORD}\n"))
        assert main(["user", "add", plant, "ann", "--role", "change"]) == 0
        assert main(["user", "list", plant]) == 0
        assert capsys.readouterr().out == "ann  change\n"
        assert main(["user", "remove", plant, "ann"]) == 0
        assert main(["user", "list", plant]) == 0
        assert capsys.readouterr().out == ""

    def test_what_is_wrong_is_said(self, plant: str, monkeypatch, capsys):
        """Exit code 2 and one line."""
        monkeypatch.setattr(sys, "stdin", io.StringIO("short\n"))
        assert main(["user", "add", plant, "ann"]) == 2
        assert "10 to 256" in capsys.readouterr().err
        assert main(["user", "remove", plant, "bob"]) == 2
        assert "bob" in capsys.readouterr().err
