"""From what a plant file says of notification to the rules of the agent."""

from agent.alarms.rules import EVERY_DAY, Rule
from agent.plant.notify_model import DAYS, NotifyModel

VARIABLE = "MILLPOND_NOTIFY_"


def rule(model: NotifyModel) -> Rule:
    """One target's rule."""
    begin, _, end = model.hours.partition("-")
    days = EVERY_DAY if model.days is None else frozenset(map(DAYS.index, model.days))
    return Rule(
        id=model.id,
        variable=model.url_variable or VARIABLE + model.id.upper().replace("-", "_"),
        ways={"high": model.high, "medium": model.medium, "low": model.low},
        hours=(_minute(begin), _minute(end)),
        days=days,
        digest_at=_minute(model.digest_at),
        after=round(model.after_min * 60_000),
        most_per_hour=model.most_per_hour,
        returned=model.returned,
        sumps=None if model.sumps is None else frozenset(model.sumps),
    )


def _minute(text: str) -> int:
    """Minutes since midnight of a time of day."""
    hours, _, minutes = text.partition(":")
    return 60 * int(hours) + int(minutes)
