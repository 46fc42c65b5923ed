"""The site is whole: built without a warning, without the network, with every key and message."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from agent.messages.schemas import asyncapi, documents
from tests.docs import message_reference, pictures, plant_reference
from tests.docs.blocks import ROOT

CHECKED = {"absolute_links", "anchors", "not_found", "omitted_files", "unrecognized_links"}
"""What the site's settings must ask for."""

NO_NETWORK = """
import socket, sys
def refused(*_): raise OSError("the documentation is built without the network")
socket.socket.connect = refused
socket.getaddrinfo = refused
from mkdocs.__main__ import cli
sys.argv = ["mkdocs", "build", "--strict", "--quiet", "--site-dir", sys.argv[1]]
cli()
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site, built as `make docs` builds it."""
    folder = tmp_path_factory.mktemp("site")
    done = subprocess.run(
        [sys.executable, "-c", NO_NETWORK, str(folder)],
        cwd=ROOT,
        env={**os.environ, "NO_MKDOCS_2_WARNING": "1", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def test_the_build_looks_at_links_anchors_and_pages_that_nobody_reaches():
    """Each of them is a warning, and a warning ends a strict build."""
    settings = (ROOT / "mkdocs.yml").read_text("utf-8")

    assert set(re.findall(r"(\w+): warn", settings)) == CHECKED


def test_a_broken_link_or_anchor_ends_the_build(tmp_path: Path):
    """So that the check itself is known to work."""
    docs = tmp_path / "docs"
    docs.mkdir()
    (docs / "index.md").write_text("# Here\n\n[a](there.md) [b](#nowhere)\n", "utf-8")
    settings = (ROOT / "mkdocs.yml").read_text("utf-8")
    settings = re.sub(r"(?ms)^(hooks|nav):.*?(?=^\S|\Z)", "", settings)
    (tmp_path / "mkdocs.yml").write_text(settings, "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict"],
        cwd=tmp_path,
        env={**os.environ, "NO_MKDOCS_2_WARNING": "1"},
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode != 0
    assert "there.md" in done.stderr
    assert "nowhere" in done.stderr


def test_every_page_is_there_and_the_pictures(site: Path):
    """Those that are written and those that are made."""
    written = {path.stem for path in (ROOT / "docs").glob("*.md")}
    made = {"plant-file", "messages", "changes"}

    assert {path.stem for path in site.glob("*.html")} == written | made | {"404"}
    assert {f"pictures/{path.name}" for path in (site / "pictures").iterdir()} == {*PICTURES}


def test_the_site_takes_nothing_from_outside(site: Path):
    """No script, style, font or picture of another host."""
    taken = [
        f"{path.name}: {found}"
        for path in [*site.rglob("*.html"), *site.rglob("*.css")]
        for found in re.findall(
            r"<(?:script|img|iframe)[^>]*\ssrc=[\"']?(?:https?:)?//[^\s>]+"
            r"|<link[^>]*rel=[\"']?(?:stylesheet|preconnect|preload)[\"']?[^>]*(?:https?:)?//[^\s>]+"
            r"|@import[^;]*//[^;]+|url\([\"']?(?:https?:)?//[^)]+",
            path.read_text("utf-8"),
        )
    ]

    assert taken == []


def test_the_reference_has_every_key_of_the_plant_file():
    """Each key of each model, with its description."""
    text = plant_reference.page()
    definitions = json.loads(documents()["schemas/plant.json"])["$defs"]
    keys = [
        (name, key, value)
        for name, definition in definitions.items()
        for key, value in definition.get("properties", {}).items()
    ]

    assert len(keys) > 100
    for name, key, value in keys:
        assert f"#{name.lower()} }}" in text, name
        assert f"| `{key}` |" in text, key
        assert " ".join(value.get("description", "").split()).replace("|", "\\|") in text, key


def test_the_reference_has_every_message_and_topic():
    """Each channel of the AsyncAPI document, each key of each message."""
    text = message_reference.page()
    document = asyncapi()
    for channel in document["channels"].values():
        for name in channel["messages"]:
            assert f"### `{name}` {{ #{name} }}" in text
        fixed = [level for level in channel["address"].split("/") if "{" not in level]
        assert re.search("`PREFIX.*" + ".*".join(fixed), text), channel["address"]
    for schema in document["components"]["schemas"].values():
        for key in schema.get("properties", {}):
            assert f"| `{key}` |" in text, key


PICTURES = pictures.drawn()


@pytest.mark.parametrize("name", PICTURES)
def test_pictures_are_the_same_each_time_and_take_nothing_from_outside(name: str):
    """The same numbers give the same bytes, each of them a drawing on its own."""
    pictures.told.cache_clear()

    assert pictures.drawn()[name] == PICTURES[name]
    assert PICTURES[name].count("<polyline") >= 2
    assert not re.search(r"(?:href|src|url)\W", PICTURES[name])


def test_the_estimate_in_the_picture_holds_the_truth():
    """What the page says of its picture: within two sds nearly always."""
    truth, _, states = pictures.told()
    true = dict(zip(truth.hours, truth.volume, strict=True))
    held = [
        abs(state.volume.value - true[at]) <= 2.0 * state.volume.sd
        for at, state in states
        if state.volume is not None and at in true
    ]

    assert len(held) > 50
    assert sum(held) / len(held) > 0.9
