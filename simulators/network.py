"""How messages travel: latency, delays, doubles, outages with a gateway that keeps or loses."""

from dataclasses import replace

from simulators.draws import Draws
from simulators.instants import SECOND, Calendar
from simulators.payloads import Message
from simulators.scenario.shop import Network

_EMPTIES = 600  # a gateway empties its buffer so many times faster than it filled


class Line:
    """Carries the messages of one sump to the broker."""

    def __init__(self, network: Network, calendar: Calendar, draws: Draws) -> None:
        self._network = network
        self._draws = draws
        self._outages = [
            (calendar.moment(outage.begin), calendar.moment(outage.end), outage.buffered)
            for outage in network.outage
        ]

    def carry(self, sent: Message, extra: int = 0) -> list[Message]:
        """Messages that arrive for one that was sent at its time and delayed by `extra`. [ms]"""
        at = sent.at + extra + self._delay()
        for begin, end, buffered in self._outages:
            emptied = end + (end - begin) // _EMPTIES
            if begin <= at < end and not buffered:
                return []
            if begin <= at < emptied and buffered:
                # First in, first out: what is sent meanwhile waits until the buffer is empty.
                at = min(end + max(sent.at - begin, 0) // _EMPTIES, emptied)
        network = self._network
        arrived = [Message(at, sent.topic, sent.payload, sent.retain)]
        if network.duplicate_share and self._draws.chance(network.duplicate_share):
            arrived.append(replace(sent, at=at + self._delay()))
        return arrived

    def _delay(self) -> int:
        """Time on the way. [ms]"""
        network = self._network
        mean = network.latency_s
        if network.late_share and self._draws.chance(network.late_share):
            mean = network.late_s
        return round(self._draws.waiting(mean) * SECOND)
