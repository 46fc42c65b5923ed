"""One event keeps the id under which it was told first, whoever tells of it later.

What was inferred from the level may be reported hours afterwards, and with something late folded
in, it may begin a little earlier: the estimator then gives it another id. Here the newcomer takes
the place, and the id, of what vanished at the same time.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from advisor.words import MINUTE, Instant, SumpEvent

SAME: Instant = 20 * MINUTE
"""Accounts of one event lie no further apart than this. [ms]"""
Names = tuple[tuple[str, str], ...]
"""Ids as the estimator gives them, each with the id under which the event was told."""


def as_told(
    names: Names, told: Sequence[SumpEvent], events: Sequence[SumpEvent]
) -> tuple[Names, tuple[SumpEvent, ...]]:
    """Give events under the ids under which they were told.

    Parameters
    ----------
    names : Names
        Ids that differ so far.
    told : sequence of SumpEvent
        As last told, under the ids told.
    events : sequence of SumpEvent
        As the estimator has them now, oldest first.

    Returns
    -------
    names, events
        Ids that differ now, and the events under the ids to be told.
    """
    known = dict(names)
    present = {event.id for event in events}
    kept = {own: name for own, name in known.items() if own in present and name not in present}
    taken = {kept.get(event.id, event.id) for event in events}
    fresh = {event.id for event in told}
    gone = [event for event in told if event.id not in taken and event.kind != "withdrawn"]
    for event in events:
        if kept.get(event.id, event.id) in fresh or event.kind == "withdrawn":
            continue
        same = min(_alike(gone, event), key=lambda old: abs(old.at - event.at), default=None)
        if same is not None:
            kept[event.id] = same.id
            gone.remove(same)
    renamed = [replace(event, id=kept.get(event.id, event.id)) for event in events]
    return tuple(kept.items()), tuple(renamed)


def _alike(gone: Sequence[SumpEvent], event: SumpEvent) -> Iterator[SumpEvent]:
    """Give what vanished and may have been this event."""
    for old in gone:
        if old.kind == event.kind and abs(old.at - event.at) <= SAME:
            yield old
