"""Whom alarms are told outside the broker, and how."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from agent.plant.fields import Id, Section

Way: TypeAlias = Literal["always", "hours", "digest", "never"]

TimeOfDay: TypeAlias = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
"""Local, such as 07:00."""

Hours: TypeAlias = Annotated[
    str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d-(([01]\d|2[0-3]):[0-5]\d|24:00)$")
]
"""Local, such as 06:00-22:00; 22:00-06:00 goes across midnight."""

Day: TypeAlias = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
DAYS: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class NotifyModel(Section):
    """Tells alarms by e-mail, webhook, chat or push. The address comes from the environment."""

    id: Id = Field(description="id of the target")
    url_variable: Annotated[str, Field(pattern=r"^[A-Z][A-Z0-9_]*$", max_length=100)] | None = (
        Field(
            default=None,
            description="environment variable that holds the address, or with _FILE at its end "
            "names a file that does; absent: MILLPOND_NOTIFY_ and the id",
        )
    )
    high: Way = Field(
        default="always",
        description="alarms of high priority: always, in the hours, in the daily digest, or never",
    )
    medium: Way = Field(default="hours", description="alarms of medium priority")
    low: Way = Field(default="digest", description="alarms of low priority")
    hours: Hours = Field(
        default="06:00-22:00",
        description="hours in which it is told at once, in the plant's time; the rest are quiet",
    )
    days: Annotated[list[Day], Field(min_length=1, max_length=7)] | None = Field(
        default=None, description="days that have such hours; absent: every day"
    )
    digest_at: TimeOfDay = Field(default="07:00", description="time of day of the digest")
    after_min: Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=10_080.0)] = Field(
        default=0.0, description="only what nobody has acknowledged for so long [min]"
    )
    most_per_hour: Annotated[int, Field(ge=1, le=60)] = Field(
        default=6, description="messages in an hour; what waits comes in one"
    )
    returned: bool = Field(default=False, description="told too when an alarm is over")
    sumps: Annotated[list[Id], Field(max_length=10_000)] | None = Field(
        default=None, description="of these sumps only, and of the plant; absent: of all"
    )
