"""A charge that is being carried out, step by step, by whoever has the page open.

Every batch that is ticked reports all that was poured so far, in place of the report before, as
the list of a top-up does. What was worked out when it began stays: nobody's buckets change in
their hands.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeAlias

from advisor.calibration import Charged
from advisor.words import MINUTE, Instant
from agent.calculators import Recipe
from agent.instants import text_of
from agent.sheets import POURED, other_cautions, stages

BATCHES_TICKED = 60
"""More batches than this of one kind are one tick. [1]"""

ItemKind: TypeAlias = Literal["work", "drain", "pour", "circulate", "check", "report"]
_KINDS: Mapping[str, ItemKind] = {
    "drain": "drain",
    "circulate": "circulate",
    "check": "check",
    "report": "report",
}

ChargeReport: TypeAlias = Literal["begun", "drain", "filled", "done", "check"]
"""What is told of a charge: its three stages, the drain, and the reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing to do and to tick. [L]"""

    kind: ItemKind
    text: str
    cautions: tuple[str, ...] = ()
    water: float = 0.0
    concentrate: float = 0.0
    number: int = 1
    """Which batch of its kind it is. [1]"""
    count: int = 1
    """Batches of its kind. [1]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """A charge that was begun, and how far it is. Times in ms."""

    title: str
    items: tuple[Item, ...]
    charged: Charged
    """As it is to be measured in."""
    factor: float | None
    """Of the refractometer. [%/°Brix]"""
    circulate: float
    """For how long the pumps run until it is mixed. [min]"""
    begun: Instant
    by: str = ""
    done: frozenset[int] = frozenset()
    reports: Mapping[str, str] = field(default_factory=dict)
    """By `ChargeReport`, id of the one that stands."""
    times: Mapping[str, Instant] = field(default_factory=dict)
    """By `ChargeReport`, the moment that it is about."""
    circulating: Instant | None = None
    """Since when the pumps mix it."""
    reading: float | None = None
    """Of the fresh charge. [°Brix]"""
    touched: Instant = 0

    @property
    def next_item(self) -> int | None:
        """Number of the first item that is not done."""
        return next((n for n in range(len(self.items)) if n not in self.done), None)

    @property
    def last_item(self) -> int | None:
        """Number of the item that was done last, in their order."""
        return max(self.done, default=None)

    @property
    def is_complete(self) -> bool:
        """Whether all of it is done."""
        return len(self.done) == len(self.items)

    @property
    def poured(self) -> tuple[float, float]:
        """Water and concentrate of all batches that were ticked. [L]"""
        ticked = [self.items[number] for number in sorted(self.done)]
        return (
            round(sum(item.water for item in ticked), 6),
            round(sum(item.concentrate for item in ticked), 6),
        )

    @property
    def mixed_at(self) -> Instant | None:
        """When it will have been circulated for long enough. [ms]"""
        at = self.circulating
        return None if at is None else at + round(self.circulate * MINUTE)


def begin(recipe: Recipe, now: Instant, by: str) -> Work:
    """Make the list of a recipe that is now carried out. [ms]"""
    after, task = recipe.after, recipe.task
    return Work(
        title=recipe.title,
        items=tuple(_items(recipe)),
        charged=Charged(
            volume=after.volume.value,
            strength=after.concentration.value,
            target=task.target,
            weakest=task.weakest,
            strongest=task.strongest,
        ),
        factor=recipe.factor,
        circulate=recipe.circulate,
        begun=now,
        touched=now,
        by=by,
    )


def _items(recipe: Recipe) -> list[Item]:
    """Stages of a recipe, one item for each batch; the first says what no stage says."""
    items: list[Item] = []
    portions = iter(recipe.portions)
    for stage in stages(recipe):
        beware = stage.cautions if items else (*other_cautions(recipe), *stage.cautions)
        if not stage.name.startswith(POURED):
            kind = _KINDS.get(stage.name, "work")
            text = stage.text.replace(REPORT_BEGUN, BEGUN)
            items.append(Item(kind=kind, text=text, cautions=beware))
            continue
        _, batch = next(portions)
        each = batch.count if batch.count <= BATCHES_TICKED else 1
        times = batch.count / each
        items += [
            Item(
                kind="pour",
                text=stage.text,
                cautions=beware,
                water=times * batch.water,
                concentrate=times * batch.concentrate,
                number=number,
                count=each,
            )
            for number in range(1, each + 1)
        ]
    if not any(item.kind == "report" for item in items):
        items.append(Item(kind="report", text=REPORT))
    return items


REPORT_BEGUN = "Report the charge as begun: from then on the sensors are not listened to."
BEGUN = "The charge is reported as begun: until it is done the sensors are not listened to."
"""Said in place of the other: whoever follows the list has begun it with a button."""
REPORT = "Report the charge as done, with the litres poured: the balance begins anew."


def ticked(work: Work, number: int, *, done: bool, now: Instant, by: str) -> Work:
    """Put a tick at an item, or take it away; the first about pumps starts their time. [ms]

    Raises
    ------
    IndexError
        If there is no such item.
    """
    if not 0 <= number < len(work.items):
        raise IndexError(number)
    changed = work.done | {number} if done else work.done - {number}
    return replace(work, done=changed, touched=now, by=by or work.by)


def circulated(work: Work, now: Instant) -> Work:
    """Start the time of the pumps. [ms]"""
    return replace(work, circulating=now, touched=now)


def read_at(work: Work, reading: float, now: Instant) -> Work:
    """Note what the refractometer says of the fresh charge. [°Brix], [ms]"""
    return replace(work, reading=reading, touched=now)


def moment(work: Work, report: ChargeReport, now: Instant) -> Instant:
    """Moment that a report is about: as before where it is told again, else after all others.

    Entries about one moment have no order, and a charge that is done before it is begun is none.
    """
    if report in work.times:
        return work.times[report]
    return max([now, *(at + 1 for at in work.times.values())])


def body(work: Work, report: ChargeReport, at: Instant, to: str = "") -> tuple[str, dict[str, Any]]:
    """Channel and body of the message that says how far a charge is. [ms]"""
    common: dict[str, Any] = {"at": text_of(at), "by": work.by}
    if report in work.reports:
        common["replaces"] = work.reports[report]
    water, concentrate = work.poured
    match report:
        case "begun":
            return "charge", {**common, "stage": "begun"}
        case "drain":
            return "drain", {**common, "all": True, "to": to}
        case "filled" | "done":
            amounts = {"water_l": water, "concentrate_l": concentrate}
            return "charge", {**common, "stage": report, **amounts}
        case "check":
            said = {"kind": "refractometer", "value": work.reading, "unit": "degBrix"}
            return "check", {**common, **said, "sample": "as-is"}


def reported(work: Work, report: ChargeReport, name: str, at: Instant) -> Work:
    """Note the id of the report that stands. [ms]"""
    return replace(work, reports={**work.reports, report: name}, times={**work.times, report: at})


def report_of(item: Item) -> ChargeReport | None:
    """What a tick at an item tells; nothing where it is only work."""
    known: Mapping[str, ChargeReport] = {"drain": "drain", "pour": "filled", "report": "done"}
    return known.get(item.kind)
