"""A range of time sent to the historian again, as the store keeps it."""

from collections.abc import Iterator
from itertools import islice

from advisor.words import DAY
from agent.historian.lines import Lines
from agent.historian.server import Server
from agent.historian.sink import LINES_A_REQUEST, Refused, send
from agent.plant.plant import Plant
from agent.store.extract import Extract


def backfill(plant: Plant, extract: Extract, server: Server) -> tuple[int, list[Refused]]:
    """Send readings, states and events of a range; how many lines, and those that were refused.

    What the server has already it writes over with the same.

    Raises
    ------
    Unavailable
        If the server does not take anything now; what was sent before stays there.
    """
    lines = _lines(plant, extract)
    sent, refused = 0, list[Refused]()
    while part := list(islice(lines, LINES_A_REQUEST)):
        refused += send(server, part)
        sent += len(part)
    return sent, refused


def _lines(plant: Plant, extract: Extract) -> Iterator[str]:
    """Lines of all that the range holds."""
    make = Lines(plant)
    for summed in extract.readings():
        if (line := make.of_summed(summed)) is not None:
            yield line
    history = extract.history()
    begin, end = extract.span
    for sump in extract.sumps():
        for start in range(begin, end + 1, DAY):
            for told in history.series(sump, start, min(end, start + DAY - 1), points=DAY):
                if (line := make.of_snapshot(sump, told)) is not None:
                    yield line
    for event in extract.sump_events():
        if (line := make.of_event(*event)) is not None:
            yield line
