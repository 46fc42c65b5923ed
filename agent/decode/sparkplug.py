"""Sparkplug B: what edge nodes were born with, what they say, and when they are gone.

millpond listens as a host application that is not the primary one: it publishes no STATE. Only the
certificates of birth say what a metric's alias and unit are, so that after a start, a gap in the
sequence or an unknown alias the node is asked to be born again.

References
----------
.. [1] "Sparkplug 3.0.0", Eclipse Foundation 2022 (ISO/IEC 20237:2023): topics 4, births and deaths
   5 and 6.4, hosts 5.4; requirements are named by their tags where the rules stand.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from advisor.plan import SumpPlan
from advisor.words import Instant
from agent.arrival import Arrival, Outgoing
from agent.decode.meaning import Meaning, meaning_of
from agent.decode.problem import PayloadError
from agent.decode.results import NodeCommand, Reason, Refusal, Sample, Silence
from agent.decode.sparkplug_payload import Proto, payload_class
from agent.decode.sparkplug_values import BOOLEAN, unit_of, value_of
from agent.plant.plant import Binding
from agent.refusals import refusal_of, shown

NAMESPACE = "spBv1.0"
BIRTH, DATA, DEATH = "BIRTH", "DATA", "DEATH"
KINDS: Mapping[str, str] = {
    f"{who}{what}": what for who in ("N", "D") for what in (BIRTH, DATA, DEATH)
}
REBIRTH = "Node Control/Rebirth"
BD_SEQ = "bdSeq"
SEQUENCE = 256
ASK_EVERY: Instant = 60_000
"""A node is asked to be born again at most this often. [ms]"""

Pieces: TypeAlias = list[Sample | Refusal | Silence | NodeCommand]


@dataclass(frozen=True, slots=True)
class _Known:
    """What a birth said of a metric."""

    device: str
    name: str
    datatype: int
    unit: str | None


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A signal that a metric carries."""

    binding: Binding
    meaning: Meaning


@dataclass(slots=True)
class _Node:
    """What is known of an edge node since its birth."""

    group: str
    edge: str
    wanted: dict[tuple[str, str], list[_Wanted]] = field(default_factory=dict)
    """By device (empty: the node itself) and metric."""
    devices: set[str] = field(default_factory=lambda: {""})
    """The node itself and those that a signal is bound to: of others nothing is remembered."""
    known: dict[tuple[str, str], _Known] = field(default_factory=dict)
    aliases: dict[int, _Known] = field(default_factory=dict)
    born: set[str] = field(default_factory=set)
    sequence: int | None = None
    """The last number; `None`: not born, or out of step."""
    bd_seq: int | None = None
    asked: Instant | None = None

    def forget(self, device: str | None = None) -> None:
        """Forget a device's birth; `None`: the node's, and with it all of its devices'."""
        if device is None:
            self.known.clear()
            self.aliases.clear()
            self.born.clear()
            self.sequence = None
            return
        self.born.discard(device)
        self.known = {key: k for key, k in self.known.items() if k.device != device}
        self.aliases = {number: k for number, k in self.aliases.items() if k.device != device}

    def missing(self, at: Instant, device: str | None = None) -> list[Silence]:
        """Say that the signals of a device, or of all, are silent."""
        return [
            Silence(wanted.binding.sump, wanted.binding.signal, at)
            for (of, _), several in self.wanted.items()
            if device is None or of == device
            for wanted in several
        ]


