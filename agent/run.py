"""The live process: broker, worker, outbox and schedule around one pipeline, until it is stopped.

Nothing here restarts itself: a part that fails ends the process with exit code 1, the service
manager starts it again, and what was not acknowledged comes again from the broker.
"""

import logging
import os
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from pathlib import Path
from queue import SimpleQueue
from types import FrameType
from typing import TYPE_CHECKING, Protocol, runtime_checkable

from advisor.estimate import SCHEMA as BELIEF_SCHEMA
from advisor.words import MINUTE, Instant
from agent.alarms.around import Around
from agent.alarms.post import PostOffice
from agent.broker import BrokerLink
from agent.broker_client import Session
from agent.clock import Clock, TopicClock, WallClock
from agent.errors import MillpondError
from agent.inbox import Inbox
from agent.messages.publish import agent_offline, agent_online
from agent.operation.desk import OperationDesk
from agent.operation.live import Live
from agent.outbox import Sender
from agent.plant.plant import Plant
from agent.recording import RecordingWriter
from agent.reloading import PlantFile
from agent.schedule import Schedule
from agent.secrets import read_credentials, read_token
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from agent.store.lock import held_alone
from agent.store.patience import Patience
from agent.version import VERSION
from agent.worker import Intake, Worker

if TYPE_CHECKING:
    from advisor.estimate import Belief
    from agent.historian.sink import Sink
    from agent.page.server import PageServer

LOG = logging.getLogger("millpond")

STOP_WORKER_S = 5.0
STOP_SENDER_S = 2.0
STOP_LINK_S = 2.0
STOP_POST_S = 1.0
STOP_SINK_S = 0.5
DONE, FAILED = 0, 1


def run_plant(
    plant: Plant,
    *,
    clock_topic: str | None = None,
    record: Path | None = None,
    environment: Mapping[str, str] = os.environ,
    make_intake: Callable[[Plant, Ledger], Intake] | None = None,
    plant_file: Path | None = None,
) -> int:
    """Run the agent for a plant until SIGINT or SIGTERM; the exit code.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    clock_topic : str, optional
        RFC 3339 times on this topic are the clock; `None`: the machine's.
    record : Path, optional
        Keeps a recording of all that arrives.
    environment : mapping of str to str
        Says where the broker's credentials are.
    make_intake : callable, optional
        Makes what takes items in; `None`: the pipeline.
    plant_file : Path, optional
        Is read again when it changes and on SIGHUP; `None`: never.

    Raises
    ------
    MillpondError
        If it cannot start: store, recording or credentials are not usable.
    """
    with ExitStack() as stack:
        stack.enter_context(held_alone(plant.store))
        ledger = Ledger.open(
            plant.store,
            belief_schema=BELIEF_SCHEMA,
            backlog_max=plant.backlog_max_ms,
            keeping=plant.keeping,
        )
        stack.callback(ledger.close)
        intake = (make_intake or _pipeline)(plant, ledger)
        agent = Agent(plant, ledger, intake, clock_topic=clock_topic, environment=environment)
        if plant_file is not None:
            agent.file = PlantFile(plant_file, plant)
        if record is not None:
            agent.worker.recorder = RecordingWriter(record)
            stack.callback(agent.worker.recorder.close)
        return agent.run()


@runtime_checkable
class Changing(Protocol):
    """An intake that can go on with a changed plant file."""

    def changed(self, plant: Plant) -> "ChangingIntake":
        """Give the intake that takes its place, once all that was taken in is committed."""


class ChangingIntake(Intake, Changing, Protocol):
    """Both."""


