"""One signal at work: when it reads, what its faults make of that, what it sends."""

from decimal import Decimal
from typing import Protocol

from simulators.climate import Hall
from simulators.faults import FaultyLine, Sent
from simulators.instants import SECOND
from simulators.payloads import Encoder
from simulators.physics import Sump
from simulators.scenario.signals import SignalName, SwitchSpec


class Reader(Protocol):
    """What looks at the true sump."""

    def read(self, now: int, sump: Sump, hall: Hall) -> float:
        """Reading in the sensor's own unit, before resolution."""


class Instrument:
    """A sensor with its electronics.

    Attributes
    ----------
    due : int
        Moment of its next reading. [ms]
    """

    def __init__(self, name: SignalName, reader: Reader, line: FaultyLine, wire: "Wire") -> None:
        self.name = name
        self.reader = reader
        self.line = line
        self.wire = wire
        self.due = wire.first
        self._step = wire.resolution
        digits = -int(Decimal(str(wire.resolution)).normalize().as_tuple().exponent)
        self._format = f".{max(digits, 0)}f"

    def measure(self, now: int, sump: Sump, hall: Hall) -> tuple[Sent, bytes] | None:
        """One reading as it leaves, or nothing where it is lost."""
        self.due += self.wire.interval
        sent = self.line.alter(now, self.reader.read(now, sump, hall))
        if sent.lost:
            return None
        if sent.text is not None:
            return sent, self.wire.garbled(sent)
        step = self._step
        shown = format(round(sent.value / step) * step, self._format)
        return sent, self.wire.encode(sent.at + self.wire.phase, shown)


class Wire:
    """How an instrument's readings are spaced, rounded and written."""

    def __init__(self, topic: str, encode: Encoder, interval_s: float, first: int) -> None:
        self.topic = topic
        self.encode = encode
        self.interval = round(interval_s * SECOND)
        self.first = first
        self.resolution = 1.0
        self.phase = 0
        """Its clock's tick within the second, told with every reading. [ms]"""
        self.retain = False

    def garbled(self, sent: Sent) -> bytes:
        """Nonsense in place of a payload."""
        return (sent.text or "").encode()


class Switch:
    """Running or cutting: told at each change and at intervals; or a counter of parts."""

    def __init__(self, name: SignalName, spec: SwitchSpec, line: FaultyLine, wire: Wire) -> None:
        self.name = name
        self.line = line
        self.wire = wire
        self.due = wire.first
        self._spec = spec
        self._words = ("false", "true") if spec.form == "senml" else (spec.off, spec.on)
        self._told: float | None = None

    def look(self, now: int, value: float) -> tuple[Sent, bytes] | None:
        """Tell the value if it changed or if it is time again."""
        if value == self._told and now < self.due:
            return None
        if now >= self.due:
            self.due += self.wire.interval
        self._told = value
        sent = self.line.alter(now, value)
        if sent.lost:
            return None
        if sent.text is not None:
            return sent, self.wire.garbled(sent)
        word = f"{sent.value:.0f}" if self._spec.counter else self._words[sent.value >= 0.5]
        return sent, self.wire.encode(sent.at + self.wire.phase, word)
