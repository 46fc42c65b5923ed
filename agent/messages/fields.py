"""Kinds of field that messages share: moments, amounts, ids, short texts."""

import re
from typing import Annotated, TypeAlias

from pydantic import Field, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from advisor.words import Instant
from agent.instants import instant_of

_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)


def _moment(value: object) -> Instant:
    """Instant of an RFC 3339 time with offset."""
    try:
        return instant_of(value if isinstance(value, str) else "")
    except ValueError as error:
        raise PydanticCustomError("moment", "{why}", {"why": str(error)}) from error


def _moment_or_end_of_day(value: object) -> Instant:
    """Instant of an RFC 3339 time, or of the end (UTC) of a date that stands alone."""
    if isinstance(value, str) and _DATE.fullmatch(value):
        return _moment(f"{value}T23:59:59.999Z")
    return _moment(value)


Moment: TypeAlias = Annotated[
    Instant,
    PlainValidator(_moment),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
"""RFC 3339 with offset on the wire, an `Instant` inside."""

MomentOrDay: TypeAlias = Annotated[
    Instant,
    PlainValidator(_moment_or_end_of_day),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "format": "date-time"},
                {"type": "string", "format": "date"},
            ]
        }
    ),
]
"""As `Moment`, or a date that stands for its own end in UTC."""

Finite: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=-1e12, le=1e12)]
"""A number; nothing at a machine tool is beyond these bounds."""

Litres: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1e6)]
"""An amount that was poured, drained or is left. [L]"""

Millimetres: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1e5)]
"""A depth. [mm]"""

Percent: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=100.0)]
"""A strength in % of the mix."""

_NO_CONTROLS = r"^[^\x00-\x1f\x7f]*$"

EntryId: TypeAlias = Annotated[str, Field(min_length=1, max_length=128, pattern=_NO_CONTROLS)]
"""Names one entry, setpoint or advice; chosen by whoever made it."""

PlantId: TypeAlias = Annotated[str, Field(max_length=64, pattern=r"^[a-z0-9-]+$")]
"""An id of the plant file."""

Name: TypeAlias = Annotated[str, Field(max_length=64, pattern=_NO_CONTROLS)]
"""A person, a lot, a place: one short line."""

Note: TypeAlias = Annotated[str, Field(max_length=1000, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f]*$")]
"""A few lines for people."""
