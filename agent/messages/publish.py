"""Which messages an effect becomes: topic, body, retained or not."""

from typing import assert_never

from advisor.effects import (
    AlarmReport,
    AlarmState,
    Effect,
    PublishAdvice,
    PublishAlarm,
    PublishEvent,
    PublishLease,
    PublishSetpoint,
    PublishState,
)
from advisor.words import AlarmOrder, Instant
from agent.arrival import Outgoing
from agent.messages.bodies import (
    advice_body,
    agent_body,
    alarm_answer_body,
    alarm_body,
    event_body,
    lease_body,
    setpoint_body,
    state_body,
)
from agent.messages.names import about_supply, topic_under


def outgoing_for(effect: Effect, plant_prefix: str, sump: str) -> tuple[Outgoing, ...]:
    """Messages that tell what an effect wants told, in the order of their publishing.

    Parameters
    ----------
    effect : Effect
        What the computation decided.
    plant_prefix : str
        Topic under which the agent speaks, such as ``millpond/north``.
    sump : str
        Id of the sump that it is about; of an alarm also a supply or the whole plant, as
        `agent.messages.names` writes them.

    Raises
    ------
    ValueError
        If a number in the effect is not finite: a mistake in the computation.
    """
    topic = topic_of(plant_prefix, sump, effect)
    match effect:
        case PublishState():
            return (Outgoing(topic, state_body(sump, effect.state), retain=True),)
        case PublishEvent():
            return (Outgoing(topic, event_body(sump, effect.event), retain=False),)
        case PublishAdvice():
            return (Outgoing(topic, advice_body(effect.advice), retain=True),)
        case PublishAlarm():
            return _alarm(topic, sump, effect.alarm)
        case PublishSetpoint():
            return (Outgoing(topic, setpoint_body(effect.setpoint), retain=False),)
        case PublishLease():
            return (Outgoing(topic, lease_body(effect.setpoint, effect.until), retain=False),)
        case _:
            assert_never(effect)


def topic_of(plant_prefix: str, sump: str, effect: Effect) -> str:
    """Topic on which an effect is told."""
    match effect:
        case PublishState():
            return f"{plant_prefix}/{sump}/state"
        case PublishEvent():
            return f"{plant_prefix}/{sump}/event"
        case PublishAdvice():
            return f"{plant_prefix}/{sump}/advice"
        case PublishAlarm():
            alarm = effect.alarm
            about = f"/{alarm.signal}" if alarm.signal is not None else ""
            return f"{topic_under(plant_prefix, sump)}/alarm/{alarm.name}{about}"
        case PublishSetpoint():
            return f"{plant_prefix}/{sump}/setpoint"
        case PublishLease():
            return f"{plant_prefix}/{sump}/lease"
        case _:
            assert_never(effect)


def _alarm(topic: str, sump: str, alarm: AlarmReport) -> tuple[Outgoing, ...]:
    """Retained while it stands; back to normal it is told once, then withdrawn."""
    body = alarm_body(sump, alarm)
    if alarm.state is not AlarmState.NORMAL:
        return (Outgoing(topic, body, retain=True),)
    return Outgoing(topic, body, retain=False), withdrawn(topic)


def alarm_answer(order: AlarmOrder, refusal: str | None, plant_prefix: str) -> Outgoing:
    """Message that says what became of an order on an alarm."""
    about = order.sump if order.supply is None else about_supply(order.supply)
    topic = f"{topic_under(plant_prefix, about)}/alarm-answer"
    return Outgoing(topic, alarm_answer_body(order, refusal), retain=False)


def withdrawn(topic: str) -> Outgoing:
    """Message that takes a retained one back."""
    return Outgoing(topic, b"", retain=True)


def agent_online(plant_prefix: str, version: str, since: Instant) -> Outgoing:
    """Message that says that the agent is there."""
    body = agent_body(online=True, version=version, since=since)
    return Outgoing(f"{plant_prefix}/agent", body, retain=True)


def agent_offline(plant_prefix: str, version: str, since: Instant) -> Outgoing:
    """Message for the last will, and for a wanted end; `since` is of the run that ended."""
    body = agent_body(online=False, version=version, since=since)
    return Outgoing(f"{plant_prefix}/agent", body, retain=True)
