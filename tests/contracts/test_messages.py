"""Every body that goes out is what its model and its published schema say."""

import json
import math
import string
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker

from advisor.effects import (
    Advice,
    AdviceKind,
    After,
    AlarmReport,
    AlarmState,
    Batch,
    Limits,
    Mix,
    NextTopUp,
    PublishAdvice,
    PublishAlarm,
    PublishEvent,
    PublishLease,
    PublishSetpoint,
    PublishState,
    Range,
    Setpoint,
)
from advisor.words import (
    Account,
    AlarmOrder,
    AlarmVerb,
    Estimate,
    EventKind,
    EventSource,
    Losses,
    Priority,
    Quality,
    Signal,
    SumpEvent,
    SumpState,
)
from agent.instants import instant_of
from agent.messages.names import (
    PlantAlarmName,
    SumpAlarmName,
    SupplyAlarmName,
    about_supply,
)
from agent.messages.outgoing import (
    AdviceMessage,
    AgentMessage,
    AlarmAnswerMessage,
    AlarmMessage,
    EventMessage,
    LeaseMessage,
    Outward,
    PlantAlarmMessage,
    SetpointMessage,
    StateMessage,
    SupplyAlarmMessage,
)
from agent.messages.publish import agent_offline, agent_online, alarm_answer, outgoing_for
from agent.messages.schemas import message_schema

PREFIX, SUMP = "millpond/north", "mill-07"

FORMATS = FormatChecker(formats=())


@FORMATS.checks("date-time", raises=ValueError)
def is_date_time(value: object) -> bool:
    """Whether a text is an RFC 3339 time; instants that end in .500 or so included."""
    return not isinstance(value, str) or instant_of(value) is not None


moments = st.integers(min_value=0, max_value=4_102_444_800_000)
numbers = st.floats(min_value=-1e6, max_value=1e6)
amounts = st.floats(min_value=0.0, max_value=1e5)
estimates = st.builds(Estimate, value=numbers, sd=amounts)
maybe_estimates = st.none() | estimates
accounts = st.builds(Account, since=moments, water=estimates, concentrate=estimates)
texts = st.text(max_size=30)
ids = st.text(string.ascii_letters + string.digits + '-:"\\', min_size=1, max_size=30)

losses = st.builds(
    Losses,
    window_h=st.floats(0.0, 24.0),
    water=maybe_estimates,
    concentrate=maybe_estimates,
    evaporation=maybe_estimates,
    carry_off=maybe_estimates,
)
states = st.builds(
    SumpState,
    at=moments,
    volume=maybe_estimates,
    concentration=maybe_estimates,
    losses=losses,
    lost=st.none() | accounts,
    added=st.none() | accounts,
    drained=st.none() | accounts,
    qualities=st.dictionaries(st.sampled_from(Signal), st.sampled_from(Quality)),
)
events = st.builds(
    SumpEvent,
    id=ids,
    at=moments,
    kind=st.sampled_from(get_args(EventKind)),
    source=st.sampled_from(get_args(EventSource)),
    volume=maybe_estimates,
    strength=maybe_estimates,
)
mixes = st.builds(Mix, water=amounts, concentrate=amounts)
batches = st.builds(Batch, count=st.integers(1, 99), water=amounts, concentrate=amounts)
ranges = st.builds(Range, low=st.none() | numbers, high=st.none() | numbers)
limits = st.builds(
    Limits,
    level_running=st.none() | ranges,
    level_stopped=st.none() | ranges,
    level_unit=st.sampled_from(["mm", "in", "%"]),
    brix=st.none() | ranges,
    water_loss_high=st.none() | amounts,
    concentrate_loss_high=st.none() | amounts,
)
advices = st.builds(
    Advice,
    id=ids,
    sump=st.just(SUMP),
    issued_at=moments,
    valid_until=moments,
    kind=st.sampled_from(get_args(AdviceKind)),
    mix=st.none() | mixes,
    batches=st.none() | st.lists(batches, max_size=3).map(tuple),
    drain=amounts,
    after=st.none() | st.builds(After, volume=estimates, concentration=estimates),
    limits=limits,
    next=st.none() | st.builds(NextTopUp, at=moments, sd_h=amounts, strength=st.floats(0.0, 1.0)),
    why=st.lists(texts, max_size=3).map(tuple),
    cautions=st.lists(texts, max_size=3).map(tuple),
)
alarms = st.builds(
    AlarmReport,
    name=st.sampled_from(get_args(SumpAlarmName)),
    signal=st.none() | st.sampled_from(Signal),
    state=st.sampled_from([state for state in AlarmState if state is not AlarmState.NORMAL]),
    active=st.booleans(),
    acknowledged=st.booleans(),
    priority=st.sampled_from(get_args(Priority)),
    raised_at=st.none() | moments,
    value=st.none() | numbers,
    limit=st.none() | numbers,
    unit=st.sampled_from(["mm", "%", "L/day", ""]),
    cause=texts,
    consequence=texts,
    action=texts,
    because_of=st.none() | st.sampled_from(get_args(SumpAlarmName)),
    by=st.none() | texts,
    until=st.none() | moments,
)
setpoints = st.builds(
    Setpoint,
    id=ids,
    sump=st.just(SUMP),
    advice=ids,
    mix=mixes,
    max_strength=st.floats(0.0, 1.0),
    water_meter_end=st.none() | st.floats(0.0, 1e9),
    concentrate_meter_end=st.none() | amounts,
    stop_at_level=numbers,
    level_unit=st.sampled_from(["mm", "in", "%"]),
    issued_at=moments,
    expires_at=moments,
)


