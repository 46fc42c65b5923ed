"""What a plant of some sumps says over days: good, late, twice and malformed."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

from advisor.words import MINUTE, Instant
from agent.arrival import Arrival, Tick
from agent.instants import text_of
from tests.bench.plants import HEAD

BEGIN: Instant = 1_772_431_200_000
CLOCK = "soak/clock"
PREFIX = "millpond/bench"
BAD_SHARE, LATE_SHARE, VERY_LATE_SHARE, TWICE_SHARE = 0.004, 0.01, 0.002, 0.01

SUMP = """
[[sump]]
id = "sump-{number}"
concentrate = "semi-a"
tank = {{ shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }}
level_mm = {{ low = 180, target = 380, brim = 430 }}
holdup_l = 35
[sump.signals.level]
topic = "soak/{number}/level"
value_pointer = "/v"
time_pointer = "/t"
sd = 1.0
[sump.signals.brix]
topic = "soak/{number}/brix"
value_pointer = "/v"
time_pointer = "/t"
sd = 0.05
needs_flow = false
"""


def plant_text(port: int, sumps: int, historian: str) -> str:
    """The plant file."""
    section = (
        f'[historian]\nurl = "{historian}"\norg = "works"\nbucket = "north"\n\n[[concentrate]]'
    )
    text = HEAD.format(port=port).replace("[[concentrate]]", section, 1)
    return text + "".join(SUMP.format(number=number) for number in range(sumps))


@dataclass(frozen=True)
class Sent:
    """One message, and what must become of it."""

    topic: str
    payload: str
    becomes: str
    """`reading`, `report`, `refused`, `repeat`, or `clock`."""
    key: tuple[str, str, Instant] | None = None
    """Sump, signal and time of a reading; sump, `entry` and time of a report."""


@dataclass(frozen=True)
class Plan:
    """How long, how many, how often."""

    sumps: int
    days: float
    interval: Instant
    seed: int


def stream(plan: Plan) -> Iterator[Sent]:
    """All messages in the order in which they are sent, a tick of the clock behind each round."""
    draws = Random(plan.seed)
    depth = [331.0 + 4.0 * n for n in range(plan.sumps)]
    held: list[tuple[Instant, Sent]] = []
    number = 0
    for step in range(round(plan.days * 1440 * MINUTE / plan.interval)):
        at = BEGIN + step * plan.interval
        for sump in range(plan.sumps):
            depth[sump] -= 19.0 / 1.05 * plan.interval / (1440 * MINUTE)
            if depth[sump] < 330.0:
                depth[sump] += 16.0 / 1.05 * 2
                yield _addition(sump, at, number)
            for signal, value in (
                ("level", depth[sump] + draws.gauss(0.0, 0.7)),
                ("brix", 6.4 + draws.gauss(0.0, 0.03)),
            ):
                number += 1
                sent = _reading(sump, signal, at, value)
                yield from _troubled(draws, sent, number, at, held)
        held, due = [h for h in held if h[0] > at], [h for h in held if h[0] <= at]
        for _, late in due:
            yield late
        yield Sent(CLOCK, text_of(at), "clock")
    for _, late in held:
        yield late
    yield Sent(CLOCK, text_of(at + 2 * MINUTE), "clock")


def _reading(sump: int, signal: str, at: Instant, value: float) -> Sent:
    """A dated reading."""
    body = json.dumps({"v": round(value, 3), "t": text_of(at)})
    return Sent(f"soak/{sump}/{signal}", body, "reading", (f"sump-{sump}", signal, at))


def _addition(sump: int, at: Instant, number: int) -> Sent:
    """Two buckets, reported with an id."""
    body = {"id": f"a-{number}-{sump}", "at": text_of(at), "volume_l": 32, "strength_pct": 8}
    topic = f"{PREFIX}/sump-{sump}/addition"
    return Sent(topic, json.dumps(body), "report", (f"sump-{sump}", "entry", at))


def _troubled(
    draws: Random, sent: Sent, number: int, at: Instant, held: list[tuple[Instant, Sent]]
) -> Iterator[Sent]:
    """The message as it goes out: at once, later, twice, with a malformed one beside it."""
    chance = draws.random()
    if chance < LATE_SHARE:
        held.append((at + draws.randrange(1, 9) * MINUTE, sent))
        return
    if chance < LATE_SHARE + VERY_LATE_SHARE:
        held.append((at + draws.randrange(30, 300) * MINUTE, sent))
        return
    yield sent
    if draws.random() < TWICE_SHARE:
        yield Sent(sent.topic, sent.payload, "repeat")
    if draws.random() < BAD_SHARE:
        yield _malformed(draws, sent.topic, number, at)


def _malformed(draws: Random, topic: str, number: int, at: Instant) -> Sent:
    """One of many kinds; each carries its number, so that it is found again."""
    soon, old = text_of(at + 3_600_000), text_of(at - 10 * 86_400_000)
    body = draws.choice(
        [
            f"no JSON {number}",
            json.dumps({"n": number, "v": None, "t": text_of(at)}),
            json.dumps({"n": number, "v": 1e9, "t": text_of(at)}),
            json.dumps({"n": number, "v": 380.0, "t": soon}),
            json.dumps({"n": number, "v": 380.0, "t": old}),
            json.dumps({"n": number, "v": 380.0, "t": "yesterday"}),
            json.dumps({"n": number}),
        ]
    )
    if draws.random() < 0.2:
        topic = f"{PREFIX}/sump-99/check"
    return Sent(topic, body, "refused")


def as_items(plan: Plan) -> Iterator[Arrival | Tick]:
    """The same as a recording has it, stamped by the clock of the stream."""
    now: Instant | None = None
    waiting: list[Sent] = []
    from agent.instants import instant_of

    for sent in stream(plan):
        if sent.becomes != "clock":
            if now is None:
                waiting.append(sent)
            else:
                yield Arrival(now, sent.topic, sent.payload.encode())
            continue
        now = instant_of(sent.payload)
        for each in waiting:
            yield Arrival(now, each.topic, each.payload.encode())
        waiting = []
        yield Tick(now)
