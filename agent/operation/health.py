"""Health and readiness: whether the process should be restarted, and whether it does its work."""

from collections.abc import Mapping

from agent.operation.live import Live

Body = Mapping[str, object]


def health(live: Live) -> tuple[bool, Body]:
    """Whether the process is well; what is not, a restart would mend.

    A broker that is away and a disk that is full are no illness: the agent waits for them.
    """
    age = live.pulse.age
    worker = "starting" if age is None else "alive" if live.pulse.is_alive else "stuck"
    well = worker != "stuck"
    return well, {"healthy": well, "worker": worker}


def readiness(live: Live) -> tuple[bool, Body]:
    """Whether messages are taken in, stored and told on at this moment, and if not, why."""
    trouble = []
    if not live.pulse.is_alive:
        trouble.append("the worker does not work")
    if live.pulse.waits_for:
        trouble.append("the store cannot be written")
    if not live.is_connected():
        trouble.append("there is no connection to the broker")
    return not trouble, {"ready": not trouble, "trouble": trouble}