@lru_cache
def published_schema(model: type[Outward]) -> Draft202012Validator:
    """Validator of the schema that is generated into `config/`."""
    return Draft202012Validator(message_schema(model), format_checker=FORMATS)


def refuse_constant(name: str) -> None:
    """NaN and Infinity are no JSON."""
    raise ValueError(name)


def published(effect: Any, model: type[Outward], about: str = SUMP) -> dict[str, Any]:
    """Body of the one message that an effect becomes, held against model and schema."""
    (outgoing,) = outgoing_for(effect, PREFIX, about)
    return held_against(model, outgoing.payload)


def held_against(model: type[Outward], payload: bytes) -> dict[str, Any]:
    """The payload as JSON, after its model and its schema have accepted it."""
    body: dict[str, Any] = json.loads(payload, parse_constant=refuse_constant)
    model.model_validate_json(payload)
    published_schema(model).validate(body)
    return body


@given(states)
def test_every_state_fits_its_model_and_schema(state: SumpState) -> None:
    """Whatever is known about a sump, its body is as documented, and names every signal."""
    body = published(PublishState(state), StateMessage)

    assert list(body["signals"]) == [signal.value for signal in Signal]
    assert instant_of(body["at"]) == state.at


@given(events)
def test_every_event_fits_its_model_and_schema(event: SumpEvent) -> None:
    """Whatever happened, its body is as documented."""
    assert published(PublishEvent(event), EventMessage)["id"] == event.id


@given(advices)
def test_every_advice_fits_its_model_and_schema(advice: Advice) -> None:
    """Whatever is advised, its body is as documented, free text included."""
    body = published(PublishAdvice(advice), AdviceMessage)

    assert body["why"] == list(advice.why)


@given(alarms)
def test_every_alarm_fits_its_model_and_schema(alarm: AlarmReport) -> None:
    """However an alarm stands, its body is as documented."""
    body = published(PublishAlarm(alarm), AlarmMessage)

    assert (body["cause"], body["by"]) == (alarm.cause, alarm.by)


@given(alarms, st.sampled_from(get_args(PlantAlarmName)))
def test_every_alarm_of_the_plant_fits_its_model_and_schema(alarm: AlarmReport, name: str) -> None:
    """An alarm of the whole plant names no sump."""
    body = published(PublishAlarm(replace(alarm, name=name)), PlantAlarmMessage, "")

    assert body["sump"] is None


