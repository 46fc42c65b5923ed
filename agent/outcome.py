"""What comes of the items taken in: what is to be stored, and what is to be published."""

from collections.abc import Iterable

from advisor.effects import AlarmReport, Effect, PublishAlarm, PublishEvent, PublishState
from advisor.words import AlarmOrder, Instant
from agent.alarms.office import AlarmOffice
from agent.arrival import Outgoing
from agent.decode.results import NodeCommand, Refusal
from agent.messages.publish import alarm_answer, outgoing_for
from agent.messages.us_units import read_in_us_units
from agent.plant.plant import Plant
from agent.store.batch import Batch
from agent.store.history import history_row


class Outcome:
    """Gathers until somebody commits it.

    Parameters
    ----------
    plant : Plant
        Its prefix and its units.
    office : AlarmOffice
        Notes every change of an alarm.

    Attributes
    ----------
    batch : Batch
        To be stored.
    published : list of (Instant, Outgoing)
        Messages, with the clock at which each was decided. [ms]
    """

    def __init__(self, plant: Plant, office: AlarmOffice) -> None:
        self._plant, self._office = plant, office
        self.batch = Batch()
        self.published: list[tuple[Instant, Outgoing]] = []

    def tell(
        self, now: Instant, about: str, effects: tuple[Effect, ...], by: str | None = None
    ) -> None:
        """Put down the messages of a judgement, with the clock at which it was made.

        `about` is a sump, a supply or the whole plant; `by` is who ordered it, if somebody did.
        """
        told = map(read_in_us_units, effects) if self._plant.units == "us" else effects
        for effect in told:
            if isinstance(effect, PublishAlarm):
                self.batch.changes.append(self._office.note(now, about, effect.alarm, by))
            else:
                self._keep(about, effect)
            for outgoing in outgoing_for(effect, self._plant.prefix, about):
                self.published.append((now, outgoing))
                if outgoing.retain:
                    self.batch.retained[outgoing.topic] = outgoing.payload

    def report(
        self, now: Instant, told: Iterable[tuple[str, AlarmReport]], by: str | None = None
    ) -> None:
        """Put down reports of alarms, each with what it is about."""
        for about, report in told:
            self.tell(now, about, (PublishAlarm(report),), by)

    def answer(self, now: Instant, order: AlarmOrder, refusal: str | None) -> None:
        """Tell whoever waits for it what became of an order."""
        if order.id:
            self.say(now, alarm_answer(order, refusal, self._plant.prefix))

    def say(self, now: Instant, outgoing: Outgoing) -> None:
        """Put down a message that is no judgement's."""
        self.published.append((now, outgoing))

    def command(self, now: Instant, command: NodeCommand) -> None:
        """Say something to an edge node, where there is anything to say."""
        if command.outgoing is not None:
            self.say(now, command.outgoing)

    def refuse(self, now: Instant, refusal: Refusal) -> None:
        """Keep what could not be used, with its reason."""
        self.batch.refusals.append((now, refusal))

    def seal(self, now: Instant) -> Batch:
        """Give what was gathered, and begin anew."""
        batch, self.batch = self.batch, Batch()
        batch.clock = now
        batch.outgoing.extend(outgoing for _, outgoing in self.published)
        self.published = []
        return batch

    def _keep(self, sump: str, effect: Effect) -> None:
        """Put down what is kept for charts: the state of a whole minute, and events."""
        if isinstance(effect, PublishState):
            row = history_row(effect.state)
            if row is not None:
                self.batch.history.append((sump, row))
        elif isinstance(effect, PublishEvent):
            self.batch.events.append((sump, effect.event))
