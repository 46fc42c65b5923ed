"""The page's section of a plant file: where it listens, and who is asked to sign in."""

from pathlib import Path

import pytest

from agent.errors import PlantFileError
from agent.plant.load import parse_plant
from agent.plant.page_checks import is_loopback, split_listen
from agent.plant.plant import PageSettings
from agent.resources import shipped

EXAMPLE = shipped("plant.example.toml").read_text(encoding="utf-8")


def page(section: str) -> PageSettings | None:
    """Settings of the example with this section."""
    return parse_plant(f"{EXAMPLE}\n{section}", Path("/plants/north.toml")).page


def refused(section: str) -> str:
    """What a section is answered with."""
    with pytest.raises(PlantFileError) as caught:
        page(section)
    return str(caught.value)


def test_without_the_section_there_is_no_page():
    """An agent serves nothing unless the plant file asks for it."""
    assert page("") is None


def test_an_empty_section_listens_on_loopback():
    """Who writes `[page]` alone gets a page for this machine that asks nobody."""
    found = page("[page]")

    assert found is not None
    assert (found.host, found.port, found.users) == ("127.0.0.1", 8087, None)
    assert found.title == "north"


def test_beyond_loopback_users_are_needed():
    """A page that others on the network reach must ask who they are."""
    assert "expected users" in refused('[page]\nlisten = "0.0.0.0:8087"')

    found = page('[page]\nlisten = "0.0.0.0:8087"\nusers = "users.toml"')

    assert found is not None
    assert found.users == Path("/plants/users.toml")


@pytest.mark.parametrize("listen", ["8087", "127.0.0.1", "127.0.0.1:0", "127.0.0.1:x", ":8087"])
def test_an_address_has_a_host_and_a_port(listen: str):
    """What is no address is refused with an example of one."""
    assert "ADDRESS:PORT" in refused(f'[page]\nlisten = "{listen}"')


def test_a_certificate_needs_its_key():
    """One of the two files alone is a mistake."""
    assert "key_file" in refused('[page]\ncert_file = "page.crt"')
    assert "cert_file" in refused('[page]\nkey_file = "page.key"')


def test_an_unknown_key_is_refused():
    """A misspelt key does not pass in silence."""
    assert "unknown key" in refused('[page]\nlissen = "127.0.0.1:8087"')


def test_addresses_of_this_machine_are_told_from_others():
    """All of 127/8 and ::1 are this machine, a name that only sounds like it is not."""
    assert is_loopback("127.0.0.1")
    assert is_loopback("127.9.9.9")
    assert is_loopback("::1")
    assert is_loopback("localhost")
    assert not is_loopback("0.0.0.0")  # noqa: S104  that is the point
    assert not is_loopback("localhost.example")
    assert split_listen("[::1]:8087") == ("::1", 8087)
