"""What is let through: known hosts, this site's own forms, people who have signed in."""

import re
from pathlib import Path

import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from agent.page.gate import HEADERS
from agent.page.people import new_user, write_users
from tests.page.shop import SUMP, Shop, a_plant, token_of

PASSWORD = "correct horse battery"  # noqa: S105  invented


@pytest.fixture
def guarded(tmp_path: Path):
    """A page that asks who you are: ann may enter, lou may look, cho may change."""
    users = {
        name: new_user(name, role, PASSWORD)
        for name, role in (("ann", "enter"), ("lou", "look"), ("cho", "change"))
    }
    write_users(tmp_path / "users.toml", users)
    shop = Shop(tmp_path, a_plant(tmp_path, page='users = "users.toml"'))
    yield shop
    shop.close()


def signed_in(client: TestClient, name: str, password: str = PASSWORD):
    """Answer to a sign-in."""
    token = token_of(client.get("/sign-in").text)
    return client.post(
        "/sign-in",
        data={"token": token, "name": name, "password": password},
        follow_redirects=False,
    )


def posts(shop: Shop) -> list[str]:
    """Paths of all routes of people that change something; programs' have their own guard."""

    def walk(routes):
        for route in routes:
            if isinstance(route, APIRoute):
                yield route
            nested = getattr(getattr(route, "original_router", None), "routes", None)
            if nested is not None:
                yield from walk(nested)

    found = {r.path for r in walk(shop.app.routes) if "POST" in (r.methods or ())}
    assert len(found) >= 6
    return sorted(p.replace("{sump}", SUMP).replace("{kind}", "check") for p in found)


def test_every_answer_carries_the_guards(shop: Shop):
    """No script from elsewhere, no frame, no guessing of types: on pages, files and errors."""
    with shop.client() as client:
        for path in ("/", "/static/page.css", "/nowhere", f"/sumps/{SUMP}"):
            headers = client.get(path).headers
            for name, value in HEADERS.items():
                assert headers[name] == value, (path, name)
    assert "'unsafe" not in HEADERS["content-security-policy"]


def test_pages_hold_no_script_and_no_style_of_their_own(shop: Shop):
    """What the policy forbids is not tried: every script and style is a file of ours."""
    with shop.client() as client:
        for path in ("/", f"/sumps/{SUMP}", f"/sumps/{SUMP}/enter/check", "/alarms", "/wishes"):
            text = client.get(path).text
            assert re.findall(r"<script(?![^>]*src=)[^>]*>", text) == []
            assert re.findall(r"\s(?:style|on\w+)=", text) == [], path
            assert re.findall(r"<style", text) == []
            assert re.findall(r'(?:src|href)="(?!/|\?|#)[^"]*"', text) == [], path


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "10.0.0.1"])
def test_an_unknown_host_is_refused(shop: Shop, host: str):
    """A name that somebody else's server resolves to this machine does not reach the page."""
    with shop.client() as client:
        assert client.get("/", headers={"host": host}).status_code == 421


def test_hosts_of_the_plant_file_are_known(tmp_path: Path):
    """A page behind a name of the plant's own is reached by it."""
    shop = Shop(tmp_path, a_plant(tmp_path, page='hosts = ["sumps.plant.example"]'))
    with shop.client() as client:
        assert client.get("/", headers={"host": "Sumps.plant.example:8087"}).status_code == 200
    shop.close()


def test_no_form_is_taken_without_its_token(shop: Shop):
    """Every route that changes something refuses a form that another site could have sent."""
    with shop.client() as client:
        client.get("/")
        for path in posts(shop):
            for data in ({}, {"token": "0" * 64}):
                assert client.post(path, data=data).status_code == 403, path
    assert shop.sent == []


def test_a_token_is_good_for_one_browser_only(shop: Shop):
    """Somebody else's token does not help."""
    with shop.client() as one:
        token = token_of(one.get("/wishes").text)
    with shop.client() as other:
        other.get("/")
        assert other.post("/wishes", data={"token": token, "lang": "de"}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "https://evil.example"},
        {"origin": "null"},
    ],
)
def test_a_form_from_another_site_is_refused_even_with_a_token(shop: Shop, headers: dict[str, str]):
    """What the browser itself says about a request counts too."""
    with shop.client() as client:
        token = token_of(client.get("/wishes").text)
        answer = client.post("/wishes", data={"token": token}, headers=headers)
    assert answer.status_code == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(shop: Shop, method: str):
    """The page knows looking and sending forms."""
    with shop.client() as client:
        assert client.request(method, "/").status_code == 405


def test_a_large_or_endless_body_is_refused(shop: Shop):
    """Nobody fills the memory through a form."""
    with shop.client() as client:
        assert client.post("/wishes", content=b"x" * 200_001).status_code == 413
        parts = iter([b"token=", b"1"])
        assert client.post("/wishes", content=parts).status_code == 413


