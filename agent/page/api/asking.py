"""What a request asks for: sump, stretch of time, body; each read once, or told as a problem."""

from collections.abc import Callable
from typing import Annotated, TypeVar

from fastapi import Depends, Path, Query, Request

from advisor.words import DAY, Instant
from agent.arrival import Arrival
from agent.decode.json_payload import parse
from agent.decode.problem import PayloadError
from agent.messages.fields import Moment
from agent.page.api.guard import BODY_MAX, is_json
from agent.page.api.problems import ProblemError
from agent.page.live import Body
from agent.page.office import Office
from agent.page.routes.common import TheOffice
from agent.page.visitor import Visitor

Found = TypeVar("Found")

LONGEST: Instant = 3 * 366 * DAY
"""Of a stretch of time that may be asked for. [ms]"""
NAME = r"^[a-z0-9-]+$"


def _known_sump(
    office: TheOffice,
    sump: Annotated[str, Path(description="id of the sump", pattern=NAME, max_length=64)],
) -> str:
    """Id of a sump of this plant."""
    if sump not in office.plant.sumps:
        raise ProblemError("missing", f"the plant has no sump {sump}")
    return sump


def _known_supply(
    office: TheOffice,
    supply: Annotated[str, Path(description="id of the supply", pattern=NAME, max_length=64)],
) -> str:
    """Id of a supply of this plant."""
    if supply not in office.plant.supplies:
        raise ProblemError("missing", f"the plant has no supply {supply}")
    return supply


Sump = Annotated[str, Depends(_known_sump)]
Supply = Annotated[str, Depends(_known_supply)]


def _stretch(
    office: TheOffice,
    begin: Annotated[
        Moment | None, Query(description="RFC 3339 with offset; absent: a day before the end")
    ] = None,
    end: Annotated[
        Moment | None, Query(description="RFC 3339 with offset; absent: the present")
    ] = None,
) -> tuple[Instant, Instant]:
    """Begin and end of a stretch of time. [ms]"""
    last = office.now if end is None else end
    first = last - DAY if begin is None else begin
    if not 0 < last - first <= LONGEST:
        raise ProblemError("parameter", "expected begin before end, at most three years apart")
    return first, last


Stretch = Annotated[tuple[Instant, Instant], Depends(_stretch)]


async def _body(request: Request) -> bytes:
    """Body of a request that says it is JSON."""
    if not is_json(request):
        raise ProblemError("media-type", "expected content-type: application/json")
    body = await request.body()
    if len(body) > BODY_MAX:
        raise ProblemError("too-large")
    return body


TheBody = Annotated[bytes, Depends(_body)]


def decoded(office: Office, body: bytes, read: Callable[[Arrival], Found]) -> Found:
    """Read a body as the agent will read it when it comes by the broker."""
    try:
        return read(Arrival(office.now, "", body))
    except PayloadError as error:
        raise ProblemError("body", error.detail) from None


def members(body: bytes) -> dict[str, object]:
    """Members of a body that has been read already."""
    found = parse(body)
    return dict(found) if isinstance(found, dict) else {}


def signed(body: Body, visitor: Visitor) -> dict[str, object]:
    """A body under the name of who sent it; another's name is refused."""
    if not visitor.asks:
        return {**body, "by": body.get("by", visitor.name)}
    if body.get("by", "") not in {"", visitor.name}:
        raise ProblemError("body", f"by is another's name; expected {visitor.name}, or nothing")
    return {**body, "by": visitor.name}
