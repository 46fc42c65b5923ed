"""A top-up that is being carried out, step by step, with the bucket in hand.

The list stays as it was when the first step was ticked, while the advice moves on under it. Each
tick reports all that was poured so far, in place of the report before: one addition, begun when
the first bucket went in, and always true to what has been ticked.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeAlias

from advisor.words import Instant
from agent.instants import text_of
from agent.page.live import Body

STEPS_MAX = 200

Channel: TypeAlias = Literal["addition", "drain"]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do: drain so much, or one bucket: its water, then the concentrate. [L]"""

    channel: Channel
    water: float = 0.0
    concentrate: float = 0.0
    drain: float = 0.0


@dataclass(frozen=True, slots=True)
class Pour:
    """A list of steps, those done, and the reports that say so."""

    advice: str
    steps: tuple[Step, ...]
    kind: str
    done: frozenset[int] = frozenset()
    begun: Mapping[str, Instant] = field(default_factory=dict)
    """By channel, when its first step was ticked. [ms]"""
    reports: Mapping[str, str] = field(default_factory=dict)
    """By channel, id of the report that stands."""
    touched: Instant = 0
    by: str = ""

    @property
    def is_complete(self) -> bool:
        """Whether every step is done."""
        return len(self.done) == len(self.steps)

    @property
    def next_step(self) -> int | None:
        """Number of the first step that is not done."""
        return next((n for n in range(len(self.steps)) if n not in self.done), None)

    def total(self) -> Step:
        """All that was ticked. [L]"""
        ticked = [self.steps[number] for number in sorted(self.done)]
        return Step(
            "addition",
            round(sum(step.water for step in ticked), 6),
            round(sum(step.concentrate for step in ticked), 6),
            round(sum(step.drain for step in ticked), 6),
        )


def pour_of(advice: Body | None) -> Pour | None:
    """List of steps of an advice; nothing where it has none."""
    if advice is None or not advice["batches"]:
        return None
    steps = [Step("drain", drain=advice["drain_l"])] if advice["drain_l"] else []
    for batch in advice["batches"]:
        steps += [Step("addition", batch["water_l"], batch["concentrate_l"])] * batch["count"]
    if len(steps) > STEPS_MAX:
        return None
    return Pour(advice["id"], tuple(steps), advice["kind"])


def ticked(pour: Pour, number: int, *, done: bool, now: Instant, by: str) -> Pour:
    """Put a tick at a step, or take it away. [ms]

    Raises
    ------
    IndexError
        If there is no such step.
    """
    if not 0 <= number < len(pour.steps):
        raise IndexError(number)
    channel = pour.steps[number].channel
    return replace(
        pour,
        done=pour.done | {number} if done else pour.done - {number},
        begun={channel: now, **pour.begun},
        touched=now,
        by=by,
    )


def report(pour: Pour, channel: Channel) -> dict[str, Any]:
    """Body of the message that says all that was ticked of one channel so far."""
    total = pour.total()
    body: dict[str, Any] = {"at": text_of(pour.begun[channel]), "by": pour.by}
    if channel in pour.reports:
        body["replaces"] = pour.reports[channel]
    if channel == "drain":
        return {**body, "volume_l": total.drain}
    return {
        **body,
        "water_l": total.water,
        "concentrate_l": total.concentrate,
        "advice": pour.advice,
    }


def reported(pour: Pour, channel: Channel, name: str) -> Pour:
    """Note the id of the report that stands."""
    return replace(pour, reports={**pour.reports, channel: name})
