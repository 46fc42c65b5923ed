"""What is fuzzed: each takes any bytes and promises that they count or are refused, with words.

`python -m tests.fuzz` lets atheris look for bytes that break a promise; `test_targets.py` tries
some with Hypothesis in every run of the tests. Only what is needed to run a target is imported, so
that the fuzzer sees the program and little else.
"""

import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path

from advisor.plan import SignalPlan
from advisor.words import Signal
from agent.arrival import Arrival
from agent.decode.decoder import Decoder
from agent.decode.results import Decoded, Refusal, Sample
from agent.errors import PlantFileError
from agent.plant.load import parse_plant
from agent.plant.plant import Sparkplug
from agent.recording import parse_line
from agent.refusals import EXCERPT_CHARACTERS
from agent.resources import shipped
from tests.bindings import NOW, PREFIX, a_plant, bound
from tests.edge_nodes import BOOLEAN, EdgeNode, Metric

Target = Callable[[bytes], None]

ABOUT = f"{PREFIX}/mill-07/"
NODE = "spBv1.0/works/{}/gateway"
DEVICE = NODE + "/mill-07"


def _node_place(metric: str) -> Sparkplug:
    return Sparkplug(group="works", edge="gateway", device="mill-07", metric=metric)


PLANT = a_plant(
    bound(Signal.LEVEL, "bare", unit="mm"),
    bound(Signal.RUNNING, "switch", true_values=frozenset({"on", "1"})),
    bound(Signal.CUTTING, "counter"),
    bound(Signal.BRIX, "json", value_pointer="/data/v", time_pointer="/data/ts"),
    bound(Signal.TEMPERATURE, "json", value_pointer="/t", unit_pointer="/u", unit="degC"),
    bound(Signal.PH, "senml", name="ph"),
    bound(Signal.CONDUCTIVITY, "senml", name="mill-07:conductivity"),
    bound(Signal.WATER_METER, None, sparkplug=_node_place("Water"), unit="L"),
    bound(Signal.CONCENTRATE_METER, None, sparkplug=_node_place("Tank/Concentrate"), unit="L"),
    plans=(SignalPlan(signal=Signal.CUTTING, counter=True),),
)
_DECODER = Decoder(PLANT)

GOOD: dict[str, str] = {
    "bare": "412.5",
    "switch": "on",
    "counter": "1234",
    "json": '{"data": {"v": 7.9, "ts": "2026-03-02T06:00:00Z"}, "t": 77, "u": "degF"}',
    "senml": '[{"bn": "mill-07:", "bt": 1772431200, "n": "ph", "u": "pH", "v": 9.1},'
    ' {"n": "conductivity", "u": "S/m", "v": 0.21}]',
    ABOUT + "check": '{"kind": "ph", "value": 9.1}',
    ABOUT + "addition": '{"water_l": 18.0, "concentrate_l": 1.5, "at": "2026-03-02T06:00:00Z"}',
    ABOUT + "drain": '{"all": true}',
    ABOUT + "charge": '{"stage": "begun"}',
    ABOUT + "service": '{"kind": "skimmed", "by": "ann"}',
    ABOUT + "accepted": '{"setpoint": "p", "accepted": true}',
    ABOUT
    + "delivered": '{"setpoint": "p", "water_l": 9.0, "concentrate_l": 1.0, "finished": true}',
    ABOUT + "alarm-command": '{"alarm": "stagnant", "command": "acknowledge"}',
    f"{PREFIX}/supply/drum-1/stock": '{"volume_l": 120.0, "expires": "2027-01-01T00:00:00Z"}',
    f"{PREFIX}/supply/drum-1/alarm-command": '{"alarm": "expired", "command": "acknowledge"}',
    f"{PREFIX}/alarm-command": '{"alarm": "feed-lost", "command": "shelve", "id": "o-1"}',
}
"""A message of each form; Sparkplug's are bytes, see `_births`."""

TOPICS = (*GOOD, f"{PREFIX}/mill-99/check", ABOUT + "state", "elsewhere")
SPARKPLUG_TOPICS = tuple(
    place.format(kind)
    for place, kinds in (
        (NODE, ("NBIRTH", "NDATA", "NDEATH")),
        (DEVICE, ("DBIRTH", "DDATA", "DDEATH")),
    )
    for kind in kinds
)


