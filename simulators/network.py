"""How messages travel: latency, delays, doubles, outages with a gateway that keeps or loses."""

from dataclasses import replace

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

    def carry(self, sent: Message, extra: int = 0) -> list[Message]:
        """Messages that arrive for one that was sent at its time and delayed by `extra`. [ms]"""
        at = sent.at + extra + self._delay()
        for begin, end, buffered in self._outages:
            if begin <= at < end:
                if not buffered:
                    return []
                # A gateway empties its buffer in order, much faster than it filled.
                at = end + (sent.at - begin) // 600
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
