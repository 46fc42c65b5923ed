"""What happens in the live agent without a message: the clock's ticks, and housekeeping.

The computation's own timers are no jobs of here: they run on the data's clock, in the pipeline,
so that a recording gives the same. A tick only tells the pipeline how late it is.
"""

import logging
from collections.abc import Callable

from apscheduler.events import (
    EVENT_JOB_ERROR,
    EVENT_JOB_MAX_INSTANCES,
    EVENT_JOB_MISSED,
    JobEvent,
)
from apscheduler.schedulers.background import BackgroundScheduler

LOG = logging.getLogger("millpond.schedule")


class Schedule:
    """Jobs by the wall clock, in a thread of their own.

    A run that is late is made up for, once: the library's defaults would leave it out.

    Parameters
    ----------
    tick : callable, optional
        Called every ten seconds; `None` where something else moves the clock.
    housekeep : callable
        Called every hour.
    hurried : bool
        Whether time is accelerated: housekeeping is then called every minute.
    """

    def __init__(
        self,
        tick: Callable[[], None] | None,
        housekeep: Callable[[], None],
        *,
        hurried: bool = False,
    ) -> None:
        self.missed = 0
        """Runs that were left out all the same; each is logged."""
        self._scheduler = BackgroundScheduler(
            timezone="UTC",
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )
        self._scheduler.add_listener(
            self._on_trouble, EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES | EVENT_JOB_ERROR
        )
        if tick is not None:
            self._scheduler.add_job(tick, "cron", second="*/10", id="tick")
        self._scheduler.add_job(
            housekeep, "interval", minutes=1 if hurried else 60, id="housekeeping"
        )

    def start(self) -> None:
        """Start the thread."""
        self._scheduler.start()

    def stop(self) -> None:
        """End the thread; jobs that run are not waited for."""
        self._scheduler.shutdown(wait=False)

    def _on_trouble(self, event: JobEvent) -> None:
        """Count and tell a run that was left out or failed."""
        self.missed += 1
        if event.code == EVENT_JOB_ERROR:
            LOG.error("%s failed", event.job_id, exc_info=getattr(event, "exception", None))
        else:
            LOG.warning("%s was left out: the run before it has not ended", event.job_id)
