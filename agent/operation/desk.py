"""Ties the running agent to its service manager and to whoever asks how it does."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from agent.clock import WallClock
from agent.errors import MillpondError
from agent.operation.changes import log_batch, note_plant
from agent.operation.live import Live
from agent.operation.service_manager import ServiceManager
from agent.plant.page_checks import is_loopback
from agent.plant.plant import Plant
from agent.secrets import METRICS_TOKEN, read_secret
from agent.store.batch import Batch
from agent.store.patience import Patience
from agent.store.plant_changes import PlantChanges

if TYPE_CHECKING:
    from agent.operation.listener import Listener


class MetricsError(MillpondError):
    """Metrics would be told to anybody in the network."""


class OperationDesk:
    """What `agent.run` tells of its life.

    Parameters
    ----------
    plant : Plant
        Says where to listen, if anywhere.
    live : Live
        How the process is doing.
    environment : mapping of str to str
        Has the metrics' token and the service manager's address.
    patience : Patience
        Waiting for the store counts as life.
    kept : PlantChanges
        How the plant file has changed.

    Raises
    ------
    MillpondError
        If the listener would be open beyond this machine, or the token cannot be read.
    """

    def __init__(
        self,
        plant: Plant,
        live: Live,
        environment: Mapping[str, str],
        patience: Patience,
        kept: PlantChanges,
    ) -> None:
        self.live = live
        self._plant = plant
        self._kept = kept
        self._now = WallClock().now
        patience.on_wait = live.pulse.wait
        self._manager = ServiceManager(environment)
        live.pulse.on_beat = self._manager.alive
        self._listener = _listener(plant, live, environment)

    def start(self, file: Path | None) -> None:
        """Note what the plant file says, listen, and say that the service has started."""
        self.changed(self._plant, file)
        if self._listener is not None:
            self._listener.start()
        self._manager.ready(f"running, process {os.getpid()}")

    def take(self, batch: Batch) -> None:
        """Count what a transaction wrote, and tell who changed what; on the worker's thread."""
        self.live.count(batch)
        log_batch(batch)

    def changed(self, plant: Plant, file: Path | None) -> None:
        """Tell and keep what the plant file says otherwise than before."""
        note_plant(self._kept, plant, file, self._now())

    def check(self) -> None:
        """Note a turn of the worker, and see that the listener is well.

        Raises
        ------
        ListenerError
            If it has ended.
        """
        self.live.pulse.beat()
        if self._listener is not None:
            self._listener.check()

    def stopping(self) -> None:
        """Say that the end has begun."""
        self._manager.stopping()

    def stop(self) -> None:
        """Stop listening."""
        if self._listener is not None:
            self._listener.stop()


def _listener(plant: Plant, live: Live, environment: Mapping[str, str]) -> "Listener | None":
    """Make the listener, where the plant file wants one; else nothing of it is loaded."""
    settings = plant.operation
    if not settings.host:
        return None
    token = read_secret(environment, METRICS_TOKEN)
    if token is None and not is_loopback(settings.host):
        raise MetricsError(
            f"operation.listen {settings.host}:{settings.port} is open beyond this machine: set "
            f"{METRICS_TOKEN} or {METRICS_TOKEN}_FILE, which a collector then shows as its bearer"
            " token"
        )
    from agent.operation.listener import Listener

    return Listener(plant, settings, token, live)
