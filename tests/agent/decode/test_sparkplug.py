"""Sparkplug B by the specification's rules, with a node whose bytes are made by the tests alone."""

import pytest

from advisor.plan import SignalPlan
from advisor.words import Signal
from agent.arrival import Arrival
from agent.decode.decoder import Decoder
from agent.decode.results import Decoded, NodeCommand, Reason, Refusal, Sample, Silence
from agent.decode.sparkplug import ASK_EVERY
from agent.decode.sparkplug_payload import payload_class
from agent.plant.plant import Sparkplug
from tests.bindings import NOW, a_plant, bound
from tests.edge_nodes import BOOLEAN, FLOAT, INT16, EdgeNode, Metric, payload

LEVEL = Metric("Tank/Level", 380.5, alias=7)
RUNNING = Metric("Pump", True, BOOLEAN, alias=8)


class Line:
    """A decoder, and a node that speaks to it directly."""

    def __init__(self, *metrics: Metric) -> None:
        def place(metric: str) -> Sparkplug:
            return Sparkplug(group="works", edge="gateway", device="mill-07", metric=metric)

        plant = a_plant(
            bound(Signal.LEVEL, None, sparkplug=place("Tank/Level"), unit="mm"),
            bound(Signal.RUNNING, None, sparkplug=place("Pump")),
            plans=(SignalPlan(signal=Signal.LEVEL),),
        )
        self.decoder = Decoder(plant)
        self.now = NOW
        self.got: list[Decoded] = []
        self.node = EdgeNode(self._receive, lambda: self.now, metrics or (LEVEL, RUNNING))
        self.node.will()

    def _receive(self, topic: str, body: bytes) -> None:
        self.got += self.decoder.decode(Arrival(self.now, topic, body))

    def take(self) -> list[Decoded]:
        """What was decoded since."""
        got, self.got = self.got, []
        return got

    def born(self) -> "Line":
        """The same after its birth."""
        self.node.be_born()
        self.take()
        return self

    def asks(self) -> int:
        """How often the node was asked to be born again since."""
        commands = [p.outgoing for p in self.take() if isinstance(p, NodeCommand) and p.outgoing]
        assert all(c.topic == "spBv1.0/works/NCMD/gateway" and c.qos == 0 for c in commands)
        return len(commands)


def values(got: list[Decoded]) -> list[tuple[Signal, float, int | None]]:
    """Signals, values and times of the samples."""
    return [(p.signal, p.value, p.at) for p in got if isinstance(p, Sample)]


def test_the_topics_are_those_of_births_data_and_deaths() -> None:
    """Of the node and of its devices, and no commands."""
    filters = [f for f in Line().decoder.filters if f.startswith("spBv1.0/")]

    assert sorted(filters) == [
        "spBv1.0/works/DBIRTH/gateway/+",
        "spBv1.0/works/DDATA/gateway/+",
        "spBv1.0/works/DDEATH/gateway/+",
        "spBv1.0/works/NBIRTH/gateway",
        "spBv1.0/works/NDATA/gateway",
        "spBv1.0/works/NDEATH/gateway",
    ]


def test_a_birth_gives_values_names_and_aliases() -> None:
    """Its values count; data then comes by alias alone, at its own time or its payload's."""
    line = Line()
    line.node.be_born()
    assert values(line.take()) == [(Signal.LEVEL, 380.5, NOW), (Signal.RUNNING, 1.0, NOW)]
    line.now += 1000
    line.node.send("DDATA", [Metric("", 379.5, alias=7)], by_alias=True)
    line.node.send("DDATA", [Metric("", 378.5, alias=7, at=NOW + 5)], by_alias=True)

    assert values(line.take()) == [
        (Signal.LEVEL, 379.5, NOW + 1000),
        (Signal.LEVEL, 378.5, NOW + 5),
    ]


def test_a_unit_of_the_birth_goes_before_the_bound_one() -> None:
    """Metres, and data that does not repeat it."""
    line = Line(Metric("Tank/Level", 0.3805, alias=7, unit="m")).born()
    line.node.send("DDATA", [Metric("", 0.379, alias=7)], by_alias=True)

    assert values(line.take())[0][1] == pytest.approx(379.0)


def test_integers_are_signed_by_their_data_type() -> None:
    """Int16 stands in an unsigned field as two's complement (6.4.16)."""
    line = Line(Metric("Tank/Level", -12, INT16, alias=7))
    line.node.be_born()

    assert values(line.take())[0][1] == -12.0


@pytest.mark.parametrize(
    ("metric", "said"),
    [
        (Metric("Tank/Level", 0.0, null=True), "the metric is null"),
        (Metric("Tank/Level", 1.0, quality=0), "Quality is 0, bad"),
        (Metric("Tank/Level", 1.0, quality=500), "Quality is 500, stale"),
        (Metric("Tank/Level", float("nan"), FLOAT), "the value is nan"),
        (Metric("Tank/Level", 9e9), "expected -500 to 8000 mm"),
    ],
)
def test_what_is_no_value_is_refused(metric: Metric, said: str) -> None:
    """With the metric's name and why."""
    line = Line().born()
    line.node.send("DDATA", [metric])
    [refusal] = line.take()

    assert isinstance(refusal, Refusal)
    assert refusal.sump == "mill-07"
    assert "Tank/Level" in refusal.detail
    assert said in refusal.detail


