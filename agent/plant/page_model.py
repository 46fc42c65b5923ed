"""The web page that the agent serves: where it listens, who may use it, in which language."""

from typing import Annotated, Literal

from pydantic import Field

from agent.plant.fields import Name, PathText, Section

HostName = Annotated[str, Field(min_length=1, max_length=253, pattern=r"^[A-Za-z0-9.:-]+$")]
"""A name or an address by which browsers reach the page."""


class PageSection(Section):
    """The page for people at the sump. Without this section none is served."""

    listen: Annotated[str, Field(min_length=3, max_length=260)] = Field(
        default="127.0.0.1:8087",
        description="ADDRESS:PORT; beyond loopback it asks who you are, so users is needed",
    )
    hosts: Annotated[list[HostName], Field(max_length=20)] = Field(
        default_factory=list,
        description="further names by which browsers reach the page; others are refused",
    )
    language: Literal["en", "de"] = Field(
        default="en", description="language of the page for who has chosen none"
    )
    users: PathText | None = Field(
        default=None,
        description="file of who may sign in, written by millpond user; absent: nobody is asked",
    )
    session_h: Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=744.0)] = Field(
        default=12.0, description="signed in for so long without doing anything [h]"
    )
    cert_file: PathText | None = Field(default=None, description="the page's certificate (PEM)")
    key_file: PathText | None = Field(default=None, description="key of the certificate (PEM)")
    title: Name = Field(default="", description="heading of the page; absent: the plant's name")
