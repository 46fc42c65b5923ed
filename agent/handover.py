"""What is stored when the plant file changes while the agent runs."""

import logging
from collections.abc import Mapping

from advisor.words import Instant
from agent.arrival import Outgoing
from agent.plant.plant import Plant
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from agent.sump_desk import SumpDesk

LOG = logging.getLogger("millpond.plant")


def hand_over(
    ledger: Ledger, desks: Mapping[str, SumpDesk], before: Plant, after: Plant, now: Instant
) -> Batch:
    """Beliefs as they are, and what is taken back of sumps that are gone.

    A belief is kept as it is, and not folded again from an earlier one by the new plan: with
    another concentrate the readings of the last hours would mean something else.

    Parameters
    ----------
    ledger : Ledger
        Knows what stands retained.
    desks : mapping of str to SumpDesk
        Of all sumps so far.
    before, after : Plant
        What the plant file said, and what it says now.
    now : Instant
        The clock. [ms]
    """
    batch = Batch(clock=now)
    for name, desk in desks.items():
        belief = desk.hand_over()
        if belief is not None:
            batch.checkpoints.append((name, *belief))
        if name not in after.sumps:
            LOG.info("%s: no longer in the plant file; its history stays", name)
            start = f"{before.prefix}/{name}/"
            batch.outgoing += [
                Outgoing(topic, b"", retain=True)
                for topic in ledger.retained_topics()
                if topic.startswith(start)
            ]
    batch.retained = {outgoing.topic: b"" for outgoing in batch.outgoing}
    return batch
