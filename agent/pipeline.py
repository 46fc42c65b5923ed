"""One message through the core; live and replay call the same function.

`Pipeline.take` decodes, admits, folds, judges, and gathers what is to be stored and published.
Whoever drives it commits `seal()` first and acknowledges then. It never waits and never asks for
the time: every item brings its own.
"""

import logging
from typing import assert_never

from advisor.alarms import standing
from advisor.condition import NOTED
from advisor.estimate import Belief
from advisor.sump import Occasion
from advisor.words import MINUTE, AlarmOrder, Delivery, Evidence, Instant, Reading, StationAnswer
from agent.admission import Admission, Keep, Repeat, Take
from agent.alarms.around import Around
from agent.alarms.office import KEEPSAKE, AlarmOffice
from agent.arrival import Arrival, Outgoing, Tick
from agent.decode.decoder import Decoder
from agent.decode.results import (
    Decoded,
    NodeCommand,
    Reason,
    Refusal,
    Report,
    Sample,
    Silence,
    StockReport,
)
from agent.handover import hand_over
from agent.outcome import Outcome
from agent.plain_signals import plain_signals
from agent.plant.plant import Plant
from agent.refusals import refusal_of
from agent.store.batch import Batch, StoredEntry, entry_id
from agent.store.ledger import Ledger
from agent.sump_desk import NO_MINUTE, SumpDesk
from agent.throttle import Throttle
from agent.timeline import Timeline

LOG = logging.getLogger("millpond.pipeline")

CLOCK_REASONS = frozenset({Reason.FUTURE, Reason.TOO_OLD})
"""Refusals from which a station's clock is known to be wrong."""

_new = tuple.__new__
SETTLE = 10_000
"""Every so often of the clock, whole minutes that no later reading has completed are told. [ms]"""