class Agent:
    """All parts of the live process, put together once.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    ledger : Ledger
        The plant's store, on disk.
    intake : Intake
        Takes in what arrives.
    clock_topic : str, optional
        RFC 3339 times on this topic are the clock; `None`: the machine's.
    environment : mapping of str to str
        Says where the broker's credentials are.
    """

    def __init__(
        self,
        plant: Plant,
        ledger: Ledger,
        intake: Intake,
        *,
        clock_topic: str | None,
        environment: Mapping[str, str],
    ) -> None:
        self._ledger, self._intake = ledger, intake
        self._stopping = threading.Event()
        self._ends: SimpleQueue[str] = SimpleQueue()
        patience = Patience(self._stopping)
        start = ledger.clock()
        wall = WallClock()
        clock: Clock = wall if clock_topic is None else TopicClock(start)
        if clock_topic is None and start is not None:
            _warn_of_clock(start, wall.now())
        online = agent_online(plant.prefix, VERSION, 0).topic
        self._filters = (online, *intake.filters, *(() if clock_topic is None else (clock_topic,)))
        self._intake_filters = intake.filters
        former = ledger.filters()
        ledger.keep_filters(former.union(self._filters))
        ledger.wait_with(patience)
        self.inbox = Inbox(clock, floor=start)
        since = clock.now() or wall.now()
        self.link = BrokerLink(
            plant.broker,
            read_credentials(environment),
            Session(
                client_id=plant.broker.client_id,
                filters=intake.filters,
                former_filters=former,
                clock_topic=clock_topic,
                online=agent_online(plant.prefix, VERSION, since),
                offline=agent_offline(plant.prefix, VERSION, since),
            ),
            self.inbox,
        )
        self.sender = Sender(ledger, self.link)
        self.worker = Worker(self.inbox, intake, ledger, patience)
        self.file: PlantFile | None = None
        """Watches the plant file; `None`: it is not read again."""
        self.page: PageServer | None = None
        self.operation = OperationDesk(
            plant, self._live(wall), environment, patience, ledger.plant_changes
        )
        self._wire(plant)
        self._sink = _sink(plant, ledger, environment)
        self._clock = clock
        self._around = _around(intake, ledger, has_historian=self._sink is not None)
        self._post = _post(plant, ledger, environment, wall)
        self._schedule = Schedule(
            self.inbox.tick if clock_topic is None else None,
            ledger.housekeep,
            hurried=clock_topic is not None,
        )

    def _live(self, wall: WallClock) -> Live:
        """What whoever asks is told of this process."""
        return Live(
            started=wall.now(),
            is_connected=lambda: self.link.connected,
            in_queue=lambda: self.inbox.waiting,
        )

    def _wire(self, plant: Plant) -> None:
        """Connect the parts."""
        self.worker.acknowledge = self.link.acknowledge
        self.worker.count = self.operation.take
        self.worker.on_stored = self.sender.wake
        self.worker.check = self._check
        self.worker.on_end = lambda: self._ends.put("the worker")
        self.page = _page(plant, self.link, self._belief)
        if self.page is not None:
            self.worker.on_committed = self.page.take

    def run(self) -> int:
        """Start every part, wait for a signal or a failure, end every part; the exit code."""
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._on_signal)
        if self.file is not None and sys.platform != "win32":
            signal.signal(signal.SIGHUP, lambda *_: self._on_hangup())
        self.inbox.tick()
        self.worker.start()
        self.sender.start()
        self._schedule.start()
        self.operation.start(None if self.file is None else self.file.path)
        self.link.start()
        if self.page is not None:
            self._start_page(self.page)
        if self._sink is not None:
            self._sink.start()
        self._post.start()
        LOG.info("listening to %d topics at %s", len(self._filters), self.link.address)
        LOG.info("stopping: %s", self._ends.get())
        return self._stop()

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        """Ask for a graceful end; the next signal ends the process at once."""
        for each in (signal.SIGINT, signal.SIGTERM):
            signal.signal(each, signal.SIG_DFL)
        self._ends.put(signal.Signals(number).name)

    def _check(self) -> None:
        """See that the other threads are well; the worker does so every second."""
        self.operation.check()
        self.link.check()
        self._around.link(self._clock.now(), connected=self.link.connected)
        if self.sender.failure is not None:
            raise self.sender.failure
        if self.page is not None:
            self.page.check()
        plant = None if self.file is None else self.file.look()
        if plant is not None:
            self._change(plant)

    def _on_hangup(self) -> None:
        """Have the plant file read again."""
        if self.file is not None:
            self.file.ask()

    def _change(self, plant: Plant) -> None:
        """Go on with a changed plant file; on the worker's thread, between batches."""
        if not isinstance(self._intake, Changing):
            return
        self._intake = self._intake.changed(plant)
        self.worker.replace_intake(self._intake)
        clock = self._filters[1 + len(self._intake_filters) :]
        before, self._intake_filters = self._filters, self._intake.filters
        self._filters = (before[0], *self._intake.filters, *clock)
        self._ledger.keep_filters({*before, *self._filters})
        self.link.listen_to(self._intake.filters)
        if self._sink is not None:
            self._ledger.make_lines = _lines_of(plant)
        if self.page is not None:
            self._change_page(self.page, plant)
        self._post.change(plant.notify)
        self.operation.changed(plant, None if self.file is None else self.file.path)
        self.sender.wake()
        LOG.info("the plant file has changed: %d sumps, by what it says now", len(plant.sumps))

    def _change_page(self, former: "PageServer", plant: Plant) -> None:
        """Serve the page of a changed plant file; who was signed in stays so."""
        former.stop()
        self.page = _page(plant, self.link, self._belief)
        if self.page is not None:
            self.page.succeed(former)
            self._start_page(self.page)
            self.worker.on_committed = self.page.take

    def _start_page(self, page: "PageServer") -> None:
        """Serve a page, which may change the plant file where there is one."""
        if self.file is not None:
            page.set_up(self.file.path, self.file.ask)
        page.start()

    def _belief(self, sump: str) -> "Belief | None":
        """What is believed of a sump; on the worker's thread."""
        belief_of: Callable[[str], Belief | None] = getattr(self._intake, "belief", lambda _: None)
        return belief_of(sump)

    def _stop(self) -> int:
        """End every part in the order in which they depend on each other."""
        self._stopping.set()
        self.operation.stopping()
        if self.page is not None:
            self.page.stop()
        self._schedule.stop()
        self.inbox.close()
        ended = self.worker.stop(STOP_WORKER_S)
        self.sender.stop(STOP_SENDER_S)
        if self._sink is not None:
            self._sink.stop(STOP_SINK_S)
        self._post.stop(STOP_POST_S)
        self.link.stop(STOP_LINK_S)
        self.operation.stop()
        failure = self.worker.failure
        if not ended:
            LOG.error("the worker did not end within %g s", STOP_WORKER_S)
        elif isinstance(failure, MillpondError):
            LOG.error("%s", failure)
        elif failure is not None:
            LOG.error("a mistake in millpond ended the worker", exc_info=failure)
        else:
            self._ledger.keep_filters(self._filters)
            LOG.info("stopped; everything taken in is stored")
            return DONE
        return FAILED


