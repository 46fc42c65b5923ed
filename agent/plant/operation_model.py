"""How the running agent is looked after: where it tells how it does, and the form of its log."""

from typing import Annotated, Literal

from pydantic import Field

from agent.plant.fields import Section


class OperationSection(Section):
    """Health, readiness and metrics, and the log. Takes effect at a start."""

    listen: Annotated[str, Field(min_length=3, max_length=260)] | None = Field(
        default=None,
        description="ADDRESS:PORT for /health, /ready and /metrics; absent: nowhere."
        " Beyond loopback MILLPOND_METRICS_TOKEN is needed",
    )
    log: Literal["plain", "json"] = Field(
        default="plain", description="lines for people, or one JSON object a line for programs"
    )
