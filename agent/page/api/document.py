"""The API as an application of its own below the page's, and the OpenAPI document of it.

References
----------
.. [1] OpenAPI Initiative, "OpenAPI Specification", version 3.1.0, 2021.
"""

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema
from starlette.responses import JSONResponse

from agent.messages.incoming import (
    AlarmCommandMessage,
    PlantAlarmCommandMessage,
    StockMessage,
    SupplyAlarmCommandMessage,
)
from agent.page.api.models import UndoBody
from agent.page.api.problems import MEDIA_TYPE, TITLES, ProblemBody, answer_with_problems
from agent.page.office import Office
from agent.page.routes import api, api_enter

VERSION = "1"
PATH = f"/api/{VERSION}"

DESCRIPTION = (
    "What the page shows, and what can be entered on it, for programs. Every quantity's unit "
    "stands in its key (`_l`, `_pct`, `_l_per_day`, `_mm`) or beside it; volumes are at 20 °C, "
    "concentrations in % of the mix, v/v. An estimate is `{value, sd}`, or null where nothing "
    "tells. What is entered has the body of the message that goes to the broker; an entry with an "
    "`id` may be sent again and counts once, one with `replaces` corrects an earlier one, which "
    "stays in the records. What goes wrong is told as RFC 9457 says. millpond advises; interlocks "
    "belong to the equipment, and safety data sheets, local codes and licensed people decide."
)

_POSSIBLE: dict[str, tuple[int, ...]] = {
    "get": (401, 404, 405, 421, 422, 429, 500, 503),
    "post": (401, 403, 404, 405, 409, 411, 413, 415, 421, 422, 429, 500, 503),
}
"""Statuses of problems that any route of a method may answer with."""


def make_api(office: Office | None = None) -> FastAPI:
    """Put the API together; without an office only its document can be had."""
    app = FastAPI(
        title="millpond",
        version=VERSION,
        description=DESCRIPTION,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        redirect_slashes=False,
    )
    app.state.office = office
    app.include_router(api.router)
    app.include_router(api_enter.router)
    described = document(app)
    app.add_api_route(
        "/openapi.json", lambda: JSONResponse(described), include_in_schema=False, methods=["GET"]
    )
    answer_with_problems(app)
    return app


def document(app: FastAPI) -> dict[str, Any]:
    """OpenAPI document of the API."""
    found = get_openapi(
        title=app.title,
        version=app.version,
        openapi_version="3.1.0",
        description=app.description,
        routes=app.routes,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
        servers=[{"url": PATH}],
    )
    components = found.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    schemas.update(_bodies())
    components["schemas"] = dict(sorted(schemas.items()))
    components["securitySchemes"] = {
        "token": {"type": "http", "scheme": "bearer", "description": "millpond user add --token"},
        "session": {"type": "apiKey", "in": "cookie", "name": "millpond"},
    }
    found["security"] = [{"token": []}, {"session": []}]
    for path in found["paths"].values():
        for method, operation in path.items():
            operation["responses"].update(_problems(method))
    return found


def _bodies() -> dict[str, Any]:
    """Schemas of what is sent to the API, and of problems."""
    sent: list[type[BaseModel]] = [
        *api_enter.ENTRIES.values(),
        AlarmCommandMessage,
        PlantAlarmCommandMessage,
        SupplyAlarmCommandMessage,
        StockMessage,
        UndoBody,
        ProblemBody,
    ]
    _, schemas = models_json_schema(
        [(model, "validation") for model in sent], ref_template="#/components/schemas/{model}"
    )
    bodies: dict[str, Any] = schemas["$defs"]
    return bodies


def _problems(method: str) -> dict[str, Any]:
    """What a route may answer in place of what was asked for, by status."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemBody"}}}
    titles: dict[int, list[str]] = {}
    for status, title in TITLES.values():
        titles.setdefault(status, []).append(title)
    return {
        str(status): {"description": "; or: ".join(titles[status]), "content": content}
        for status in _POSSIBLE[method]
    }