class TestSignIn:
    """A page that asks who you are."""

    def test_strangers_see_the_door_only(self, guarded: Shop):
        """Every page leads to the sign-in, every program is told to sign in."""
        with guarded.client() as client:
            for path in ("/", f"/sumps/{SUMP}", "/alarms", "/live", f"/sumps/{SUMP}/enter/check"):
                page = client.get(path, headers={"accept": "text/html"}, follow_redirects=False)
                assert page.status_code == 303
                assert page.headers["location"].startswith("/sign-in?next=%2F")
                assert client.get(path, headers={"accept": "*/*"}).status_code == 401
            assert client.get("/static/page.css").status_code == 200
            assert SUMP not in client.get("/sign-in").text

    def test_strangers_change_nothing(self, guarded: Shop):
        """With a good token, but without a sign-in, no form is taken."""
        with guarded.client() as client:
            token = token_of(client.get("/sign-in").text)
            for path in posts(guarded):
                if path not in {"/sign-in", "/wishes"}:
                    assert client.post(path, data={"token": token}).status_code == 401, path
        assert guarded.sent == []

    def test_name_and_password_open_it(self, guarded: Shop):
        """Signed in, the page goes on to where one wanted to go."""
        with guarded.client() as client:
            token = token_of(client.get("/sign-in?next=/alarms").text)
            data = {"token": token, "name": "ann", "password": PASSWORD, "next": "/alarms"}
            answer = client.post("/sign-in", data=data, follow_redirects=False)
            assert answer.headers["location"] == "/alarms"
            assert client.get("/alarms").status_code == 200

    @pytest.mark.parametrize("goal", ["https://evil.example", "//evil.example", "/\\evil.example"])
    def test_it_leads_nowhere_else(self, guarded: Shop, goal: str):
        """The address to go on to is of this page, or it is the overview."""
        with guarded.client() as client:
            token = token_of(client.get("/sign-in", params={"next": goal}).text)
            data = {"token": token, "name": "ann", "password": PASSWORD, "next": goal}
            answer = client.post("/sign-in", data=data, follow_redirects=False)
        assert answer.headers["location"] == "/"

    def test_the_browser_gets_another_token(self, guarded: Shop):
        """A token that somebody planted before the sign-in is worth nothing after it."""
        with guarded.client() as client:
            client.cookies.set("millpond", "planted", domain="127.0.0.1")
            answer = signed_in(client, "ann")
            cookie = answer.headers["set-cookie"]
        assert "planted" not in cookie
        assert "HttpOnly" in cookie
        assert "samesite=lax" in cookie.lower()
        with guarded.client() as other:
            other.cookies.set("millpond", "planted", domain="127.0.0.1")
            assert other.get("/", follow_redirects=False).status_code in {303, 401}

    def test_a_wrong_password_and_an_unknown_name_are_told_alike(self, guarded: Shop):
        """Nobody learns which names there are."""
        with guarded.client() as client:
            wrong = signed_in(client, "ann", "wrong horse battery")
            unknown = signed_in(client, "bob", "wrong horse battery")
        assert wrong.status_code == unknown.status_code == 403
        assert "Name or password is wrong." in wrong.text
        assert "Name or password is wrong." in unknown.text

    def test_wrong_tries_have_to_wait(self, guarded: Shop):
        """After five wrong ones even the right password waits; later it is taken."""
        with guarded.client() as client:
            for _ in range(5):
                assert signed_in(client, "ann", "wrong").status_code == 403
            assert signed_in(client, "ann").status_code == 429
            guarded.wall.set(guarded.wall.now() + 31_000)
            assert signed_in(client, "ann").status_code == 303

    def test_a_session_ends_when_nobody_uses_it(self, guarded: Shop):
        """Twelve hours without a click, and the page asks again."""
        with guarded.client() as client:
            signed_in(client, "ann")
            guarded.wall.set(guarded.wall.now() + 12 * 3_600_000)
            assert client.get("/").status_code == 200
            guarded.wall.set(guarded.wall.now() + 12 * 3_600_000 + 1)
            assert client.get("/", follow_redirects=False).status_code in {303, 401}

    def test_signing_out_ends_the_session(self, guarded: Shop):
        """The old token is worth nothing afterwards, whoever kept it."""
        with guarded.client() as client:
            signed_in(client, "ann")
            kept = client.cookies["millpond"]
            token = token_of(client.get("/wishes").text)
            client.post("/sign-out", data={"token": token})
            client.cookies.clear()
            client.cookies.set("millpond", kept, domain="127.0.0.1")
            assert client.get("/", follow_redirects=False).status_code in {303, 401}

    def test_who_is_taken_out_of_the_file_is_out(self, guarded: Shop):
        """A removed user's session ends with the next click, a changed role counts at once."""
        users = guarded.plant.page.users
        with guarded.client() as client:
            signed_in(client, "ann")
            assert client.get(f"/sumps/{SUMP}/enter/check").status_code == 200
            write_users(users, {"ann": new_user("ann", "look", PASSWORD)})
            assert client.get(f"/sumps/{SUMP}/enter/check").status_code == 403
            write_users(users, {})
            assert client.get("/", follow_redirects=False).status_code in {303, 401}

    def test_looking_is_not_entering(self, guarded: Shop):
        """Who may look gets no form and no tick; whatever is sent all the same is refused."""
        with guarded.client() as client:
            signed_in(client, "lou")
            page = client.get(f"/sumps/{SUMP}").text
            assert "/enter/" not in page
            token = token_of(client.get("/wishes").text)
            for path in posts(guarded):
                if path not in {"/sign-in", "/sign-out", "/wishes"}:
                    assert client.post(path, data={"token": token}).status_code == 403, path
        assert guarded.sent == []

    def test_a_lost_file_of_users_lets_nobody_in(self, guarded: Shop):
        """Without the file the page stays shut, and does not fall over."""
        guarded.plant.page.users.unlink()
        with guarded.client() as client:
            assert signed_in(client, "ann").status_code == 403
