"""From what a plant wants of its alarms and checks to the plans of the computation."""

from collections.abc import Mapping

from advisor.plan import AlarmPlan
from advisor.words import CheckKind
from agent.plant.alarm_model import PERCENT_ALARMS, AlarmModel
from agent.plant.sump_models import ChecksModel


def alarm_plan(key: str, model: AlarmModel) -> AlarmPlan:
    """Overrides of an alarm; its limit from % where it is a share."""
    factor = 0.01 if key in PERCENT_ALARMS else 1.0
    return AlarmPlan(
        enabled=model.enabled,
        priority=model.priority,
        limit=None if model.limit is None else factor * model.limit,
        deadband=None if model.deadband is None else factor * model.deadband,
        on_delay=model.on_delay_s,
        off_delay=model.off_delay_s,
        latching=model.latching,
        re_alarm=model.re_alarm_s,
        shelve_max=model.shelve_max_s,
        confidence=model.confidence,
    )


def alarm_plans(
    own: Mapping[str, AlarmModel], everywhere: Mapping[str, AlarmModel]
) -> dict[str, AlarmPlan]:
    """Overrides of a sump's alarms: key by key its own, else those that hold everywhere."""
    completed = {
        key: model if key not in everywhere else _over(model, everywhere[key])
        for key, model in own.items()
    }
    return {key: alarm_plan(key, model) for key, model in {**everywhere, **completed}.items()}


def _over(own: AlarmModel, everywhere: AlarmModel) -> AlarmModel:
    """What a sump says of an alarm, completed by what holds everywhere."""
    return everywhere.model_copy(update=own.model_dump(exclude_none=True))


def check_intervals(own: ChecksModel, everywhere: ChecksModel) -> dict[CheckKind, float]:
    """How often each check is due at a sump; kinds that nobody asks for are left out. [d]"""
    intervals = {}
    for kind in CheckKind:
        key = f"{kind.value.replace('-', '_')}_d"
        here = getattr(own, key)
        interval = getattr(everywhere, key) if here is None else here
        if interval:
            intervals[kind] = interval
    return intervals
