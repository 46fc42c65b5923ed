"""Hostile names and payloads: whatever the plant file or the network says is text, never markup."""

import json
import re
from html.parser import HTMLParser

import pytest

from advisor.effects import PublishAdvice, PublishAlarm, PublishEvent, PublishState
from advisor.words import Estimate, Service, SumpEvent
from agent.store.batch import Batch, StoredEntry
from tests.page.shop import (
    NOW,
    SUMP,
    Shop,
    a_plant,
    a_state,
    an_addition,
    an_advice,
    an_alarm,
    words_of,
)

EVIL = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    "</title><svg/onload=alert(1)>",
    "{{ 7*7 }}{% raw %}",
    "javascript:alert(1)",
    "&lt;b&gt;",
    "\u202e\u2066dlroW",
    "{name} {0.__class__}",
]


class Tags(HTMLParser):
    """Collects tags and attributes of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.append((tag, dict(attrs)))


def assert_harmless(page: str) -> None:
    """No script but our own files, no handler, no address but our own."""
    tags = Tags()
    tags.feed(page)
    for tag, attributes in tags.tags:
        assert tag not in {"img", "iframe", "object", "embed", "base"}, tag
        if tag == "script":
            assert str(attributes.get("src")).startswith("/static/")
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            if name in {"href", "src", "action", "formaction"}:
                assert value is not None
                assert value.startswith(("/", "#", "?")), (tag, name, value)
                assert not value.startswith("//")


PAGES = ("/", "/round", f"/sumps/{SUMP}", "/alarms", f"/sumps/{SUMP}/enter/check", "/wishes")


@pytest.mark.parametrize("evil", EVIL)
def test_whatever_a_sump_is_called_it_is_only_called_so(tmp_path, evil: str):
    """Names of the plant file are shown as they are written, on every page."""
    shop = Shop(tmp_path, a_plant(tmp_path, names=json.dumps(evil, ensure_ascii=False)))
    shop.tell(PublishState(a_state(shop.plant)), PublishAdvice(an_advice()))
    with shop.client() as client:
        for path in PAGES:
            answer = client.get(path)
            assert answer.status_code == 200
            assert_harmless(answer.text)
            assert "49" not in re.sub(r"[0-9a-f]{64}", "", answer.text) or "{{ 7*7 }}" not in evil
    shop.close()


@pytest.mark.parametrize("evil", EVIL)
def test_whatever_the_network_says_is_text(shop: Shop, evil: str):
    """Reasons, cautions, alarms, notes, names of people, ids of entries."""
    event = SumpEvent(
        id=evil, at=NOW, kind="addition", source="report", volume=Estimate(5.0, 1.0), strength=None
    )
    shop.tell(
        PublishState(a_state(shop.plant)),
        PublishAdvice(an_advice(id=evil, why=(evil,), cautions=(evil,))),
        PublishAlarm(an_alarm(cause=evil, consequence=evil, action=evil, by=evil, because_of=evil)),
        PublishEvent(event),
    )
    entries = [
        an_addition(evil, by=evil),
        Service(at=NOW, id="s", kind="other", note=evil, by=evil),
    ]
    shop.commit(Batch(entries=[StoredEntry(SUMP, entry, NOW) for entry in entries]))
    with shop.client() as client:
        for path in PAGES:
            answer = client.get(path)
            assert answer.status_code == 200, path
            assert_harmless(answer.text)
        assert " ".join(evil.split()) in words_of(client.get(PAGES[2]).text)


@pytest.mark.parametrize("evil", EVIL)
def test_whatever_is_sent_to_the_page_is_text(shop: Shop, evil: str):
    """Search, addresses, cookies, fields of forms."""
    with shop.client() as client:
        client.cookies.set("millpond-wishes", f"by={evil.encode().hex()}&lang=xx&units=%3Cb%3E")
        for path, parameters in (
            ("/", {"q": evil, "show": evil}),
            (f"/sumps/{SUMP}", {"span": evil, "until": evil, "said": evil}),
            ("/wishes", {"next": evil}),
            (f"/sumps/{SUMP}/enter/check", {"corrects": ""}),
        ):
            answer = client.get(path, params=parameters)
            assert answer.status_code == 200, path
            assert_harmless(answer.text)
        assert client.get(f"/sumps/{SUMP}/enter/{evil}").status_code in {404, 400}
        assert_harmless(client.get(f"/sumps/{evil}").text)


def test_a_live_page_gets_text_too(shop: Shop):
    """What the stream of events brings is escaped like the page itself."""
    from agent.page.routes.plant import _parts

    visitor_page = "/"
    with shop.client() as client:
        client.get(visitor_page)
    shop.tell(PublishAlarm(an_alarm(cause=EVIL[0])), PublishAdvice(an_advice(why=(EVIL[1],))))
    from starlette.requests import Request

    visitor = shop.office.visitor(Request({"type": "http", "headers": []}))
    for what in ("rows", "alarms", f"/{SUMP}"):
        told = _parts(shop.office, visitor, [SUMP], what)
        parts = told["parts"]
        assert parts
        for text in parts.values():  # type: ignore[attr-defined]  # a mapping
            assert_harmless(text)
