"""Binding signals: payloads taken apart, tried by the decoder, heard off a real broker."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from advisor.words import Signal
from agent.arrival import Arrival
from agent.decode.json_payload import Pointer, parse
from agent.embedded import embedded_broker
from agent.page.setup.ear import PAYLOAD_KEPT, TOPICS_MAX, Ear, filter_problem
from agent.page.setup.payloads import LEAVES_MAX, take_apart
from agent.page.setup.trying import try_out
from agent.page.visitor import speech_for
from agent.plant.load import load_plant
from tests.page.setting_up import SetupShop, fields_of, publisher, write_plant
from tests.page.shop import NOW, SUMP, words_of
from tests.page.test_hostile import EVIL, assert_harmless
from tests.page.test_setup import change
from tests.waiting import wait_until

SIGNALS = f"/setup/sumps/{SUMP}/signals"
SAY = speech_for("en", "metric", "UTC")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[SetupShop]:
    """The example's plant, its file beside it."""
    shop = SetupShop(tmp_path)
    yield shop
    shop.close()


# --- payloads ------------------------------------------------------------------------------------


def test_every_value_of_a_document_can_be_pointed_at():
    """RFC 6901, section 5: the example document and its pointers."""
    document = {
        "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5,
        'k"l': 6, " ": 7, "m~n": 8,
    }  # fmt: skip
    payload = json.dumps(document).encode()
    pieces = take_apart(payload, len(payload), NOW).pieces
    found = {piece.pointer for piece in pieces if piece.is_value}
    assert found == {
        "/foo/0", "/foo/1", "/", "/a~1b", "/c%d", "/e^f", "/g|h", "/i\\j", '/k"l', "/ ", "/m~0n",
    }  # fmt: skip


values = st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | st.text()
documents = st.recursive(
    values, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=20
)


@given(document=documents)
def test_a_pointer_leads_to_the_value_that_was_shown(document: object):
    """Whatever the document, each piece's pointer finds what it stands for."""
    payload = json.dumps(document).encode()
    found = take_apart(payload, len(payload), NOW)
    if found.form != "json":
        return
    for piece in found.pieces:
        if piece.is_number:
            value = Pointer(piece.pointer or "").find(parse(payload))
            assert isinstance(value, float)
            assert piece.shown == f"{value:.12g}"


@given(payload=st.binary(max_size=300))
def test_any_bytes_are_shown_as_printable_text(payload: bytes):
    """Nothing that does not print, nothing without bounds."""
    found = take_apart(payload, len(payload), NOW)
    assert found.text.isprintable()
    assert len(found.text) <= 120
    for piece in found.pieces:
        assert piece.key.isprintable()
        assert piece.shown.isprintable()
        assert len(piece.shown) <= 80


def test_senml_records_are_told_by_name():
    """Base name, time and unit applied (RFC 8428); a click takes the full name."""
    first = {"bn": "mill-07:", "bt": 1772431200, "n": "level", "u": "m", "v": 0.4}
    pack = json.dumps([first, {"n": "t", "u": "Cel", "v": 22.5}]).encode()
    found = take_apart(pack, len(pack), NOW)
    assert [(p.name, p.shown) for p in found.pieces] == [
        ("mill-07:level", "0.4 m"),
        ("mill-07:t", "22.5 Cel"),
    ]


def test_a_document_without_end_is_cut():
    """A thousand members, a hundred levels: bounded, and it says so."""
    wide = json.dumps({str(n): n for n in range(1000)}).encode()
    deep = (b'{"a":' * 100) + b"1" + b"}" * 100
    for payload in (wide, deep):
        found = take_apart(payload, len(payload), NOW)
        assert found.is_cut
        assert len(found.pieces) <= LEAVES_MAX


# --- trying --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("signal", "topic", "payload", "said", "meaning"),
    [
        # the example's box: 1.5 m x 0.7 m, so a millimetre is 1.05 L; factor 1.25
        (Signal.LEVEL, "level", b"300", "300 mm", "300 mm of fluid, 315 L"),
        (Signal.BRIX, "brix", b"6.4", "6.4 °Brix", "a concentration of 8 %"),
        (Signal.RUNNING, "pumps", b"ON", "on", ""),
        (Signal.WATER_METER, "water", b"120.5", "120 L", ""),
        (Signal.LEVEL, "level", b"440", "440 mm", "440 mm of fluid, 462 L"),
    ],
)
def test_a_payload_gives_the_reading_that_the_agent_takes(
    tmp_path: Path, signal: Signal, topic: str, payload: bytes, said: str, meaning: str
):
    """And what that is in the sump."""
    plant = load_plant(write_plant(tmp_path))
    arrival = Arrival(NOW, f"north/mill-07/{topic}", payload)
    reading = try_out(plant, SUMP, signal, arrival, SAY)
    assert reading.is_reading
    assert reading.said.replace("\u202f", " ") == said
    assert meaning in reading.meaning.replace("\u202f", " ")
    assert (reading.doubt == "setup.try.over_brim") is (payload == b"440")


