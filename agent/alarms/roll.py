"""All alarms that stand, as they were last told, and each change as a line of the journal."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from advisor.alarm_definitions import alarm_key
from advisor.effects import AlarmReport, AlarmState
from advisor.words import Instant
from agent.store.changes import AlarmChange

Key = tuple[str, str]
"""What an alarm is about, and its name and signal as at the end of its topic."""


class Roll:
    """Remembers what people were last told of each alarm; those that are normal are left out.

    Parameters
    ----------
    standing : iterable of (str, AlarmReport)
        What an earlier run left standing: about what, and how.
    """

    def __init__(self, standing: Iterable[tuple[str, AlarmReport]] = ()) -> None:
        self._standing: dict[Key, AlarmReport] = {}
        self.add(standing)

    @property
    def standing(self) -> Mapping[Key, AlarmReport]:
        """Every alarm that is not normal, in the order in which they came."""
        return MappingProxyType(self._standing)

    def add(self, standing: Iterable[tuple[str, AlarmReport]]) -> None:
        """Take up what stood before: no change, so that the journal says nothing of it."""
        self._standing |= {_key(about, report): report for about, report in standing}

    def take(
        self, at: Instant, about: str, report: AlarmReport, by: str | None = None
    ) -> AlarmChange:
        """Note what is told of an alarm; what the journal says of it.

        Parameters
        ----------
        at : Instant
            The clock. [ms]
        about : str
            Sump, supply or the whole plant.
        report : AlarmReport
            How the alarm stands now.
        by : str, optional
            Who ordered the change; `None`: nobody, it came by itself.
        """
        key = _key(about, report)
        before = self._standing.get(key)
        if report.state is AlarmState.NORMAL:
            self._standing.pop(key, None)
        else:
            self._standing[key] = report
        return AlarmChange(
            at=at,
            about=about,
            name=report.name,
            signal=report.signal,
            was=AlarmState.NORMAL if before is None else before.state,
            state=report.state,
            priority=report.priority,
            by=by,
            value=report.value,
            limit=report.limit,
            unit=report.unit,
            raised_at=report.raised_at,
            because_of=report.because_of,
            until=report.until,
        )


def _key(about: str, report: AlarmReport) -> Key:
    """What names an alarm."""
    return about, alarm_key(report.name, report.signal)