def test_numbers_of_the_sequence_go_from_255_to_0() -> None:
    """No gap there, and any number may begin a life."""
    line = Line().born()
    for _ in range(600):
        line.node.send("DDATA", [Metric("", 380.0, alias=7)], by_alias=True)

    assert line.asks() == 0


def test_a_gap_in_the_sequence_asks_for_a_rebirth() -> None:
    """Aliases may mean other metrics since: what comes by alias is refused until the birth; names
    are as good as ever."""
    line = Line().born()
    line.node.seq += 1
    line.node.send("DDATA", [Metric("", 379.0, alias=7)], by_alias=True)
    got = line.got
    assert [p.reason for p in got if isinstance(p, Refusal)] == [Reason.SPARKPLUG]
    assert line.asks() == 1
    line.node.send("DDATA", [Metric("Tank/Level", 378.0)])
    assert values(line.take()) == [(Signal.LEVEL, 378.0, NOW)]
    line.born()
    line.node.send("DDATA", [Metric("", 377.0, alias=7)], by_alias=True)

    assert values(line.take()) == [(Signal.LEVEL, 377.0, NOW)]


def test_a_node_is_not_asked_without_end() -> None:
    """At most once a minute, however much comes out of step."""
    line = Line()
    for _ in range(30):
        line.node.send("DDATA", [Metric("", 379.0, alias=7)], by_alias=True)
    assert line.asks() == 1
    line.now += ASK_EVERY
    line.node.send("DDATA", [Metric("", 379.0, alias=7)], by_alias=True)

    assert line.asks() == 1


def test_a_start_asks_every_node() -> None:
    """Nothing is known of any of them; the command is the specification's."""
    [command] = Line().decoder.begin(NOW)
    assert command.outgoing is not None
    body = payload_class().FromString(command.outgoing.payload)
    assert body.timestamp == NOW
    [metric] = body.metrics
    assert (metric.name, metric.boolean_value, metric.datatype) == (
        "Node Control/Rebirth",
        True,
        BOOLEAN,
    )
    assert not command.outgoing.retain
    # the node of the tests has the same bytes
    mine = payload([Metric("Node Control/Rebirth", True, BOOLEAN, at=NOW)], seq=None, at=NOW)
    assert command.outgoing.payload == mine


def test_data_of_a_device_that_was_not_born_asks_for_a_rebirth() -> None:
    """Its birth was missed."""
    line = Line()
    line._receive(line.node.topic("NBIRTH"), payload([], seq=0, at=NOW))
    line.take()
    line.node.seq = 0
    line.node.send("DDATA", [LEVEL])

    assert line.asks() == 1


def test_the_death_of_a_node_silences_its_signals() -> None:
    """And its aliases are forgotten with it."""
    line = Line().born()
    line.node.die()
    assert line.take() == [
        Silence("mill-07", Signal.LEVEL, NOW),
        Silence("mill-07", Signal.RUNNING, NOW),
    ]
    line.node.send("DDATA", [Metric("", 379.0, alias=7)], by_alias=True)

    assert values(line.got) == []
    assert line.asks() == 1


def test_the_death_of_an_earlier_life_is_passed_over() -> None:
    """A will that comes after the next birth has another bdSeq: refused, and nothing is silent."""
    line = Line().born()
    old = payload([Metric("bdSeq", line.node.bd_seq, 4)], seq=None, at=NOW)
    line.node.will()
    line.born()
    line._receive(line.node.topic("NDEATH"), old)
    [refusal] = line.take()

    assert isinstance(refusal, Refusal)
    assert "life 0; the node lives its 1" in refusal.detail


def test_the_death_of_a_device_silences_its_signals_alone() -> None:
    """The node goes on."""
    line = Line().born()
    line.node.send("DDEATH", [])
    assert [p.signal for p in line.take() if isinstance(p, Silence)] == [
        Signal.LEVEL,
        Signal.RUNNING,
    ]
    line.node.send("DBIRTH", [LEVEL, RUNNING])

    assert values(line.got)[0][1] == 380.5
    assert line.asks() == 0


@pytest.mark.parametrize(
    ("topic", "body", "reason"),
    [
        ("spBv1.0/works/NDATA/gateway", b"\xff\xff\xff", Reason.SPARKPLUG),
        ("spBv1.0/works/NDATA/other", b"", Reason.UNKNOWN_TOPIC),
        ("spBv1.0/works/NCMD/gateway", b"", Reason.UNKNOWN_TOPIC),
        ("spBv1.0/works/DDATA/gateway", b"", Reason.UNKNOWN_TOPIC),
        ("spBv1.0/works/NDATA/gateway/mill-07", b"", Reason.UNKNOWN_TOPIC),
        ("spBv1.0/STATE/host", b"{}", Reason.UNKNOWN_TOPIC),
        ("spBv1.0/works/NDATA/gateway", bytes(300_000), Reason.OVERSIZED),
    ],
)
def test_what_is_no_sparkplug_is_refused(topic: str, body: bytes, reason: Reason) -> None:
    """Any bytes on any topic of the namespace."""
    [refusal] = Line().decoder.decode(Arrival(NOW, topic, body))

    assert isinstance(refusal, Refusal)
    assert refusal.reason is reason
