"""What floods a topic is refused unread; what comes at a sump's pace never is."""

from collections.abc import Iterator

from hypothesis import given
from hypothesis import strategies as st

from advisor.words import Signal
from agent.arrival import Arrival
from agent.decode.decoder import Decoder
from agent.decode.results import Decoded, Reason, Refusal, Sample
from agent.throttle import NODE, PERSON, REPORTS, SENSOR, SPEAKER, STRANGER, Throttle
from tests.bindings import NOW, PREFIX, a_plant, bound

PLANT = a_plant(bound(Signal.LEVEL, "level", unit="mm"), bound(Signal.BRIX, "brix", unit="degBrix"))
CHECK = f"{PREFIX}/mill-07/check"


def a_throttle() -> Throttle:
    """One that nothing has passed yet."""
    return Throttle(PLANT, Decoder(PLANT))


def sent(
    throttle: Throttle, count: int, topic: str, *, at: int = NOW, step: float = 0.0, **how: bool
) -> Iterator[Decoded]:
    """What comes of so many messages, one each `step` ms."""
    for number in range(count):
        yield from throttle.decode(Arrival(at + int(number * step), topic, b"7.5", **how))


def too_many(pieces: Iterator[Decoded]) -> list[Refusal]:
    """Refusals of what flooded."""
    return [p for p in pieces if isinstance(p, Refusal) and p.reason is Reason.TOO_MANY]


def test_a_week_of_readings_at_once_is_no_flood() -> None:
    """A gateway that was cut off for seven days, at a reading every ten seconds."""
    pieces = list(sent(a_throttle(), 7 * 8_640, "level"))

    assert len(pieces) == 7 * 8_640
    assert all(isinstance(piece, Sample) for piece in pieces)


@given(st.floats(0.5, 60.0), st.integers(1, 400))
def test_a_sensors_pace_never_runs_out(seconds: float, count: int) -> None:
    """At two readings a second or fewer, for ever: more comes in than goes out."""
    throttle = a_throttle()
    throttle._by_topic["level"].at, throttle._by_topic["level"].left = NOW, 0.0

    found = sent(throttle, count, "level", at=NOW + 1_000, step=1000.0 * seconds)
    assert not too_many(found)


def test_a_flood_is_cut_to_its_share_and_told_in_sums() -> None:
    """Ten times the burst within a minute: burst and growth pass, the rest is told by number."""
    throttle = a_throttle()
    count = 2 * int(SENSOR.burst)
    pieces = list(sent(throttle, count, "level", step=60_000.0 / count))
    refused = too_many(iter(pieces))

    taken = len(pieces) - len(refused)
    assert SENSOR.burst <= taken <= SENSOR.burst + 60.0 * SENSOR.per_second + 1
    assert 1 <= len(refused) <= 4
    assert "messages more than the topic's share were left unread" in refused[0].detail
    assert "100000 at once and 10 a second" in refused[0].detail


def test_another_topic_is_not_touched() -> None:
    """Beside a flooded topic every other one has its whole share."""
    throttle = a_throttle()
    list(sent(throttle, int(SENSOR.burst) + 10, "level"))

    assert too_many(sent(throttle, 1, "level", at=NOW + 1)) == []  # told a moment ago
    assert all(isinstance(piece, Sample) for piece in sent(throttle, 50, "brix"))


def test_what_waited_at_the_broker_costs_nothing() -> None:
    """An agent that was away for a fortnight gets all of it."""
    throttle = a_throttle()
    assert not too_many(sent(throttle, 2 * int(PERSON.burst), CHECK, queued=True))
    assert not too_many(sent(throttle, int(PERSON.burst), CHECK))


def test_reports_have_a_persons_pace_and_stations_their_own() -> None:
    """What the balance must work in is rarer than answers."""
    throttle = a_throttle()

    assert len(REPORTS) == 5
    for channel in REPORTS:
        assert throttle.allowance_of(f"{PREFIX}/mill-08/{channel}").pace is PERSON
    for topic in ("mill-08/delivered", "mill-08/alarm-command", "supply/drum-1/stock"):
        assert throttle.allowance_of(f"{PREFIX}/{topic}").pace is SPEAKER
    assert throttle.allowance_of(f"{PREFIX}/alarm-command").pace is SPEAKER


def test_unknown_topics_share_one_allowance_and_are_not_remembered() -> None:
    """However many names a stranger makes up, memory does not grow."""
    throttle = a_throttle()
    before = len(throttle._by_topic) + len(throttle._by_node)
    found = [
        piece
        for number in range(2 * int(STRANGER.burst))
        for piece in throttle.decode(Arrival(NOW, f"{PREFIX}/x-{number}/check", b"1"))
    ]

    assert len(throttle._by_topic) + len(throttle._by_node) == before
    assert len([p for p in found if isinstance(p, Refusal)]) == int(STRANGER.burst) + 1
    assert len(too_many(iter(found))) == 1


def test_a_nodes_share_is_its_own() -> None:
    """Whatever the device; a node that no signal is bound to is a stranger."""
    from agent.plant.plant import Sparkplug

    place = Sparkplug(group="works", edge="gateway", device="mill-07", metric="Level")
    plant = a_plant(bound(Signal.LEVEL, None, sparkplug=place, unit="mm"))
    throttle = Throttle(plant, Decoder(plant))

    for topic in ("spBv1.0/works/NDATA/gateway", "spBv1.0/works/DDATA/gateway/any"):
        assert throttle.allowance_of(topic).pace is NODE
    for topic in ("spBv1.0/works/NDATA/other", "spBv1.0/works", "spBv1.0", "spBv1.0x/a/b/c"):
        assert throttle.allowance_of(topic).pace is STRANGER
