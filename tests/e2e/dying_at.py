"""An agent that ends itself, as `kill -9` does, at the first message of its own on some topic.

``python -m tests.e2e.dying_at WHEN END MODULE ARGUMENTS...``: WHEN is `before` the broker has a
message whose topic ends with END, or `after`, when the broker has confirmed it and the store still
holds it.
"""

import os
import runpy
import signal
import sys
from collections.abc import Sequence

from agent.arrival import Outgoing
from agent.broker import BrokerLink
from agent.store.ledger import Ledger

publish, mark_sent = BrokerLink.publish, Ledger.mark_sent
seen = False


def end() -> None:
    """End at once."""
    os.kill(os.getpid(), signal.SIGKILL)


def main(when: str, topic_end: str) -> None:
    """Put the end in place."""

    def publishing(self: BrokerLink, message: Outgoing) -> int:
        global seen  # noqa: PLW0603  one process, one end
        if message.topic.endswith(topic_end):
            if when == "before":
                end()
            seen = True
        return publish(self, message)

    def marking(self: Ledger, numbers: Sequence[int]) -> None:
        if seen:
            end()
        mark_sent(self, numbers)

    setattr(BrokerLink, "publish", publishing)  # noqa: B010  a method is replaced on purpose
    setattr(Ledger, "mark_sent", marking)  # noqa: B010


if __name__ == "__main__":
    main(*sys.argv[1:3])
    module, sys.argv = sys.argv[3], sys.argv[3:]
    runpy.run_module(module, run_name="__main__", alter_sys=True)
