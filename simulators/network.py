"""How messages travel: latency, delays, doubles, outages with a gateway that keeps or loses."""

from simulators.draws import Draws
from simulators.instants import SECOND, Calendar
from simulators.payloads import Message
from simulators.scenario.shop import Network


class Line:
    """Carries the messages of one sump to the broker."""

    def __init__(self, network: Network, calendar: Calendar, draws: Draws) -> None:
        self._network = network
        self._draws = draws
        self._outages = [
            (calendar.moment(outage.begin), calendar.moment(outage.end), outage.buffered)
            for outage in network.outage
        ]

    def carry(
        self, now: int, topic: str, payload: bytes, extra: int, retain: bool
    ) -> list[Message]:
        """Messages that arrive for one that was sent `now` and is delayed by `extra`. [ms]"""
        at = now + extra + self._delay()
        for begin, end, buffered in self._outages:
            if begin <= at < end:
                if not buffered:
                    return []
                at = end + (now - begin) // 600  # a gateway empties its buffer in order, quickly
        first = Message(at, topic, payload, retain)
        if self._network.duplicate_share and self._draws.chance(self._network.duplicate_share):
            return [first, Message(at + self._delay(), topic, payload, retain)]
        return [first]

    def _delay(self) -> int:
        """Time on the way. [ms]"""
        network = self._network
        mean = network.latency_s
        if network.late_share and self._draws.chance(network.late_share):
            mean = network.late_s
        return round(self._draws.waiting(mean) * SECOND)
