"""The short way of bare numbers, against the long way of everything."""

import io
from pathlib import Path
from random import Random

import pytest

from advisor import sump
from advisor.sump import Occasion
from agent.arrival import Arrival, Tick
from agent.pipeline import Pipeline
from agent.plain_signals import PlainSignal
from agent.plant.load import load_plant
from agent.replay import replay
from agent.store.ledger import Ledger
from tests.bench.plants import ten_sumps

START = 1_772_431_200_000
PAYLOADS = (b"[]", b"nan", b"1_0", b"", b"-999", b"  371.5 ", b"4e2", b"x" * 70_000, b"0" * 70_000)


def _items(seed: int) -> list[Arrival | Tick]:
    """An hour of ten sumps, in which arrivals lag, stand still, come twice, wait and are junk."""
    dice = Random(seed)
    items: list[Arrival | Tick] = []
    now = START
    for _ in range(6000):
        now += dice.choice((0, 0, 5, 300, 900, 2_000))
        sump = dice.randrange(10)
        topic, value = dice.choice(
            (
                (f"bench/{sump}/level", 350.0 + dice.gauss(0.0, 1.0)),
                (f"bench/{sump}/brix", 6.4 + dice.gauss(0.0, 0.04)),
            )
        )
        payload = f"{value:.2f}".encode()
        odd = dice.random()
        if odd < 0.02:
            items.append(Arrival(now, topic, dice.choice(PAYLOADS)))
        elif odd < 0.05:
            marks = [dice.random() < 0.5 for _ in range(3)]
            items.append(Arrival(now, topic, payload, *marks))
        elif odd < 0.06:
            items.append(Arrival(now, f"bench/{sump}/running", dice.choice((b"1", b"0"))))
        elif odd < 0.065:
            now += 400_000
            items.append(Tick(now))
        else:
            items.append(Arrival(now, topic, payload))
    return items


def _told(folder: Path, items: list[Arrival | Tick]) -> tuple[bytes, list[object]]:
    """What is published, and what is in the store."""
    plant, ledger, out = load_plant(ten_sumps(folder, 1883)), Ledger.open(None), io.BytesIO()
    replay(plant, ledger, items, out)
    kept: list[object] = [ledger.evidence(sump, -1) for sump in plant.sumps]
    kept += [ledger.newest(), ledger.clock()]
    ledger.close()
    return out.getvalue(), kept


@pytest.mark.parametrize("seed", range(3))
def test_the_short_way_tells_and_keeps_what_the_long_way_does(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same messages, the same evidence, byte for byte, whatever comes in between."""
    items = _items(seed)
    short = _told(tmp_path, items)
    monkeypatch.setattr(Pipeline, "_took_plain", lambda _pipeline, _arrival: False)

    assert _told(tmp_path, items) == short
    assert short[0].count(b"/state") > 300


def test_most_bare_numbers_take_the_short_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Or it would be of no use."""
    taken: list[bool] = []
    value_of = PlainSignal.value_of

    def counted(self: PlainSignal, arrival: Arrival) -> float | None:
        value = value_of(self, arrival)
        taken.append(value is not None)
        return value

    monkeypatch.setattr(PlainSignal, "value_of", counted)
    _told(tmp_path, _items(0))

    assert sum(taken) > 4000


def test_a_foreseen_minute_is_told_without_a_judgement(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A calm sump tells its state every minute; it is judged when readings were taken in."""
    judged: list[Occasion] = []
    judge = sump.judge

    def counted(*args: object, occasion: Occasion, **named: object) -> object:
        judged.append(occasion)
        return judge(*args, occasion=occasion, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(sump, "judge", counted)
    dice = Random(5)
    items: list[Arrival | Tick] = []
    for step in range(720):
        at = START + 10_000 * step
        items.append(Arrival(at, "bench/0/level", f"{380 + dice.gauss(0, 0.5):.2f}".encode()))
        items.append(Arrival(at + 5, "bench/0/brix", f"{6.4 + dice.gauss(0, 0.03):.2f}".encode()))
    out, _ = _told(tmp_path, items)

    assert out.count(b"sump-0/state") == 120
    assert 12 <= len(judged) < 70