def _pipeline(plant: Plant, ledger: Ledger) -> Intake:
    """Make the pipeline, with what the ledger holds taken up."""
    from agent.pipeline import Pipeline

    return Pipeline(plant, ledger)


def _warn_of_clock(start: Instant, now: Instant) -> None:
    """Say that the machine's clock is behind the store's newest entry. [ms]"""
    if start > now + MINUTE:
        LOG.warning(
            "the clock is %.0f min behind the store's newest entry: until it has caught up, "
            "arrivals get that entry's time",
            (start - now) / MINUTE,
        )


def _around(intake: Intake, ledger: Ledger, *, has_historian: bool) -> Around:
    """What the intake asks of its surroundings; an intake that asks nothing is told nothing."""
    around: Around = getattr(intake, "around", Around())
    around.notifies = True
    if has_historian:
        around.waiting = lambda: (ledger.waiting.count, ledger.waiting.since)
    return around


def _post(
    plant: Plant, ledger: Ledger, environment: Mapping[str, str], clock: WallClock
) -> PostOffice:
    """Make the threads that notify people; of a plant file without targets there are none."""
    post = PostOffice(ledger.notices, environment, clock.now)
    post.serve(plant.notify)
    return post


def _sink(plant: Plant, ledger: Ledger, environment: Mapping[str, str]) -> "Sink | None":
    """Make the historian's thread, where the plant file names one; else nothing of it is loaded."""
    if plant.historian is None:
        return None
    from agent.historian.server import InfluxServer
    from agent.historian.sink import Sink

    ledger.make_lines = _lines_of(plant)
    server = InfluxServer(plant.historian, read_token(environment))
    return Sink(ledger.waiting, server, plant.historian.url)


def _lines_of(plant: Plant) -> Callable[[Batch], list[str]]:
    """What makes the historian's lines of a batch."""
    from agent.historian.lines import Lines

    return Lines(plant).of_batch


def _page(
    plant: Plant, link: BrokerLink, belief_of: "Callable[[str], Belief | None]"
) -> "PageServer | None":
    """Make the page's thread, where the plant file wants a page; else nothing of it is loaded."""
    if plant.page is None:
        return None
    from agent.page.server import PageServer

    return PageServer(
        plant,
        plant.page,
        publish=link.publish,
        is_connected=lambda: link.connected,
        belief_of=belief_of,
    )
