"""What a plant wants otherwise of one alarm."""

from typing import Annotated

from pydantic import Field

from advisor.words import Priority
from agent.plant.fields import Amount, Real, Section

_Seconds = Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=3.2e7)]


class AlarmModel(Section):
    """Overrides of one alarm; an absent key leaves the default."""

    enabled: bool | None = Field(default=None, description="false: never raised here")
    priority: Priority | None = Field(default=None, description="how soon it wants an answer")
    limit: Real | None = Field(
        default=None,
        description="mm of rest depth, % of the mix, pH, mS/cm, mg/L, CFU/mL or days, by the alarm",
    )
    deadband: Amount | None = Field(
        default=None, description="how far inside the limit the value must be to clear, same unit"
    )
    on_delay_s: _Seconds | None = Field(
        default=None, description="beyond the limit for so long before it is raised [s]"
    )
    off_delay_s: _Seconds | None = Field(
        default=None, description="back inside for so long before it clears; at least 60 [s]"
    )
    latching: bool | None = Field(
        default=None, description="true: it stays until somebody resets it"
    )
    re_alarm_s: _Seconds | None = Field(
        default=None, description="acknowledged and still active for so long: it asks again [s]"
    )
    shelve_max_s: _Seconds | None = Field(
        default=None, description="longest time for which it may be shelved [s]"
    )
    confidence: Annotated[float, Field(allow_inf_nan=False, ge=0.5, lt=1.0)] | None = Field(
        default=None, description="probability of being beyond the limit from which it is"
    )


PERCENT_ALARMS = frozenset({"concentration-low", "concentration-high", "tramp-oil-high"})
"""Alarms whose limit stands in % of the mix here and is a fraction inside."""
