"""Topics of a plant file: well formed, and no two signals that read the same thing."""

from collections.abc import Iterator

from agent.messages.incoming import SUMP_MESSAGES
from agent.plant.parts import Part
from agent.plant.problems import Fault

_LONGEST = 65_535
"""Bytes of a topic name: MQTT 5.0, 1.5.4."""


def topic_fault(topic: str) -> str | None:
    """Say what is wrong with a topic name, if something is: MQTT 5.0, 4.7.

    Control characters and surrogates are refused too; brokers may do so (1.5.4).
    """
    if "+" in topic or "#" in topic:
        return "expected a topic without the wildcards + and #"
    if any(ord(c) < 32 or 127 <= ord(c) < 160 or 0xD800 <= ord(c) < 0xE000 for c in topic):
        return "expected a topic without control characters"
    if topic.startswith("$"):
        return "expected a topic that does not begin with $, which is the broker's own"
    if len(topic.encode()) > _LONGEST:
        return f"expected at most {_LONGEST} bytes"
    return None


def prefix_fault(prefix: str) -> str | None:
    """Say what is wrong with the agent's own prefix, if something is."""
    if prefix.endswith("/"):
        return "expected no / at its end"
    return topic_fault(prefix)


RESERVED = frozenset({"agent", "alarm", "alarm-answer", "alarm-command", "supply"})
"""Levels under the prefix that are no sump's."""

_CHANNELS = frozenset(
    {"state", "event", "advice", "alarm", "alarm-answer", "setpoint", "lease"}
    | {message.channel for message in SUMP_MESSAGES}
)
"""Levels under a sump's own topic that are the agent's."""

_SHARED = frozenset({"running", "cutting", "air_temperature", "humidity"})
"""Signals that may tell of several sumps at once."""

_SWITCHES = frozenset({"running", "cutting"})
"""Signals that may read one state of the machine, each in its own way."""


def topic_faults(top: Part) -> Iterator[Fault]:
    """List what is wrong with the sources of all signals."""
    prefix = top.part("broker").text("prefix") or f"millpond/{top.part('plant').text('id')}"
    sources = [_Source(sump, name) for sump in top.parts("sump") for name in _signals(sump)]
    by_topic: dict[str, list[_Source]] = {}
    for source in sources:
        yield from _source_faults(source.signal, prefix)
        if source.topic is not None:
            by_topic.setdefault(source.topic, []).append(source)
    for sharing in by_topic.values():
        yield from _shared_faults(sharing)


def _signals(sump: Part) -> list[str]:
    """Names of the signals that are tables."""
    signals = sump.part("signals")
    return [name for name in signals if signals.part(name).there]


class _Source:
    """A signal with what it reads."""

    def __init__(self, sump: Part, name: str) -> None:
        self.sump = sump.text("id") or "a sump"
        self.name = name
        self.signal = sump.part("signals").part(name)
        topic, sparkplug = self.signal.text("topic"), self.signal.part("sparkplug")
        ids = (sparkplug.text(key) for key in ("group", "edge", "device", "metric"))
        self.topic = topic or (repr(tuple(ids)) if sparkplug.there else None)
        self.place = self.signal.text("value_pointer"), self.signal.text("name")

    def goes_with(self, other: "_Source") -> bool:
        """Whether both may be read from one message."""
        if self.name == other.name and self.sump != other.sump and self.name in _SHARED:
            return True
        if self.name != other.name and {self.name, other.name} <= _SWITCHES:
            return True
        return self.place != other.place and (None, None) not in {self.place, other.place}


def _shared_faults(sharing: list[_Source]) -> Iterator[Fault]:
    """Signals may share a topic, but not the place in its payload."""
    for index, source in enumerate(sharing):
        for other in sharing[:index]:
            if not source.goes_with(other):
                what = (
                    f"reads the same as {other.name} of {other.sump}; "
                    "expected a topic, value_pointer or name of its own"
                )
                yield source.signal.fault(None, what)
                break


def _source_faults(signal: Part, prefix: str) -> Iterator[Fault]:
    """Each signal has one source, outside the agent's own topics."""
    topic = signal.text("topic")
    if "topic" in signal and "sparkplug" in signal:
        yield signal.fault("sparkplug", "expected either topic or sparkplug, not both")
    if "topic" not in signal and "sparkplug" not in signal:
        yield signal.fault(None, 'expected topic = "..." or sparkplug = { ... }')
    if topic is not None and (what := topic_fault(topic)):
        yield signal.fault("topic", what)
    if topic is not None and _is_own(topic, prefix):
        yield signal.fault("topic", f"the agent itself uses this topic under {prefix}")
    yield from _pointer_faults(signal)


def _pointer_faults(signal: Part) -> Iterator[Fault]:
    """Pointers go together, and not with what needs none."""
    for key in ("value_pointer", "time_pointer", "unit_pointer", "name"):
        if key in signal and "sparkplug" in signal:
            yield signal.fault(key, "is for a topic; Sparkplug says by itself where things stand")
    for key in ("time_pointer", "unit_pointer"):
        if key in signal and "value_pointer" not in signal and "topic" in signal:
            yield signal.fault(key, "expected value_pointer beside it")
    if "name" in signal and "value_pointer" in signal:
        yield signal.fault("name", "is for SenML; expected no value_pointer beside it")


def _is_own(topic: str, prefix: str) -> bool:
    """Whether the agent speaks or is spoken to on this topic."""
    if topic == prefix:
        return True
    levels = topic.removeprefix(f"{prefix}/").split("/")
    if not topic.startswith(f"{prefix}/"):
        return False
    return levels[0] in RESERVED or (len(levels) > 1 and levels[1] in _CHANNELS)