def message(octets: bytes) -> None:
    """Read a message: the first byte picks the topic, the rest is the payload."""
    if octets:
        topic = TOPICS[octets[0] % len(TOPICS)]
        check(topic, octets[1:], _DECODER.decode(Arrival(NOW, topic, octets[1:])))


def sparkplug(octets: bytes) -> None:
    """Read two of a node's messages one after the other, since a birth changes what is known."""
    half = 1 + octets[0] if octets else 0
    for part in (octets[1:half], octets[half:]):
        if part:
            topic = SPARKPLUG_TOPICS[part[0] % len(SPARKPLUG_TOPICS)]
            check(topic, part[1:], _DECODER.decode(Arrival(NOW, topic, part[1:])))


def plant_file(octets: bytes) -> None:
    """Read a plant file: a plant, or problems that people can read."""
    lines = None
    try:
        parse_plant(octets.decode("utf-8", "replace"), Path("north.toml"))
    except PlantFileError as error:
        lines = error.lines()
    assert lines is None or lines
    for line in lines or ():
        assert line.isprintable(), line
        assert len(line) < LONGEST_LINE, line


def recording(octets: bytes) -> None:
    """Read a line of a recording: an item, or a `ValueError` that says what was expected."""
    said = "an item"
    try:
        parse_line(octets)
    except ValueError as error:
        said = str(error)
    assert said


LONGEST_LINE = 2_000
LONGEST_DETAIL = 1_500


def check(topic: str, payload: bytes, pieces: Sequence[Decoded]) -> None:
    """Everything that holds of a decoded message, whatever is in it."""
    assert pieces or topic.startswith("spBv1.0/"), payload
    for piece in pieces:
        if isinstance(piece, Refusal):
            assert piece.topic == topic
            assert 0 < len(piece.detail) < LONGEST_DETAIL
            assert len(piece.excerpt) <= EXCERPT_CHARACTERS
            assert piece.excerpt.isprintable()
            assert "\n" not in piece.detail
            (piece.detail + piece.excerpt).encode("utf-8")
        elif isinstance(piece, Sample):
            assert piece.value - piece.value == 0.0
            assert piece.signal in {b.signal for b in PLANT.bindings}


TARGETS: dict[str, Target] = {
    "message": message,
    "sparkplug": sparkplug,
    "plant-file": plant_file,
    "recording": recording,
}


# --- what the fuzzer begins with -----------------------------------------------------------------


def seeds(target: str) -> list[bytes]:
    """Good input of a target."""
    match target:
        case "message":
            return [bytes([TOPICS.index(topic)]) + body.encode() for topic, body in GOOD.items()]
        case "sparkplug":
            return _births()
        case "plant-file":
            whole = shipped("plant.example.toml").read_text("utf-8")
            return [whole.encode(), *_sections(whole)]
        case _:
            return [
                b'{"at": "2026-03-02T06:00:00Z"}',
                b'{"at": "2026-03-02T06:00:00.5Z", "topic": "t", "payload": "1", "retain": true}',
                b'{"at": "2026-03-02T06:00:00Z", "topic": "t", "payload_base64": "/w=="}',
            ]


def _births() -> list[bytes]:
    """A node's birth, data by alias and death, each alone and each behind a birth."""
    sent: list[tuple[str, bytes]] = []
    metrics = (Metric("Water", 12.5, alias=7, unit="L"), Metric("Pump", True, BOOLEAN, alias=8))
    node = EdgeNode(lambda topic, body: sent.append((topic, body)), lambda: NOW, metrics)
    node.will()
    node.be_born()
    node.send("DDATA", [Metric("", 13.5, alias=7)], by_alias=True)
    parts = [
        bytes([SPARKPLUG_TOPICS.index(topic)]) + body
        for topic, body in sent
        if topic in SPARKPLUG_TOPICS
    ]
    alone = [b"\x00" + part for part in parts]
    pairs = [bytes([len(a)]) + a + b for a in parts for b in parts if len(a) < 256]
    return alone + pairs


def _sections(whole: str) -> list[bytes]:
    """Each table of a plant file as a file of its own, as far as it is TOML."""
    found = []
    for piece in whole.split("\n[")[1:]:
        text = f"[{piece}"
        try:
            tomllib.loads(text)
        except tomllib.TOMLDecodeError:
            continue
        found.append(text.encode())
    return found
