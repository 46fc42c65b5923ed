"""An agent that ends itself, as `kill -9` does, at one chosen point of its work.

``python -m tests.failure.dying_agent POINT COUNT MODULE ARGUMENTS...`` runs a module as its own
program; at the COUNT-th time that its work comes to POINT, the process is gone. At the point
`network-thread` only the thread is: an error escapes from paho.
"""

import functools
import os
import runpy
import signal
import sys
from collections.abc import Callable
from typing import Any

from paho.mqtt.client import Client

from agent.broker import BrokerLink
from agent.recording import RecordingWriter
from agent.store.batch import Batch
from agent.store.ledger import Ledger

POINTS: dict[str, tuple[type, str, bool]] = {
    "before-record": (RecordingWriter, "flush", False),
    "before-commit": (Ledger, "commit", False),
    "after-commit": (Ledger, "commit", True),
    "after-acknowledge": (BrokerLink, "acknowledge", True),
    "before-publish": (BrokerLink, "publish", False),
    "before-mark-sent": (Ledger, "mark_sent", False),
}
"""Class, method, and whether the process ends behind it."""


def break_network_thread(count: int) -> None:
    """Let an error escape in paho's thread at the COUNT-th message."""
    handle: Callable[..., Any] = Client._handle_publish
    left = count

    def failing(self: Client) -> Any:
        nonlocal left
        left -= 1
        if left <= 0:
            raise RuntimeError("the network thread dies")
        return handle(self)

    setattr(Client, "_handle_publish", failing)  # noqa: B010  a method is replaced on purpose


def end_at(point: str, count: int) -> None:
    """Make the process end at a point; what is done with nothing in hand does not count."""
    owner, name, behind = POINTS[point]
    work: Callable[..., Any] = getattr(owner, name)
    left = count

    @functools.wraps(work)
    def dying(self: object, *args: Any, **kwargs: Any) -> Any:
        nonlocal left
        what = args[0] if args else True
        left -= bool(what.readings or what.entries if isinstance(what, Batch) else what)
        if left <= 0 and not behind:
            os.kill(os.getpid(), signal.SIGKILL)
        result = work(self, *args, **kwargs)
        if left <= 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return result

    setattr(owner, name, dying)


if __name__ == "__main__":
    if sys.argv[1] == "network-thread":
        break_network_thread(int(sys.argv[2]))
    else:
        end_at(sys.argv[1], int(sys.argv[2]))
    module = sys.argv[3]
    sys.argv = sys.argv[3:]
    runpy.run_module(module, run_name="__main__", alter_sys=True)
