"""Ten minutes of backlog: no alarm is missed, none is raised that would not have been."""

import json
from collections.abc import Iterable
from random import Random

import pytest

from advisor.words import MINUTE, Instant, Signal
from agent.arrival import Arrival, Tick
from agent.instants import text_of
from agent.pipeline import Pipeline
from agent.plant.plant import Plant
from agent.store.ledger import Ledger
from tests.bindings import a_plant, bound

START: Instant = 1_772_431_200_000
STEP: Instant = 10_000
DOWN_FROM, DOWN_TO = 75 * MINUTE, 85 * MINUTE
END = 110 * MINUTE
ALARM = "millpond/north/mill-07/alarm/"


def the_plant() -> Plant:
    """One sump whose level and Brix come dated, every ten seconds."""
    where = {"value_pointer": "/v", "time_pointer": "/t"}
    return a_plant(
        bound(Signal.LEVEL, "level", unit="mm", **where),
        bound(Signal.BRIX, "brix", **where),
        bound(Signal.RUNNING, "pumps"),
    )


def readings(depth_at: Iterable[tuple[Instant, float]]) -> list[tuple[Instant, Arrival]]:
    """Time of sending and message of each reading."""
    sent = [(0, Arrival(START, "pumps", b"1"))]
    noise = Random(7)
    for at, depth in depth_at:
        depth += noise.gauss(0.0, 0.7)  # noqa: PLW2901  as the sensor has it
        for topic, value in (("level", depth), ("brix", 6.4)):
            body = json.dumps({"v": round(value, 2), "t": text_of(START + at)})
            sent.append((at, Arrival(START + at, topic, body.encode())))
    return sent


def falling(at: Instant) -> float:
    """A hose bursts at minute 30; in mid-outage it is sure enough that the level is too low."""
    return 300.0 if at < 30 * MINUTE else max(80.0, 300.0 - 12.0 * (at - 30 * MINUTE) / MINUTE)


def steady(_at: Instant) -> float:
    """All is well."""
    return 300.0


class Run:
    """Arrivals and ticks through a pipeline; what was alarmed."""

    def __init__(self) -> None:
        self.ledger = Ledger.open(None)
        self.pipeline = Pipeline(the_plant(), self.ledger)
        self.raised: set[str] = set()

    def restart(self) -> None:
        """A new process on the same store."""
        self.pipeline = Pipeline(the_plant(), self.ledger)

    def take(self, item: Arrival | Tick) -> None:
        """Take an item in, store, note alarms."""
        self.pipeline.take(item)
        for _, message in self.pipeline.published:
            if message.topic.startswith("millpond/north/") and "/alarm/" in message.topic:
                body = json.loads(message.payload or b"{}")
                if body.get("active") and body["state"] != "suppressed":
                    self.raised.add(message.topic.split("/alarm/")[1])
        self.ledger.commit(self.pipeline.seal())

    def lose_the_link(self, begin: Instant, end: Instant) -> None:
        """The agent runs on without a broker."""
        for at in range(begin, end, MINUTE):
            self.pipeline.around.link(START + at, connected=False)
            self.take(Tick(START + at))
        self.pipeline.around.link(START + end, connected=True)

    def live(self, sent: list[tuple[Instant, Arrival]], begin: Instant, end: Instant) -> None:
        """Messages as they are sent, and a tick each minute."""
        for at, message in sent:
            if begin <= at < end:
                if at % MINUTE == 0 and message.topic == "level":
                    self.take(Tick(START + at))
                self.take(message)


@pytest.mark.parametrize("depth", [falling, steady])
@pytest.mark.parametrize("restarted", [True, False])
def test_ten_minutes_of_backlog_raise_what_would_have_been_raised(depth, restarted):
    """The broker kept ten minutes of readings: taken in at one moment they give the alarms of a run
    that was there all along, and nobody is told of silent signals."""
    sent = readings((at, depth(at)) for at in range(0, END, STEP))
    undisturbed = Run()
    undisturbed.live(sent, 0, END)
    disturbed = Run()
    disturbed.live(sent, 0, DOWN_FROM)
    if restarted:
        disturbed.restart()
    else:
        disturbed.lose_the_link(DOWN_FROM, DOWN_TO)
    back = START + DOWN_TO
    for at, message in sent:
        if DOWN_FROM <= at < DOWN_TO:
            disturbed.take(Arrival(back, message.topic, message.payload, queued=True))
    disturbed.live(sent, DOWN_TO, END)

    # that there was no broker is an alarm of its own
    assert disturbed.raised - {"feed-lost"} == undisturbed.raised
    assert ("level-low" in disturbed.raised) is (depth is falling)
