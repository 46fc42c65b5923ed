"""The dashboards ask for what the historian is sent: names from the line protocol itself."""

import json
import re
import urllib.request
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pytest

from advisor.words import Addition, Check, CheckKind, Drain, Estimate, Signal, SumpEvent
from agent.historian.lines import Lines
from agent.resources import shipped
from agent.store.batch import Batch, StoredEntry
from agent.store.changes import AlarmChange
from agent.store.history import history_row
from tests.bindings import NOW, a_plant, bound
from tests.historians import VictoriaMetrics, a_victoria_metrics
from tests.plants import a_sump
from tests.sump_states import sump_holding

SUMP = "mill-07"
INFLUX, PROMETHEUS = "grafana/sumps-influxql.json", "grafana/sumps-promql.json"


def sent() -> list[str]:
    """A line of each kind that the dashboards may ask for, by the code that sends them."""
    row = history_row(sump_holding(a_sump(), 300.0, 0.08, NOW))
    assert row is not None
    event = SumpEvent(
        id="e",
        at=NOW,
        kind="addition",
        source="meter",
        volume=Estimate(16.0, 1.0),
        strength=Estimate(0.02, 0.001),
    )
    change = AlarmChange(
        at=NOW,
        about=SUMP,
        name="signal-stale",
        signal=Signal.BRIX,
        was="normal",
        state="unacknowledged",
        priority="low",
        by="ann",
        value=700.0,
        limit=600.0,
        unit="s",
        raised_at=NOW,
        because_of=None,
        until=None,
    )
    entries = [
        Addition(at=NOW, id="a", water=15.0, concentrate=1.5, by="ann"),
        Check(at=NOW + 1, id="b", kind=CheckKind.PH, value=9.0, by="ann"),
        Drain(at=NOW + 2, id="c", volume=20.0, by="ann"),
    ]
    readings = [
        (SUMP, Signal.LEVEL, NOW, 380.5, True),
        (SUMP, Signal.BRIX, NOW, 6.4, True),
        (SUMP, Signal.LEVEL, NOW - 1, 380.0, False),
    ]
    plant = a_plant(bound(Signal.LEVEL), bound(Signal.BRIX, "u"))
    return Lines(plant).of_batch(
        Batch(
            readings=readings,
            history=[(SUMP, row)],
            events=[(SUMP, event)],
            entries=[StoredEntry(SUMP, entry, NOW) for entry in entries],
            changes=[change],
        )
    )


def names(lines: list[str]) -> dict[str, tuple[set[str], set[str]]]:
    """Tags and fields by measurement, out of lines."""
    found: dict[str, tuple[set[str], set[str]]] = {}
    for line in lines:
        head, fields, _ = re.split(r"(?<!\\) (?=[^\"]*(?:\"[^\"]*\"[^\"]*)*$)", line)
        measurement, *tags = head.split(",")
        of = found.setdefault(measurement, (set(), set()))
        of[0].update(tag.split("=")[0] for tag in tags)
        of[1].update(re.findall(r"(?:^|,)(\w+)=", re.sub(r'"[^"]*"', "", fields)))
    return found


NAMES = names(sent())


def dashboard(name: str) -> dict[str, Any]:
    """A dashboard as it is shipped."""
    text = shipped(name).read_text("utf-8")
    return dict(json.loads(text))


def queries(name: str, key: str) -> list[str]:
    """Queries of all panels."""
    return [target[key] for panel in dashboard(name)["panels"] for target in panel["targets"]]


def test_every_measurement_of_the_historian_is_known_here():
    """So that what follows compares with all of it; minutes and hours come from backfill only."""
    assert set(NAMES) == {"reading", "sump_state", "sump_event", "report", "alarm"}


@pytest.mark.parametrize("query", queries(INFLUX, "query"))
def test_names_in_influxql_are_those_of_the_line_protocol(query: str):
    """Each quoted name is a tag or a field of the measurement that is asked."""
    (measurement,) = re.findall(r'FROM "(\w+)"', query)
    tags, fields = NAMES[measurement]
    asked, _, rest = query.partition(" FROM ")
    where, _, grouped = rest.partition(" WHERE ")[2].partition(" GROUP BY ")

    assert set(re.findall(r'"(\w+)"', asked)) <= fields
    assert set(re.findall(r'"(\w+)"', where)) <= tags
    assert set(re.findall(r'"(\w+)"', grouped)) <= tags
    assert set(re.findall(r"\$tag_(\w+)", query)) <= tags


def test_aliases_and_variables_in_influxql_name_tags():
    """What a series is called, and what can be chosen."""
    board = dashboard(INFLUX)
    for panel in board["panels"]:
        for target in panel["targets"]:
            (measurement,) = re.findall(r'FROM "(\w+)"', target["query"])
            assert set(re.findall(r"\$tag_(\w+)", target["alias"])) <= NAMES[measurement][0]
    for variable in board["templating"]["list"][1:]:
        (measurement,) = re.findall(r'FROM "(\w+)"', variable["query"])
        asked = set(re.findall(r'(?:KEY = |WHERE )"(\w+)"', variable["query"]))
        assert asked <= NAMES[measurement][0]


@pytest.mark.parametrize("name", [INFLUX, PROMETHEUS])
def test_what_a_query_uses_can_be_chosen(name: str):
    """Variables are the dashboard's or Grafana's own; no two panels at one place."""
    board = dashboard(name)
    known = {variable["name"] for variable in board["templating"]["list"]}
    used = set(re.findall(r"\$\{?(\w+)", json.dumps(board)))
    own = {"timeFilter", "__interval", "__all"}
    places = {(p["gridPos"]["x"], p["gridPos"]["y"]) for p in board["panels"]}

    assert {one for one in used if not one.startswith("tag_")} - own == known
    assert len(places) == len({panel["id"] for panel in board["panels"]}) == len(board["panels"])


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VictoriaMetrics]:
    """A real server that has been sent the lines."""
    with a_victoria_metrics(tmp_path_factory.mktemp("vm") / "data") as running:
        request = urllib.request.Request(  # noqa: S310  loopback
            f"{running.url}/api/v2/write?precision=ms", data="\n".join(sent()).encode()
        )
        with urllib.request.urlopen(request, timeout=5.0):  # noqa: S310  loopback
            pass
        running.ask("/internal/force_flush")
        yield running


@pytest.mark.broker
@pytest.mark.parametrize("query", queries(PROMETHEUS, "expr"))
def test_a_real_server_answers_every_query_in_promql(server: VictoriaMetrics, query: str):
    """Each finds the line that was sent for it, whichever plant and sump are chosen."""
    asked = quote(query.replace("$plant", "north").replace("$sump", ".*"))
    answer = json.loads(server.ask(f"/api/v1/query?query={asked}&time={NOW // 1000 + 1}"))

    assert answer["status"] == "success"
    assert answer["data"]["result"], query


def test_the_limits_in_a_chart_are_two_sds_beside_the_estimate():
    """Low and high in both languages."""
    for name, key in ((INFLUX, "query"), (PROMETHEUS, "expr")):
        texts = queries(name, key)
        for field in ("volume_l", "concentration_pct", "water_l_per_day", "concentrate_l_per_day"):
            sds = [text for text in texts if f"{field}_sd" in text and "sump_state" in text]
            assert sorted(re.findall(r" ([-+]) 2 \* ", " ".join(sds))) == ["+", "-"], (name, field)
