"""Kinds of field in the plant file, and the section that every other one is."""

from typing import Annotated, TypeAlias

from pydantic import BaseModel, ConfigDict, Field


class Section(BaseModel):
    """A table of the plant file: no unknown key, no text where a number belongs."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


Id: TypeAlias = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[a-z0-9-]+$")]
"""Stands in topics, messages and on the command line."""

_NO_CONTROLS = r"^[^\x00-\x1f\x7f]*$"

Name: TypeAlias = Annotated[str, Field(max_length=100, pattern=_NO_CONTROLS)]
"""One short line for people."""

UnitName: TypeAlias = Annotated[str, Field(max_length=40, pattern=_NO_CONTROLS)]
"""A unit; whether it exists and fits is checked against the unit registry."""

PathText: TypeAlias = Annotated[str, Field(min_length=1, max_length=4096, pattern=_NO_CONTROLS)]
"""A path, relative to the plant file."""

TopicText: TypeAlias = Annotated[str, Field(min_length=1, max_length=1024)]
"""An MQTT topic without wildcards."""

Real: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=-1e12, le=1e12)]
"""Any number."""

Positive: TypeAlias = Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=1e12)]
"""More than nothing."""

Amount: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1e12)]
"""Nothing or more."""

Millimetres: TypeAlias = Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=1e5)]
"""A length; no sump is longer than 100 m. [mm]"""

Depth: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1e5)]
"""A depth, the floor included. [mm]"""

Litres: TypeAlias = Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=1e6)]
"""A volume of something that is there. [L]"""

Percent: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=100.0)]
"""Of the mix."""

Seconds: TypeAlias = Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=3.2e7)]
"""At most a year. [s]"""
