"""The short way in for what comes most: a bare number of one signal, in order, at its time.

Everything else takes the long way, by `agent.decode` and `agent.admission`; what goes the short way
has the same effect there. It is a fifth of the cost.
"""

from collections.abc import Mapping

from advisor.condition import NOTED
from advisor.words import Signal
from agent.admission import GENERATION, Track
from agent.arrival import Arrival
from agent.decode.meaning import meaning_of
from agent.decode.problem import PayloadError
from agent.plant.plant import Binding, Plant
from agent.throttle import Allowance, Throttle

LONGEST = 64
"""Longer payloads are looked at closely. [B]"""


class PlainSignal:
    """A signal that has a topic of its own and bare payloads.

    Parameters
    ----------
    plant : Plant
        To which it belongs.
    binding : Binding
        Where it comes from.
    track : Track
        What is known of its times.
    allowance : Allowance
        How much of it may come.
    """

    __slots__ = ("_allowance", "_of_payload", "_track", "signal", "sump")

    def __init__(self, plant: Plant, binding: Binding, track: Track, allowance: Allowance) -> None:
        self.sump, self.signal = binding.sump, binding.signal
        self._track, self._allowance = track, allowance
        plan = plant.sumps[binding.sump].signals[binding.signal]
        self._of_payload = meaning_of(binding, plan).of_payload

    def value_of(self, arrival: Arrival) -> float | None:
        """Value of a message that is as they usually are, noted as accepted; `None` of others."""
        at, _, payload, retain, redelivered, queued = arrival
        track = self._track
        if (
            at <= track.newest
            or at <= track.undated
            or len(payload) > LONGEST
            or retain
            or redelivered
            or queued
        ):
            return None
        try:
            value = self._of_payload(payload)
        except PayloadError:
            return None
        if not self._allowance.spend(at):
            return None
        track.newest = track.undated = at
        track.young.add(at)
        if len(track.young) >= GENERATION:
            track.grow_old()
        return value


def plain_signals(
    plant: Plant, tracks: Mapping[tuple[str, Signal], Track], throttle: Throttle
) -> dict[str, PlainSignal]:
    """Those of a plant, by topic."""
    by_topic: dict[str, list[Binding]] = {}
    for binding in plant.bindings:
        if binding.topic is not None:
            by_topic.setdefault(binding.topic, []).append(binding)
    return {
        topic: PlainSignal(plant, one, tracks[one.sump, one.signal], throttle.allowance_of(topic))
        for topic, (one, *others) in by_topic.items()
        if not others and _is_plain(one)
    }


def _is_plain(binding: Binding) -> bool:
    """Whether payloads are bare, and the reading concerns nothing but the balance."""
    pointers = (binding.value_pointer, binding.time_pointer, binding.unit_pointer)
    return binding.signal not in NOTED and all(pointer is None for pointer in pointers)
