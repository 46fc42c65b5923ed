"""What goes wrong meanwhile, chosen at random and put right again."""

import os
import resource
import signal
import sqlite3
import threading
from collections.abc import Callable, Mapping
from contextlib import closing
from random import Random
from typing import TYPE_CHECKING

from tests.waiting import wait_until

if TYPE_CHECKING:
    from tests.soak.soaking import Soak

MOMENT_S = 0.3


def kill(soak: "Soak") -> None:
    """The agent loses its power."""
    soak.agent.process.kill()
    soak.agent.process.wait()
    soak.agent.start_again()


def stop(soak: "Soak") -> None:
    """The service manager restarts the agent."""
    assert soak.agent.stop() == 0, soak.agent.text()[-2000:]
    soak.agent.start_again()


def restart_broker(soak: "Soak") -> None:
    """The broker is restarted; it keeps what waits."""
    before = soak.agent.text().count("connected,")
    soak.broker.stop()
    soak.broker.start()
    wait_until(lambda: soak.agent.text().count("connected,") > before, "a connection", 40.0)


def lock_store(soak: "Soak") -> None:
    """Another program holds the store."""
    with closing(sqlite3.connect(soak.store, isolation_level=None, timeout=30.0)) as other:
        other.execute("BEGIN IMMEDIATE")
        threading.Event().wait(5 * MOMENT_S)
        other.execute("ROLLBACK")


def fill_disk(soak: "Soak") -> None:
    """No file of the agent may grow."""
    pid = soak.agent.process.pid
    unlimited = resource.prlimit(pid, resource.RLIMIT_FSIZE)
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (4096, unlimited[1]))
    threading.Event().wait(MOMENT_S)
    resource.prlimit(pid, resource.RLIMIT_FSIZE, unlimited)


def stop_historian(soak: "Soak") -> None:
    """The historian is away for a moment."""
    soak.historian.stop()
    threading.Event().wait(MOMENT_S)
    soak.historian.start()


def trouble_historian(soak: "Soak") -> None:
    """The historian answers 503, until the next trouble."""
    soak.historian.answer = 503 if soak.historian.answer is None else None


def hang_up(soak: "Soak") -> None:
    """Somebody has the plant file read again."""
    os.kill(soak.agent.process.pid, signal.SIGHUP)


TROUBLES: Mapping[str, Callable[["Soak"], None]] = {
    each.__name__: each
    for each in (
        kill,
        stop,
        restart_broker,
        lock_store,
        fill_disk,
        stop_historian,
        trouble_historian,
        hang_up,
    )
}


def schedule(total: int, count: int, seed: int) -> dict[int, str]:
    """Troubles by the number of the message before which they come; each kind in turn first."""
    draws = Random(seed)
    places = sorted(draws.sample(range(total // 20, total - total // 20), count))
    kinds = list(TROUBLES)
    chosen = [*kinds, *draws.choices(kinds, k=max(0, count - len(kinds)))][:count]
    draws.shuffle(chosen)
    return dict(zip(places, chosen, strict=True))