class SparkplugReader:
    """Reads the messages of the edge nodes that a plant's signals are bound to.

    Parameters
    ----------
    bindings : sequence of (Binding, SumpPlan)
        Those that are bound by group, edge node, device and metric.
    """

    def __init__(self, bindings: Sequence[tuple[Binding, SumpPlan]]) -> None:
        self._nodes: dict[tuple[str, str], _Node] = {}
        self._payload = payload_class() if bindings else None
        for binding, sump in bindings:
            place = binding.sparkplug
            if place is None:
                continue
            node = self._nodes.setdefault((place.group, place.edge), _Node(place.group, place.edge))
            wanted = _Wanted(binding, meaning_of(binding, sump.signals[binding.signal]))
            node.wanted.setdefault((place.device, place.metric), []).append(wanted)
            node.devices.add(place.device)

    @property
    def filters(self) -> tuple[str, ...]:
        """Topics of births, data and deaths of each node and of its devices."""
        return tuple(
            f"{NAMESPACE}/{node.group}/{kind}/{node.edge}{'/+' if kind[0] == 'D' else ''}"
            for node in self._nodes.values()
            for kind in KINDS
        )

    def begin(self, at: Instant) -> list[NodeCommand]:
        """Ask every node to be born again: nothing is known of it after a start."""
        return [self._ask(node, at) for node in self._nodes.values()]

    def read(self, arrival: Arrival) -> Pieces:
        """Read one message.

        Raises
        ------
        PayloadError
            If nothing of it is of use.
        """
        node, kind, device = self._place(arrival.topic)
        payload = self._parsed(arrival.payload)
        what = KINDS[kind]
        if what == DEATH:
            return self._die(node, device, payload, arrival)
        if what == BIRTH:
            return self._be_born(node, device, payload, arrival)
        return self._tell(node, device, payload, arrival)

    def _place(self, topic: str) -> tuple[_Node, str, str]:
        """Node, kind of message and device (empty: the node itself) of a topic."""
        _, group, kind, edge, *rest = [*topic.split("/"), "", "", ""][
            : max(4, topic.count("/") + 1)
        ]
        node = self._nodes.get((group, edge))
        if node is None or kind not in KINDS or len(rest) != (kind[0] == "D"):
            raise PayloadError(
                Reason.UNKNOWN_TOPIC,
                "it is no birth, data or death of an edge node that a signal is bound to",
            )
        return node, kind, rest[0] if rest else ""

    def _parsed(self, payload: bytes) -> Proto:
        """Read the protobuf."""
        from google.protobuf.message import DecodeError

        if self._payload is None:
            raise PayloadError(Reason.SPARKPLUG, "no signal is bound through Sparkplug")
        try:
            return self._payload.FromString(payload)
        except DecodeError as error:
            raise PayloadError(
                Reason.SPARKPLUG, f"it is no Sparkplug B payload: {error}"
            ) from error

    # --- births, deaths, data --------------------------------------------------------------------

    def _be_born(
        self,
        node: _Node,
        device: str,
        payload: Proto,
        arrival: Arrival,
    ) -> Pieces:
        """Learn names, aliases and units; the values of a birth count as data.

        The number of a node's birth is 0 by one chapter and any by two others: any is accepted. A
        device's birth before its node's tells that the node's was missed.
        """
        pieces: Pieces = []
        if device:
            if node.sequence is None or not self._in_step(node, payload):
                pieces.append(self._ask(node, arrival.at))
            node.forget(device)
        else:
            node.forget()
            node.bd_seq = _bd_seq(payload)
            node.sequence = payload.seq % SEQUENCE
            node.asked = None
        if device not in node.devices:
            return pieces
        node.born.add(device)
        for metric in payload.metrics:
            known = _Known(device, metric.name, metric.datatype, unit_of(metric))
            node.known[device, metric.name] = known
            if metric.HasField("alias"):
                node.aliases[metric.alias] = known
        return pieces + self._samples(node, device, payload, arrival)

    def _die(
        self,
        node: _Node,
        device: str,
        payload: Proto,
        arrival: Arrival,
    ) -> Pieces:
        """Take leave: of a node only if the number of its life is that of its birth.

        tck-id-operational-behavior-host-application-ndeath-bdseq: a will of an earlier connection
        may come after the next birth.
        """
        if device:
            in_step = node.sequence is not None and self._in_step(node, payload)
            node.forget(device)
            asked = [] if in_step else [self._ask(node, arrival.at)]
            return [*node.missing(arrival.at, device), *asked]
        number = _bd_seq(payload)
        if node.bd_seq is not None and number is not None and number != node.bd_seq:
            raise PayloadError(
                Reason.SPARKPLUG,
                f"it is the death of life {number}; the node lives its {node.bd_seq}",
            )
        node.forget()
        return [*node.missing(arrival.at)]

    def _tell(
        self,
        node: _Node,
        device: str,
        payload: Proto,
        arrival: Arrival,
    ) -> Pieces:
        """Read data; one out of step, or of somebody who is not born, asks for a birth."""
        asked: Pieces = []
        in_step = node.sequence is not None and self._in_step(node, payload)
        if not in_step or node.devices & {device} - node.born:
            asked.append(self._ask(node, arrival.at))
        return self._samples(node, device, payload, arrival) + asked

    def _in_step(self, node: _Node, payload: Proto) -> bool:
        """Whether a message follows the last one; out of step, aliases may mean other metrics.

        tck-id-operational-behavior-host-reordering-rebirth: the time for reordering is none here,
        since MQTT keeps the order within a connection.
        """
        expected = None if node.sequence is None else (node.sequence + 1) % SEQUENCE
        if payload.HasField("seq") and payload.seq == expected:
            node.sequence = payload.seq
            return True
        node.aliases.clear()
        node.sequence = payload.seq % SEQUENCE if payload.HasField("seq") else None
        return False

    def _ask(self, node: _Node, at: Instant) -> NodeCommand:
        """Ask a node to be born again, not more often than it can be."""
        if node.asked is not None and at - node.asked < ASK_EVERY:
            return NodeCommand(None)
        node.asked = at
        payload = payload_class()(timestamp=at)
        payload.metrics.add(name=REBIRTH, timestamp=at, datatype=BOOLEAN, boolean_value=True)
        topic = f"{NAMESPACE}/{node.group}/NCMD/{node.edge}"
        return NodeCommand(
            Outgoing(topic, payload.SerializeToString(deterministic=True), retain=False, qos=0)
        )

    # --- values ----------------------------------------------------------------------------------

    def _samples(
        self,
        node: _Node,
        device: str,
        payload: Proto,
        arrival: Arrival,
    ) -> Pieces:
        """Samples of the metrics that signals are bound to."""
        pieces: Pieces = []
        if device not in node.devices:
            return pieces
        strangers: list[int] = []
        for metric in payload.metrics:
            known = self._known(node, device, metric)
            if known is None:
                if not metric.name:
                    strangers.append(metric.alias)
                continue
            for wanted in node.wanted.get((device, known.name), ()):
                pieces.append(_sample(wanted, known, metric, payload, arrival))
        if strangers:
            more = f" (and {len(strangers) - 1} others)" if len(strangers) > 1 else ""
            detail = f"alias {strangers[0]}{more} is of no birth that was heard"
            pieces.append(refusal_of(arrival, Reason.SPARKPLUG, detail))
            pieces.append(self._ask(node, arrival.at))
        return pieces

    def _known(self, node: _Node, device: str, metric: Proto) -> _Known | None:
        """What is known of a metric, by name or by alias; a name needs no birth."""
        if metric.name:
            return node.known.get((device, metric.name)) or _Known(
                device, metric.name, metric.datatype, None
            )
        return node.aliases.get(metric.alias) if metric.HasField("alias") else None


def _sample(
    wanted: _Wanted,
    known: _Known,
    metric: Proto,
    payload: Proto,
    arrival: Arrival,
) -> Sample | Refusal:
    """Value of a metric as its signal's."""
    binding = wanted.binding
    try:
        found = value_of(metric, metric.datatype or known.datatype)
        unit = unit_of(metric) or known.unit
        value = wanted.meaning.of_json(found, unit)
    except PayloadError as error:
        detail = f"{binding.signal}: {shown(known.name)}: {error.detail}"
        return refusal_of(arrival, error.reason, detail, sump=binding.sump)
    at = metric.timestamp or payload.timestamp or None
    return Sample(binding.sump, binding.signal, at, value)


def _bd_seq(payload: Proto) -> int | None:
    """Number of a node's life: equal in its birth and in its will."""
    for metric in payload.metrics:
        if metric.name == BD_SEQ:
            return int(metric.long_value or metric.int_value)
    return None