@pytest.mark.parametrize("payload", [b"7,9", b"", b"{}", b"\xff", b"nan", b"12 mm"])
def test_what_gives_no_reading_says_why(tmp_path: Path, payload: bytes):
    """In the decoder's own words."""
    plant = load_plant(write_plant(tmp_path))
    reading = try_out(plant, SUMP, Signal.LEVEL, Arrival(NOW, "north/mill-07/level", payload), SAY)
    assert not reading.is_reading
    assert "expected" in reading.said


@pytest.mark.parametrize("payload", [b"4120", b"-3"])
def test_a_level_outside_the_tank_is_doubted(tmp_path: Path, payload: bytes):
    """A unit that was mistaken is seen at once."""
    plant = load_plant(write_plant(tmp_path))
    reading = try_out(plant, SUMP, Signal.LEVEL, Arrival(NOW, "north/mill-07/level", payload), SAY)
    assert reading.doubt == "setup.try.outside"


# --- from the payload to the file ----------------------------------------------------------------


def follow(client: TestClient, page: str, shown: str) -> str:
    """Click the value that is shown so; address of the page that it leads to."""
    import html
    import re

    [link] = re.findall(rf'<a class="value[^"]*" href="([^"]*)">{re.escape(shown)}<', page)
    answer = client.get(html.unescape(link))
    return str(answer.url)


def test_clicking_a_value_binds_it(shop: SetupShop):
    """Topic, value, reading, review, file: with the pointer of RFC 6901, and the comments kept."""
    payload = b'{"tank/7":{"ph":9.1,"at":"2026-03-02T05:59:00Z"}}'
    shop.hear({"hall/all": payload})
    with shop.client() as client:
        page = client.get(f"/setup/topic?topic=hall/all&sump={SUMP}&signal=ph").text
        address = follow(client, page, "9.1")
        form = fields_of(client.get(address).text)
        assert (form["topic"], form["value_pointer"]) == ("hall/all", "/tank~17/ph")
        assert "9.1" in words_of(client.get(address).text)
        status, _ = change(
            client, f"{SIGNALS}/ph", topic="hall/all", value_pointer="/tank~17/ph",
            time_pointer="/tank~17/at",
        )  # fmt: skip
        assert status == 303
        [binding] = [b for b in load_plant(shop.path).bindings if b.signal is Signal.PH]
        assert (binding.topic, binding.value_pointer) == ("hall/all", "/tank~17/ph")
        assert "# totaliser" in shop.path.read_text("utf-8")
        assert shop.asked == 1


def test_a_value_finds_its_sump_and_signal(shop: SetupShop):
    """Where nothing was said before, the page asks which signal it is."""
    shop.hear({"hall/x": b"312.5"})
    with shop.client() as client:
        page = client.get("/setup/topic?topic=hall/x").text
        address = follow(client, page, "312.5")
        form = fields_of(client.get(address).text)
        answer = client.get("/setup/bind", params={**form, "sump": SUMP, "signal": "level"})
        assert str(answer.url).endswith(f"{SIGNALS}/level?topic=hall%2Fx")
        assert "312" in words_of(answer.text)


def test_the_reading_follows_what_is_typed(shop: SetupShop):
    """The same payload in another unit, as another kind: tried before anything is written."""
    shop.hear({"north/mill-07/level": b"40"})
    with shop.client() as client:
        path = f"{SIGNALS}/level"
        form = fields_of(client.get(path).text)
        before = shop.path.read_text("utf-8")
        for fields, said in (
            ({"unit": "cm"}, "400 mm of fluid, 420 L"),
            ({"unit": "%", "kind": "percent"}, "L in the sump"),
            ({"unit": "cm", "kind": "air-gap", "mount": "600"}, "200 mm of fluid, 210 L"),
            ({"unit": "dm", "sd": ""}, "outside the tank"),
            ({"unit": "degC"}, "No reading comes of it"),
        ):
            answer = client.post(path, data={**form, **fields, "action": "try"})
            assert said in words_of(answer.text), fields
        assert shop.path.read_text("utf-8") == before


def test_a_signal_is_unbound(shop: SetupShop):
    """Looked at first; then gone from the file, with nothing else."""
    with shop.client() as client:
        path = f"{SIGNALS}/water_meter"
        form = fields_of(client.get(path).text)
        shown = client.post(path, data={**form, "action": "remove"})
        assert "Unbinds the water meter" in words_of(shown.text)
        again = fields_of(shown.text)
        answer = client.post(path, data={**again, "action": "apply"}, follow_redirects=False)
        assert answer.status_code == 303
        assert Signal.WATER_METER not in load_plant(shop.path).sumps[SUMP].signals


