"""What people and stations may say, and what is refused."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from pydantic import ValidationError

from agent.messages.incoming import (
    SUMP_MESSAGES,
    SUPPLY_MESSAGES,
    AdditionMessage,
    AlarmCommandMessage,
    ChargeMessage,
    CheckMessage,
    DeliveredMessage,
    DrainMessage,
    Incoming,
    ServiceMessage,
    StockMessage,
)
from agent.messages.schemas import message_schema

NOON = 1_772_452_800_000  # 2026-03-02T12:00:00Z: 20,514 days and 12 hours after 1970


def read(model: type[Incoming], **body: Any) -> Any:
    """The body as its model reads it from the wire."""
    return model.model_validate_json(json.dumps(body))


def refusal(model: type[Incoming], body: str) -> str:
    """What is said about a body that is refused."""
    with pytest.raises(ValidationError) as caught:
        model.model_validate_json(body)
    return str(caught.value)


def test_a_check_is_read_with_its_moment_in_utc() -> None:
    """Any offset is the same moment, to the millisecond."""
    check = read(
        CheckMessage,
        id="c-1",
        at="2026-03-02T13:00:00.001+01:00",
        kind="refractometer",
        value=6.4,
        unit="degBrix",
        sample="filtered",
        by="Anna",
    )

    assert check.at == NOON + 1
    assert (check.kind, check.value, check.unit) == ("refractometer", 6.4, "degBrix")


def test_what_may_be_absent_may_be_absent() -> None:
    """Time, id and name are optional: a shop that has none still counts."""
    check = read(CheckMessage, kind="ph", value=9)

    assert (check.at, check.id, check.by, check.unit) == (None, None, "", "")


def test_the_version_of_the_form_may_be_named() -> None:
    """A body may say schema 1, and no other."""
    assert read(ServiceMessage, schema=1, kind="skimmed").kind == "skimmed"
    assert "schema" in refusal(ServiceMessage, '{"schema": 2, "kind": "skimmed"}')


@pytest.mark.parametrize(
    ("body", "amounts"),
    [
        ({"water_l": 33.6, "concentrate_l": 4.2}, (33.6, 4.2)),
        ({"water_l": 10}, (10.0, 0.0)),
        ({"concentrate_l": 0.5}, (0.0, 0.5)),
        ({"volume_l": 20.0, "strength_pct": 10.0}, (18.0, 2.0)),
        ({"water_l": 0, "replaces": "a-1"}, (0.0, 0.0)),
    ],
)
def test_an_addition_is_water_and_concentrate(
    body: dict[str, Any], amounts: tuple[float, float]
) -> None:
    """Both forms say how much of each; nothing at all only takes an earlier entry back."""
    assert read(AdditionMessage, **body).amounts == pytest.approx(amounts)


@pytest.mark.parametrize(
    ("model", "body", "where"),
    [
        (CheckMessage, '{"kind": "ph", "value": "7,9"}', "valid number"),
        (CheckMessage, '{"kind": "ph", "value": true}', "valid number"),
        (CheckMessage, '{"kind": "ph", "value": NaN}', "finite"),
        (CheckMessage, '{"kind": "ph", "value": 1e400}', "finite"),
        (CheckMessage, '{"kind": "ph", "value": -1}', "greater than or equal to 0"),
        (CheckMessage, '{"kind": "smell", "value": 1}', "refractometer"),
        (CheckMessage, '{"kind": "refractometer", "value": 7}', "degBrix or %"),
        (CheckMessage, '{"kind": "ph", "value": 9, "at": "2026-03-02T06:00:00"}', "offset"),
        (CheckMessage, '{"kind": "ph", "value": 9, "at": "2026-02-30T06:00:00Z"}', "day"),
        (CheckMessage, '{"kind": "ph", "value": 9, "at": 1772431200}', "RFC 3339"),
        (CheckMessage, '{"kind": "ph", "value": 9, "at": "1772431200"}', "RFC 3339"),
        (CheckMessage, '{"kind": "ph", "value": 9, "vlaue": 9}', "vlaue"),
        (CheckMessage, '{"kind": "ph", "value": 9, "by": "a\\nb"}', "by"),
        (CheckMessage, '{"kind": "ph", "value": 9, "id": ""}', "id"),
        (CheckMessage, '{"kind": "ph", "value": 9, "id": "%s"}' % ("x" * 129), "at most 128"),
        (CheckMessage, '{"kind": "ph", "value": 9', "JSON"),
        (CheckMessage, "[]", "object"),
        (AdditionMessage, "{}", "either"),
        (AdditionMessage, '{"water_l": 1, "volume_l": 1, "strength_pct": 1}', "either"),
        (AdditionMessage, '{"volume_l": 1}', "together"),
        (AdditionMessage, '{"water_l": 0, "concentrate_l": 0}', "more than 0"),
        (AdditionMessage, '{"volume_l": 1, "strength_pct": 101}', "100"),
        (AdditionMessage, '{"water_l": 1, "supply": "Drum 1"}', "supply"),
        (DrainMessage, "{}", "exactly one"),
        (DrainMessage, '{"volume_l": 3, "all": true}', "exactly one"),
        (DrainMessage, '{"all": false}', "exactly one"),
        (DrainMessage, '{"volume_l": 0}', "more than 0"),
        (DrainMessage, '{"to_level_mm": -1}', "greater than or equal to 0"),
        (ChargeMessage, '{"stage": "half"}', "begun"),
        (ServiceMessage, '{"kind": "painted"}', "prism-cleaned"),
        (DeliveredMessage, '{"setpoint": "s", "water_l": 1, "concentrate_l": 0}', "finished"),
        (AlarmCommandMessage, '{"alarm": "levl-low", "command": "reset"}', "level-low"),
        (AlarmCommandMessage, '{"alarm": "level-low", "command": "delete"}', "acknowledge"),
        (StockMessage, '{"volume_l": -1}', "greater than or equal to 0"),
    ],
)
def test_what_cannot_be_meant_is_refused(model: type[Incoming], body: str, where: str) -> None:
    """A misspelt key, a comma for a point, half a time: refused, and the reason names it."""
    assert where in refusal(model, body)


def test_a_date_of_expiry_lasts_to_its_end() -> None:
    """A drum that expires on a day is good on that day."""
    assert read(StockMessage, volume_l=80, expires="2026-03-01").expires == NOON - 43_200_001
    assert read(StockMessage, volume_l=80, expires="2026-03-02T12:00:00Z").expires == NOON


VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.floats(-1e7, 1e7),
    st.integers(-2, 200),
    st.text(max_size=5),
    st.sampled_from(
        [
            "2026-03-02T06:00:00Z",
            "2026-03-02",
            "ph",
            "refractometer",
            "degBrix",
            "settled",
            "begun",
            "skimmed",
            "level-low",
            "reset",
            "level",
            "a-1",
            "drum-1",
        ]
    ),
)


@pytest.mark.parametrize("model", [*SUMP_MESSAGES, *SUPPLY_MESSAGES], ids=lambda m: m.channel)
@given(data=st.data())
def test_the_schema_refuses_nothing_that_the_model_takes(
    model: type[Incoming], data: st.DataObject
) -> None:
    """Who keeps to the published schema loosely may still be refused; who is taken, kept to it."""
    keys = [field.alias or name for name, field in model.model_fields.items()]
    required = {name: VALUES for name, field in model.model_fields.items() if field.is_required()}
    optional = {key: VALUES for key in keys if key not in required}
    body = data.draw(st.fixed_dictionaries(required, optional=optional))
    try:
        model.model_validate_json(json.dumps(body))
    except ValidationError:
        return

    Draft202012Validator(message_schema(model)).validate(body)