@given(alarms, st.sampled_from(get_args(SupplyAlarmName)))
def test_every_alarm_of_a_supply_fits_its_model_and_schema(alarm: AlarmReport, name: str) -> None:
    """An alarm of a supply names it, and no sump."""
    effect = PublishAlarm(replace(alarm, name=name))
    body = published(effect, SupplyAlarmMessage, about_supply("drum-1"))

    assert (body["sump"], body["supply"]) == (None, "drum-1")


@given(setpoints)
def test_every_setpoint_fits_its_model_and_schema(setpoint: Setpoint) -> None:
    """Amounts, counters and moments say what was decided, to the millilitre."""
    body = published(PublishSetpoint(setpoint), SetpointMessage)

    assert body["water_l"] == pytest.approx(setpoint.mix.water, abs=0.000501)
    assert body["water_meter_end_l"] == (
        None
        if setpoint.water_meter_end is None
        else pytest.approx(setpoint.water_meter_end, abs=0.000501)
    )
    assert instant_of(body["expires_at"]) == setpoint.expires_at


@given(ids, moments)
def test_every_lease_fits_its_model_and_schema(setpoint: str, until: int) -> None:
    """It names the setpoint, and the moment."""
    body = published(PublishLease(setpoint, until), LeaseMessage)

    assert (body["setpoint"], instant_of(body["until"])) == (setpoint, until)


@given(
    st.builds(
        AlarmOrder,
        sump=st.sampled_from(["", SUMP]),
        at=moments,
        alarm=st.sampled_from(get_args(SumpAlarmName)),
        signal=st.none() | st.sampled_from(Signal),
        verb=st.sampled_from(get_args(AlarmVerb)),
        by=texts,
        supply=st.none() | st.just("drum-1"),
        id=ids,
    ),
    st.none() | texts,
)
def test_every_answer_to_an_order_fits_its_model_and_schema(
    order: AlarmOrder, refusal: str | None
) -> None:
    """The answer carries the order's id, and why it does not apply where it does not."""
    body = held_against(AlarmAnswerMessage, alarm_answer(order, refusal, PREFIX).payload)

    assert (body["id"], body["accepted"]) == (order.id, refusal is None)


@given(moments)
def test_the_agent_says_online_and_offline_as_documented(since: int) -> None:
    """Birth and last will are retained and differ in their status alone."""
    birth = agent_online(PREFIX, "1.2.3", since)
    will = agent_offline(PREFIX, "1.2.3", since)

    assert birth.retain
    assert will.retain
    assert birth.topic == will.topic == "millpond/north/agent"
    online, offline = (held_against(AgentMessage, m.payload) for m in (birth, will))
    assert online == {**offline, "status": "online"}


@given(states)
def test_estimates_are_told_to_the_stated_digit(state: SumpState) -> None:
    """Litres come to 0.01 and percent to 0.001, value and sd alike."""
    body = published(PublishState(state), StateMessage)

    for key, estimate, factor, digits in (
        ("volume_l", state.volume, 1.0, 2),
        ("concentration_pct", state.concentration, 100.0, 3),
    ):
        if estimate is None:
            assert body[key] is None
        else:
            half = 0.5000001 * 10.0**-digits
            slack = half + 1e-15 * abs(factor * estimate.value)
            assert abs(body[key]["value"] - factor * estimate.value) <= slack
            assert body[key]["value"] == round(body[key]["value"], digits)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    "effect",
    [
        lambda bad: PublishEvent(
            SumpEvent(
                id="e",
                at=0,
                kind="drain",
                source="report",
                volume=Estimate(bad, 1.0),
                strength=None,
            )
        ),
        lambda bad: PublishEvent(
            SumpEvent(
                id="e",
                at=0,
                kind="drain",
                source="report",
                volume=None,
                strength=Estimate(0.1, bad),
            )
        ),
    ],
)
def test_a_number_that_is_none_is_never_published(
    effect: Callable[[float], Any], bad: float
) -> None:
    """NaN and infinity are a mistake of ours: an exception, not a message."""
    with pytest.raises(ValueError, match="cannot be told"):
        outgoing_for(effect(bad), PREFIX, SUMP)