class Pipeline:
    """The agent without its threads: items in, a batch to store and messages to publish out.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    ledger : Ledger
        The store; whatever it holds is taken up.
    """

    _is_new = True
    """Whether edge nodes are still to be asked who they are."""

    _due: Instant = 0
    """Clock up to which there is surely nothing for the timers to do."""

    def __init__(self, plant: Plant, ledger: Ledger) -> None:
        self.plant = plant
        self._ledger = ledger
        self._decoder = Decoder(plant)
        self._throttle = Throttle(plant, self._decoder)
        self.filters = self._decoder.filters
        self._admission = Admission(plant, ledger.newest(), ledger.has_reading)
        self._plain = plain_signals(plant, self._admission.tracks, self._throttle)
        stored_clock = ledger.clock()
        self._now: Instant = 0 if stored_clock is None else stored_clock
        self._since: Instant | None = None
        """When this run began to listen: no signal is called stale for what happened before."""
        self._desks = {
            name: SumpDesk(sump, Timeline(sump, plant.lateness_ms), plant.supplies)
            for name, sump in plant.sumps.items()
        }
        self._entries_here: set[tuple[str, str]] = set()
        """Entries that the store may not hold yet."""
        self._touched: dict[str, SumpDesk] = {}
        self._pending: dict[str, SumpDesk] = {}
        self.around = Around()
        """What whoever drives it knows beside the messages."""
        keepsakes = ledger.standings()
        self._office = AlarmOffice(plant, keepsakes.get(KEEPSAKE))
        self._outcome = Outcome(plant, self._office)
        for name, desk in self._desks.items():
            desk.restore(ledger, None)
            desk.remember(keepsakes.get(name))
            stood = standing(desk.standing.board, desk.plan)
            self._office.found_standing((name, report) for report in stood)
            if desk.pending is not None:
                self._pending[name] = desk

    @property
    def published(self) -> list[tuple[Instant, Outgoing]]:
        """Messages since the last `seal`, with the clock at which each was decided. [ms]

        Whoever takes care of them otherwise empties the list.
        """
        return self._outcome.published

    # --- driving ---------------------------------------------------------------------------------

    def take(self, item: Arrival | Tick) -> None:
        """Take in one item; items come in the order of their stamps. Bad input never raises."""
        if item.at >= self._due:
            self._advance(item.at)
            if self._is_new:
                self._is_new = False
                for command in self._decoder.begin(self._now):
                    self._outcome.command(self._now, command)
        elif item.at > self._now:
            self._now = item.at
        if isinstance(item, Tick) or self._took_plain(item):
            return
        for decoded in self._throttle.decode(item):
            self._accept(decoded, item)

    def seal(self) -> Batch:
        """What is to be stored since the last call; the caller commits it, then acknowledges."""
        batch = self._outcome.seal(self._now)
        for desk in self._touched.values():
            keepsake = desk.new_keepsake()
            if keepsake is not None:
                batch.standings[desk.plan.id] = keepsake
            checkpoint = desk.new_checkpoint()
            if checkpoint is not None:
                batch.checkpoints.append((desk.plan.id, *checkpoint))
        plant_keepsake = self._office.new_keepsake()
        if plant_keepsake is not None:
            batch.standings[KEEPSAKE] = plant_keepsake
        self._touched.clear()
        self._entries_here = {(kept.sump, entry_id(kept.entry)) for kept in batch.entries}
        return batch

    def changed(self, plant: Plant) -> "Pipeline":
        """The pipeline of a changed plant file, which goes on here; all must have been sealed."""
        for desk in self._desks.values():
            if desk.outdated_from is not None:
                self._rebuild(desk, desk.outdated_from)
        self._ledger.commit(hand_over(self._ledger, self._desks, self.plant, plant, self._now))
        after = Pipeline(plant, self._ledger)
        after._since, after.around = self._since, self.around
        return after

    def belief(self, sump: str) -> Belief:
        """What is believed of a sump with all that was taken in; a value that nobody changes."""
        return self._desks[sump].timeline.belief

    # --- time ------------------------------------------------------------------------------------

    def _advance(self, to: Instant) -> None:
        """Run the timers that are due before the clock stands at `to`, in their order."""
        if self._since is None:
            self._since = to
            self._now = self._now or to
        while True:
            due = self._now - self._now % MINUTE + MINUTE
            if self._pending:
                due = min(due, self._now - self._now % SETTLE + SETTLE)
            if due > to:
                break
            self._now = due
            self._on_timer(due)
        self._now = max(self._now, to)
        self._due = due

    def _on_timer(self, clock: Instant) -> None:
        """Tell the minutes that are over, and see to what time alone changes."""
        for desk in list(self._pending.values()):
            minute = desk.pending
            if minute is not None and minute <= clock:
                self._judge(desk, minute, Occasion.MINUTE)
            elif desk.outdated_from is not None:
                # Once a minute, so that a backlog that trickles in is not folded for each reading.
                if clock % MINUTE == 0:
                    self._judge(desk, desk.timeline.newest, Occasion.EVENT)
            elif minute is None:
                del self._pending[desk.plan.id]
        if clock % MINUTE == 0:
            self._look(clock)
            for desk in self._desks.values():
                if desk.told is not None and desk.wakes(clock):
                    self._judge(desk, desk.told, Occasion.TIMER)
            if self.around.notifies:
                self._outcome.batch.notices += self._office.notices(clock)

    def _look(self, clock: Instant) -> None:
        """Judge what concerns the whole plant: the feed, and the supplies."""
        heard = [desk.heard for desk in self._desks.values()]
        self._outcome.report(self._now, self._office.look(heard, clock, self.around))

    # --- what came in ----------------------------------------------------------------------------

    def _took_plain(self, arrival: Arrival) -> bool:
        """Take in a reading that is as most are; whatever it changes elsewhere is known already."""
        plain = self._plain.get(arrival.topic)
        if plain is None:
            return False
        desk = self._desks[plain.sump]
        at, signal = arrival.at, plain.signal
        value = plain.value_of(arrival) if at > desk.timeline.newest else None
        if value is None:
            return False
        reading = _new(Reading, (at, signal, value))
        if at <= desk.open_minute:
            self._outcome.batch.readings.append((plain.sump, signal, at, value, True))
            desk.timeline.add_newest(reading)
            self._touched[plain.sump] = desk
        else:
            self._complete(desk, at)
            self._put_down(plain.sump, reading, used=True)
            self._fold(desk, reading)
        return True

    def _accept(self, decoded: Decoded, arrival: Arrival) -> None:
        """Give one decoded piece of a message to whom it concerns."""
        match decoded:
            case Sample():
                self._accept_sample(decoded, arrival)
            case Report():
                self._accept_report(decoded, arrival)
            case AlarmOrder() | StockReport() | StationAnswer():
                self._accept_saying(decoded, arrival)
            case Refusal():
                self._outcome.refuse(self._now, decoded)
            case Silence():
                self._miss(decoded)
            case NodeCommand():
                self._outcome.command(self._now, decoded)
            case _:
                assert_never(decoded)

    def _miss(self, silence: Silence) -> None:
        """Call a signal stale whose sender has taken leave."""
        desk = self._desks[silence.sump]
        desk.silent[silence.signal] = silence.at
        if desk.told is not None:
            self._judge(desk, desk.told, Occasion.EVENT)

    def _accept_sample(self, sample: Sample, arrival: Arrival) -> None:
        """Store a sensor's value, and use it where its time allows."""
        verdict = self._admission.admit(sample, arrival)
        match verdict:
            case Take():
                reading, desk = verdict.reading, self._desks[sample.sump]
                self._complete(desk, reading.at)
                self._put_down(sample.sump, reading, used=True)
                self._fold(desk, reading)
            case Keep():
                self._put_down(sample.sump, verdict.reading, used=False)
            case Refusal():
                self._outcome.refuse(self._now, verdict)
            case Repeat():
                pass
            case _:
                assert_never(verdict)

    def _accept_report(self, report: Report, arrival: Arrival) -> None:
        """Take in what a person or a station reported, once."""
        verdict = self._admission.admit_report(report, arrival)
        desk = self._desks[report.sump]
        if isinstance(verdict, Refusal):
            self._outcome.refuse(self._now, verdict)
            if isinstance(report.entry, Delivery) and verdict.reason in CLOCK_REASONS:
                self._hear_station(desk, report.entry)
            return
        entry = verdict.entry
        key = (report.sump, entry_id(entry))
        if key in self._entries_here or self._ledger.has_entry(*key):
            return
        self._entries_here.add(key)
        if verdict.used:
            self._complete(desk, entry.at)
        self._outcome.batch.entries.append(
            StoredEntry(report.sump, entry, arrival.at, verdict.used)
        )
        if isinstance(entry, Delivery):
            self._hear_station(desk, entry)
        if not verdict.used:
            LOG.warning(
                "%s: it waited at the broker and does not say when it happened: kept in the"
                " records, not used",
                arrival.topic,
            )
            return
        replaced = getattr(entry, "replaces", None)
        if replaced is not None:
            desk.correct(replaced)
            if not desk.timeline.remove(replaced):
                desk.outdate(arrival.at - self.plant.backlog_max_ms)
        self._fold(desk, entry)
        self._judge(desk, desk.timeline.newest, Occasion.EVENT)

    def _accept_saying(
        self, said: AlarmOrder | StockReport | StationAnswer, arrival: Arrival
    ) -> None:
        """Take in what is no evidence for a balance, where its time allows."""
        untimely = self._admission.untimely(said.at, arrival, report=True)
        if untimely is not None:
            self._outcome.refuse(self._now, untimely)
            if isinstance(said, AlarmOrder):
                self._outcome.answer(self._now, said, untimely.detail)
            elif isinstance(said, StationAnswer) and untimely.reason in CLOCK_REASONS:
                self._hear_station(self._desks[said.sump], said)
        elif isinstance(said, AlarmOrder):
            self._obey(said, arrival)
        elif isinstance(said, StockReport):
            self._outcome.batch.stock.append(said)
            self._outcome.report(self._now, self._office.take_stock(said, self._now))
        else:
            refusal = self._hear_station(self._desks[said.sump], said)
            if refusal is not None:
                self._outcome.refuse(
                    self._now, refusal_of(arrival, Reason.SCHEMA, refusal, sump=said.sump)
                )

    def _hear_station(self, desk: SumpDesk, said: StationAnswer | Delivery) -> str | None:
        """Let what a station says move the setpoint that it is about; why it is of no use."""
        effects, refusal = desk.hear_station(said, self._now)
        self._outcome.tell(self._now, desk.plan.id, effects)
        self._touched[desk.plan.id] = desk
        if desk.standing.station.news and desk.told is not None:
            self._judge(desk, desk.told, Occasion.TIMER)
        return refusal

    def _obey(self, order: AlarmOrder, arrival: Arrival) -> None:
        """Carry out a command on an alarm."""
        if order.sump:
            desk = self._desks[order.sump]
            effects, refusal = desk.obey(order, self._now)
            self._outcome.tell(self._now, order.sump, effects, by=order.by)
            self._touched[order.sump] = desk
        else:
            told, refusal = self._office.obey(order, self._now)
            self._outcome.report(self._now, told, by=order.by)
        if refusal is not None:
            self._outcome.refuse(
                self._now, refusal_of(arrival, Reason.SCHEMA, refusal, sump=order.sump or None)
            )
        self._outcome.answer(self._now, order, refusal)

    # --- the sump --------------------------------------------------------------------------------

    def _put_down(self, sump: str, reading: Reading, *, used: bool) -> None:
        """Put a reading down for the store."""
        at, signal, value = reading
        self._outcome.batch.readings.append((sump, signal, at, value, used))

    def _complete(self, desk: SumpDesk, at: Instant) -> None:
        """Tell the minute that evidence of a later time completes, before that is put down."""
        pending = desk.pending
        if pending is not None and at > pending:
            self._judge(desk, pending, Occasion.MINUTE)

    def _fold(self, desk: SumpDesk, evidence: Evidence) -> None:
        """Put evidence in its place."""
        if desk.timeline.reaches(evidence.at):
            desk.timeline.add(evidence)
        else:
            desk.outdate(evidence.at)
        if not isinstance(evidence, Reading) or evidence.signal in NOTED:
            desk.note(evidence)
        self._pending[desk.plan.id] = self._touched[desk.plan.id] = desk
        desk.open_minute = desk.pending or NO_MINUTE
        self._due = 0

    def _judge(self, desk: SumpDesk, at: Instant, occasion: Occasion) -> None:
        """Judge a sump and put down what is to be told."""
        if desk.outdated_from is not None:
            self._rebuild(desk, desk.outdated_from)
            occasion = Occasion.EVENT
        office = self._office
        effects = desk.judge(at, self._now, self._since, occasion, office.outage, office.stock)
        self._outcome.tell(self._now, desk.plan.id, effects)
        self._touched[desk.plan.id] = desk
        if desk.pending is None:
            self._pending.pop(desk.plan.id, None)

    def _rebuild(self, desk: SumpDesk, at: Instant) -> None:
        """Fold again from the last belief kept before `at`, with all the evidence since.

        The evidence taken in so far counts as well. It is not stored here, but with everything else
        that came of the items being taken in: until then none of them must be known as stored.
        """
        batch, name = self._outcome.batch, desk.plan.id
        self._ledger.drop_checkpoints(name, at - 1)
        unstored = Batch(
            readings=[reading for reading in batch.readings if reading[0] == name],
            entries=[kept for kept in batch.entries if kept.sump == name],
        )
        desk.restore(self._ledger, at - 1, unstored)
