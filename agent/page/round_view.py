"""One walk through the shop: what to take along, and what to do at each sump on the way.

The way is the order of the plant file. What is carried is added up over the sumps, so that one
fetches the concentrate once.
"""

from dataclasses import dataclass

from advisor.plan import SumpPlan
from agent.page.cards import Card, Urgency
from agent.page.office import Office
from agent.page.pours import Pour, pour_of


@dataclass(frozen=True, slots=True)
class Stop:
    """One sump on the way."""

    card: Card
    pour: Pour | None
    """Its steps, where something is to be poured."""

    @property
    def is_begun(self) -> bool:
        """Whether somebody has ticked a step of it already."""
        return self.pour is not None and bool(self.pour.done)


@dataclass(frozen=True, slots=True)
class Load:
    """How much of one concentrate the walk takes. [L]"""

    name: str
    concentrate: float
    sources: tuple[str, ...] = ()
    """Names of the drums that it may come from."""


@dataclass(frozen=True, slots=True)
class Walk:
    """The whole walk."""

    stops: tuple[Stop, ...]
    loads: tuple[Load, ...]
    water: float
    """In all. [L]"""
    buckets: int


def walk(office: Office) -> Walk:
    """The walk as it stands: sumps that want something, in the order of the plant file."""
    stops = []
    for name in office.plant.sumps:
        card = office.card(name)
        pour = office.pours.get(name, office.now) or pour_of(card.now.advice)
        if card.urgency in {Urgency.NOW, Urgency.LOOK, Urgency.UNKNOWN} or pour is not None:
            stops.append(Stop(card, pour))
    loads: dict[str, float] = {}
    sources: dict[str, dict[str, None]] = {}
    water, buckets = 0.0, 0
    for stop in stops:
        for number, step in enumerate(stop.pour.steps if stop.pour is not None else ()):
            if stop.pour is None or number in stop.pour.done or step.channel != "addition":
                continue
            water += step.water
            buckets += 1
            if step.concentrate > 0.0:
                fluid = stop.card.plan.fluid.name
                loads[fluid] = loads.get(fluid, 0.0) + step.concentrate
                sources.setdefault(fluid, {}).update(dict.fromkeys(drums(stop.card.plan)))
    taken = (Load(name, amount, tuple(sources[name])) for name, amount in loads.items())
    return Walk(tuple(stops), tuple(taken), water, buckets)


def drums(plan: SumpPlan) -> tuple[str, ...]:
    """Names of the drums that a sump takes its concentrate from."""
    return tuple(each.name or each.id for each in plan.supplies if each.kind == "drum")