@pytest.mark.parametrize(
    ("fields", "beside"),
    [
        ({"topic": ""}, "topic"),
        ({"topic": "hall/#"}, "topic"),
        ({"unit": "degC"}, "unit"),
        ({"value_pointer": "data"}, "value_pointer"),
        ({"sd": "-1"}, "sd"),
    ],
)
def test_what_is_wrong_with_a_binding_stands_beside_it(
    shop: SetupShop, fields: dict[str, str], beside: str
):
    """Nothing is written."""
    with shop.client() as client:
        status, page = change(client, f"{SIGNALS}/level", **fields)
        assert status == 422
        assert f'id="e-{beside}"' in page
        assert shop.asked == 0


@pytest.mark.parametrize("evil", EVIL)
def test_hostile_topics_and_payloads_are_text(shop: SetupShop, evil: str):
    """In the list, in the document, in its keys, in the form, in what the decoder says."""
    document = json.dumps({evil: {"v": evil, "n": 7.9}}).encode()
    pack = json.dumps([{"bn": "a", "n": "b", "u": evil, "v": 1.0}]).encode()
    shop.hear({evil: document, f"{evil}/2": evil.encode(), f"{evil}/3": pack})
    with shop.client() as client:
        pages = [client.get("/setup/listen").text, client.get("/setup/heard").text]
        for topic in (evil, f"{evil}/2", f"{evil}/3"):
            pages.append(client.get("/setup/topic", params={"topic": topic}).text)
            picked = {"topic": topic, "value_pointer": f"/{evil}", "record": evil}
            pages.append(client.get("/setup/bind", params=picked).text)
            answer = client.get(f"{SIGNALS}/level", params=picked)
            assert answer.status_code == 200
            pages.append(answer.text)
        for page in pages:
            assert_harmless(page)


# --- the ear -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "good"),
    [
        ("#", True), ("hall/#", True), ("+/level", True), ("hall/+/x", True), ("hall", True),
        ("", False), ("hall/#/x", False), ("hall#", False), ("ha+ll", False), ("a\0b", False),
        ("x" * 301, False),
    ],
)  # fmt: skip
def test_a_topic_filter_is_one_or_is_refused(text: str, good: bool):
    """MQTT 5.0, section 4.7.1: where the wildcards may stand."""
    assert (filter_problem(text) is None) is good


def test_what_is_kept_is_bounded(shop: SetupShop):
    """Topics and lengths; what is left out is counted."""
    ear = Ear(shop.plant)
    for number in range(TOPICS_MAX + 50):
        ear._keep(f"t/{number}", b"1")
    ear._keep("t/0", b"x" * (PAYLOAD_KEPT + 1))
    heard = ear.look()
    assert len(heard) == TOPICS_MAX
    assert ear.passed_over == 50
    [long] = [each for each in heard if each.topic == "t/0"]
    assert (long.payload, long.size, long.count) == (b"", PAYLOAD_KEPT + 1, 2)


@pytest.mark.broker
def test_it_hears_a_real_broker_and_only_what_was_asked_for(tmp_path: Path):
    """From the page: listen, see the topic, stop."""
    with embedded_broker(tmp_path) as port:
        shop = SetupShop(tmp_path, write_plant(tmp_path, broker=port))
        with shop.client() as client, publisher(port) as sensors:
            form = fields_of(client.get("/setup/listen").text)
            assert form["filter"] == "north/#"
            client.post("/setup/listen", data={**form, "filter": "north/+/level"})

            def told() -> str:
                sensors.publish("north/mill-07/level", b"312.5")
                sensors.publish("north/mill-07/brix", b"6.4")
                return client.get("/setup/heard").text

            wait_until(lambda: "north/mill-07/level" in told(), "the level to be heard", 20)
            assert "brix" not in told()
            assert shop.desk.ear.is_open
            client.post("/setup/listen", data={**form, "action": "stop"})
            assert not shop.desk.ear.is_open
            assert "north/mill-07/level" in client.get("/setup/heard").text
        shop.close()


@pytest.mark.broker
def test_it_stops_when_nobody_looks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """An ear that was forgotten costs nothing for long."""
    monkeypatch.setattr("agent.page.setup.ear.UNATTENDED_S", 0.2)
    with embedded_broker(tmp_path) as port:
        ear = Ear(load_plant(write_plant(tmp_path, broker=port)))
        ear.listen("north/#")
        wait_until(lambda: not ear.is_open, "the ear to close", 20)
