"""What all parts of a scenario share: strictness, bounded numbers, moments."""

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from simulators.instants import When


class Spec(BaseModel):
    """A part of a scenario; a misspelt key is an error."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, use_attribute_docstrings=True, arbitrary_types_allowed=True
    )


def _when(value: object) -> object:
    """Read a moment where it still is text."""
    return When.parse(value) if isinstance(value, str) else value


Moment = Annotated[When, BeforeValidator(_when)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Id = Annotated[str, Field(pattern=r"^[a-z0-9-]+$")]
