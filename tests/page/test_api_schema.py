"""The API held against its own OpenAPI document: whatever is sent, it answers as it says there."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from agent.page.people import token_user, write_users
from agent.resources import shipped
from tests.page.shop import SUMP, a_plant
from tests.page.test_api import API, ApiShop, bearing, fill

EXAMPLES = 12
"""A route and way of generating; the whole takes less than a minute on an idle machine."""


class Tried(ApiShop):
    """A shop with one program that may do everything."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder, a_plant(folder, page='users = "users.toml"'))
        user, self.token = token_user("tester", "change")
        write_users(folder / "users.toml", {"tester": user})
        fill(self)


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tried]:
    """One shop for all routes: each finds what the others have left."""
    shop = Tried(tmp_path_factory.mktemp("tried"))
    yield shop
    shop.close()


def narrowed() -> dict[str, Any]:
    """The document, its sumps and supplies narrowed to one that is there and one that is not."""
    shape: dict[str, Any] = json.loads(shipped("openapi.json").read_text("utf-8"))
    known = {"sump": [SUMP, "mill-99"], "supply": ["drum-1", "none"]}
    for path in shape["paths"].values():
        for operation in path.values():
            for parameter in operation.get("parameters", ()):
                if parameter["name"] in known:
                    parameter["schema"]["enum"] = known[parameter["name"]]
    return shape


SHAPE = narrowed()
OPERATIONS = [(path, method) for path, found in SHAPE["paths"].items() for method in found]
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]


@pytest.fixture(scope="module")
def described(tried: Tried) -> schemathesis.BaseSchema:
    """The document, with the application that it is about."""
    schema = schemathesis.openapi.from_dict(SHAPE)
    schema.app = tried.app
    return schema


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_whatever_is_sent_the_answer_is_as_documented(
    described: schemathesis.BaseSchema, tried: Tried, path: str, method: str, mode: GenerationMode
):
    """No mistake of ours, no status, body or media type that the document does not name."""
    operation = described[path][method.upper()]
    headers = {**bearing(tried.token), "host": "127.0.0.1"}

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def hold(case: schemathesis.Case) -> None:
        answer = case.call(headers=headers)
        case.validate_response(answer, headers=headers, checks=CHECKS)

    if mode is GenerationMode.NEGATIVE and not has_anything_to_break(path, method):
        return
    hold()


def has_anything_to_break(path: str, method: str) -> bool:
    """Whether a route takes anything that can be wrong."""
    operation = SHAPE["paths"][path][method]
    return bool(operation.get("parameters")) or "requestBody" in operation


def test_the_document_served_is_the_one_that_is_shipped(tried: Tried):
    """config/openapi.json is what the running API says of itself."""
    with tried.client() as client:
        served = client.get(f"{API}/openapi.json", headers=bearing(tried.token)).json()
    assert served == json.loads(shipped("openapi.json").read_text("utf-8"))


def test_every_route_says_what_it_does():
    """Each operation and each parameter has a description, each an id of its own."""
    shape = json.loads(shipped("openapi.json").read_text("utf-8"))
    ids = []
    for path in shape["paths"].values():
        for operation in path.values():
            assert operation["description"].endswith(".")
            ids.append(operation["operationId"])
    assert len(ids) == len(set(ids)) > 25
