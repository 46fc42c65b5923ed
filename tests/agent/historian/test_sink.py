"""Lines leave the store only when the historian has them; bad ones are put aside alone."""

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.words import Signal
from agent.historian.server import InfluxServer, Rejected, Unavailable
from agent.historian.sink import Sink, send
from agent.plant.plant import HistorianSettings
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from tests.historians import BUCKET, ORG, TOKEN, StrictHistorian, a_strict_historian
from tests.waiting import wait_until


class Picky:
    """Takes lines without an x; can be told to be away."""

    def __init__(self) -> None:
        self.taken: list[str] = []
        self.away_after = 1 << 30

    def write(self, lines: list[str]) -> None:
        """Take them or not."""
        self.away_after -= 1
        if self.away_after < 0:
            raise Unavailable("away")
        if any("x" in line for line in lines):
            raise Rejected("an x")
        self.taken += lines

    def close(self) -> None:
        """Nothing to let go of."""


@given(st.lists(st.text("abx", min_size=1, max_size=3), max_size=40))
def test_bad_lines_are_found_and_their_neighbours_go_on(lines: list[str]) -> None:
    """Whichever and however many are bad: exactly those are put aside, all others taken."""
    server = Picky()
    refused = send(server, lines)

    assert [each.line for each in refused] == [line for line in lines if "x" in line]
    assert sorted(server.taken) == sorted(line for line in lines if "x" not in line)


@pytest.fixture
def historian() -> Iterator[StrictHistorian]:
    """A strict one."""
    with a_strict_historian() as historian:
        yield historian


@pytest.fixture
def ledger(tmp_path: object) -> Iterator[Ledger]:
    """A store that makes lines of readings."""
    ledger = Ledger.open(tmp_path / "store.db")  # type: ignore[operator]  # a path
    ledger.make_lines = lambda batch: [f"m value={v!r} {at}" for *_, at, v, _ in batch.readings]
    yield ledger
    ledger.close()


def store(ledger: Ledger, *numbers: int) -> None:
    """Store readings, in one transaction."""
    rows = [("mill-07", Signal.LEVEL, 1_000 + n, float(n), True) for n in numbers]
    ledger.commit(Batch(readings=rows, clock=1_000 + numbers[-1]))


def a_sink(ledger: Ledger, historian: StrictHistorian, token: str = TOKEN) -> Sink:
    """A sink in a hurry."""
    settings = HistorianSettings(url=historian.url, org=ORG, bucket=BUCKET)
    return Sink(
        ledger.waiting, InfluxServer(settings, token), settings.url, pause=0.02, first_wait=0.02
    )


def run_until_empty(sink: Sink, ledger: Ledger) -> None:
    """Run it until nothing waits."""
    sink.start()
    wait_until(lambda: ledger.waiting.count == 0, "nothing that waits")
    sink.stop(5.0)


def test_what_was_stored_arrives_and_is_forgotten(
    ledger: Ledger, historian: StrictHistorian
) -> None:
    """All of it once, in few requests."""
    for start in range(0, 3000, 10):
        store(ledger, *range(start, start + 10))
    assert ledger.waiting.count == 3000
    assert ledger.waiting.since == 1_009
    run_until_empty(a_sink(ledger, historian), ledger)

    assert historian.values("m") == [float(n) for n in range(3000)]
    assert historian.requests <= 2
    assert ledger.waiting.since is None


@pytest.mark.parametrize("status", [401, 403, 404, 408, 429, 500, 502, 503])
def test_trouble_of_the_server_loses_nothing(
    ledger: Ledger, historian: StrictHistorian, caplog: pytest.LogCaptureFixture, status: int
) -> None:
    """The same lines again, however long; said once, and once that it is over."""
    historian.answer = status
    store(ledger, 1, 2, 3)
    sink = a_sink(ledger, historian)
    sink.start()
    wait_until(lambda: historian.requests >= 3, "three tries")
    assert ledger.waiting.count == 3
    historian.answer = None
    wait_until(lambda: ledger.waiting.count == 0, "nothing that waits")
    sink.stop(5.0)

    assert historian.values("m") == [1.0, 2.0, 3.0]
    assert ledger.waiting.refused == 0
    assert caplog.text.count(f"HTTP {status}") == 1
    assert caplog.text.count("takes lines again") == 1


def test_a_wrong_token_is_said_and_loses_nothing(
    ledger: Ledger, historian: StrictHistorian, caplog: pytest.LogCaptureFixture
) -> None:
    """Access is not about the lines: they wait until somebody has put it right."""
    store(ledger, 1)
    sink = a_sink(ledger, historian, token="wrong")  # noqa: S106  of a test
    sink.start()
    wait_until(lambda: historian.requests >= 2, "two tries")
    sink.stop(5.0)
    assert ledger.waiting.count == 1
    assert "MILLPOND_HISTORIAN_TOKEN" in caplog.text
    assert "wrong" not in caplog.text
    run_until_empty(a_sink(ledger, historian), ledger)

    assert historian.values("m") == [1.0]


def test_lines_that_the_server_rejects_are_put_aside_with_its_words(
    ledger: Ledger, historian: StrictHistorian
) -> None:
    """A conflict of types, and a line that is none; their neighbours of one request arrive."""
    historian.types["m", "value"] = "number"
    ledger.make_lines = lambda _batch: [
        *(f"m value={n}.0 {n}" for n in range(20)),
        'm value="text" 30',
        "no line at all",
        *(f"m value={n}.0 {n}" for n in range(40, 60)),
    ]
    ledger.commit(Batch(clock=1))
    run_until_empty(a_sink(ledger, historian), ledger)

    assert historian.values("m") == [float(n) for n in (*range(20), *range(40, 60))]
    assert ledger._database.rows("SELECT line, words FROM historian_refused") == [
        ('m value="text" 30', _said("line 1: field type conflict: value")),
        ("no line at all", _said("unable to parse line 1: no line at all")),
    ]


def _said(words: str) -> str:
    """Words of the strict server, as they are kept."""
    return f'HTTP 400: {{"code": "refused", "message": "partial write: {words}"}}'


def test_a_server_that_hangs_holds_up_nothing(ledger: Ledger, historian: StrictHistorian) -> None:
    """While a request hangs the store goes on; a stop does not wait for it."""
    historian.slow.set()
    store(ledger, 1)
    sink = a_sink(ledger, historian)
    sink.start()
    store(ledger, 2)
    sink.stop(0.2)

    assert ledger.waiting.count == 2


def test_a_server_that_restarts_is_found_again(ledger: Ledger, historian: StrictHistorian) -> None:
    """Away, nothing listens at all; back, everything arrives."""
    historian.stop()
    store(ledger, 1)
    sink = a_sink(ledger, historian)
    sink.start()
    store(ledger, 2)
    historian.start()
    wait_until(lambda: ledger.waiting.count == 0, "nothing that waits")
    sink.stop(5.0)

    assert historian.values("m") == [1.0, 2.0]


def test_an_interruption_in_mid_batch_sends_it_again(ledger: Ledger) -> None:
    """While a bad line is being looked for the server goes away: nothing is put aside twice."""
    ledger.make_lines = lambda _batch: ["a", "x", "b", "c"]
    ledger.commit(Batch(clock=1))
    server = Picky()
    server.away_after = 2
    sink = Sink(ledger.waiting, server, "test", pause=0.02, first_wait=0.02)
    assert sink._turn() > 0
    assert ledger.waiting.count == 4
    server.away_after = 1 << 30
    sink._turn()

    assert ledger.waiting.count == 0
    assert ledger.waiting.refused == 1
    assert set(server.taken) == {"a", "b", "c"}
