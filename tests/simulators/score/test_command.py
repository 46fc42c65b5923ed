"""The command itself: arguments, tables and JSON, with an agent that says little."""

import json
import sys
from pathlib import Path

import pytest

from simulators.cli import main
from simulators.score.many import run_all
from simulators.score.report import report
from simulators.score.run import Task
from simulators.score.summary import summary_page, summary_table
from simulators.score.table import columns, scenario_table
from simulators.score.yardstick import QUANTITIES
from tests.simulators.score.runs import a_run, fault, found, sample

DUMB = """
import json, sys
_, plant, recording, _, out = sys.argv[1:]
last = json.loads(open(recording).readlines()[-1])["at"]
state = {"schema": 1, "sump": "mill-1", "at": last, "volume_l": {"value": 300.0, "sd": 50.0},
         "concentration_pct": None, "losses": {"window_h": 24, "water_l_per_day": None,
         "concentrate_l_per_day": None}, "lost_total": {"since": None, "water_l": None,
         "concentrate_l": None}, "signals": {"level": "good", "brix": "good"}}
with open(out, "w") as file:
    file.write(json.dumps({"at": last, "topic": "millpond/shop/mill-1/state",
                           "payload": json.dumps(state)}) + "\\n")
"""
"""An agent that knows one thing, at the end."""


@pytest.fixture
def dumb(tmp_path: Path) -> str:
    """Command of that agent."""
    program = tmp_path / "dumb.py"
    program.write_text(DUMB, encoding="utf-8")
    return f"{sys.executable} {program}"


def test_one_scenario_is_told_in_full(dumb, capsys):
    """A table with a line for each quantity, and exit code 0."""
    assert main(["score", "unreported", "--seeds", "1", "--days", "1.25", "--agent", dumb]) == 0
    said = capsys.readouterr()

    for title in ("volume [L]", "concentration [%]", "water, 24 h [L/d]", "additions and drains"):
        assert title in said.out
    assert "1/1 unreported seed 1 done" in said.err


def test_json_holds_everything(dumb, capsys):
    """With --json scenarios, summary and each run come as JSON without NaN."""
    command = ["score", "unreported", "--seeds", "2", "--days", "1.25", "--jobs", "2", "--json"]
    assert main([*command, "--agent", dumb]) == 0
    body = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)

    assert body["schema"] == 1
    assert body["failures"] == []
    assert [run["seed"] for run in body["runs"]] == [1, 2]
    volume = body["scenarios"][0]["quantities"]["volume"]
    assert volume["unit"] == "L"
    assert volume["agent"] > 0.0
    assert volume["ratio"] == pytest.approx(volume["agent"] / volume["yardstick"])
    assert body["scenarios"][0]["quantities"]["concentration"]["agent"] is None


def test_an_agent_that_fails_is_named(tmp_path, capsys):
    """A replay that ends with an error is said, with its last words, and is exit code 1."""
    program = tmp_path / "bad.py"
    program.write_text("raise SystemExit('no such plant')", encoding="utf-8")
    agent = f"{sys.executable} {program}"

    assert main(["score", "unreported", "--seeds", "1", "--days", "1.1", "--agent", agent]) == 1
    assert "unreported, seed 1: the agent's replay ended with code 1: no such plant" in (
        capsys.readouterr().err
    )


def test_one_failure_does_not_spoil_the_others(dumb):
    """What could be run is kept, what could not is told."""
    good = Task("unreported", 1, 1.1, tuple(dumb.split()))
    bad = Task("unreported", 2, 1.1, ("no-such-program",))
    runs, failures = run_all([good, bad], 1)

    assert [run.seed for run in runs] == [1]
    assert len(failures) == 1
    assert "no-such-program cannot be started" in failures[0]


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["--seeds", "0"], "--seeds is 0; expected 1 to"),
        (["--days", "1"], "--days is 1; the first day is left out"),
        (["--jobs", "0"], "--jobs is 0; expected 1 to"),
    ],
)
def test_a_number_out_of_range_is_refused(arguments, expected, capsys):
    """Wrong usage is exit code 2 and says what was expected."""
    assert main(["score", "unreported", *arguments]) == 2
    assert expected in capsys.readouterr().err


def test_an_unknown_scenario_is_refused_before_anything_runs(capsys):
    """A misspelt name is exit code 2, with the names that there are."""
    assert main(["score", "unreported", "quiet-weak"]) == 2
    assert "quiet-week" in capsys.readouterr().err


def test_a_summary_has_a_line_for_each_scenario():
    """Ratios, their mean over quantities and scenarios, the worst, and false alarms apart."""
    from simulators.score.flags import Flags

    runs = [a_run("one", seed=seed) for seed in (1, 2, 3)]
    runs += [a_run("two", group="losses", flags=Flags([fault()], [])) for _ in range(3)]
    text = summary_table(runs)

    lines = text.splitlines()
    assert [line.split()[0] for line in lines if line.split()[:1] in (["one"], ["two"])] == [
        "one",
        "two",
    ]
    assert "worst scenario" in text
    assert "clean scenarios, 30 sump-days" in text
    assert max(map(len, lines)) <= 150


def test_a_summary_sets_the_naive_ways_beside_the_agent():
    """Errors of 2, 6 and 8 against the yardstick's 1, whose sd of 1 is as large as its error."""
    samples = {name: sample(2.0, 1.0) for name in QUANTITIES}
    for own in samples.values():
        own.weekly[:] = 8.0
    lines = summary_table([a_run(seed=seed, samples=samples) for seed in (1, 2, 3)]).splitlines()
    head = next(line.split() for line in lines if "hourly" in line and "recall" in line)
    one = next(line.split() for line in lines if line.startswith("one"))

    assert head[8:11] == ["mean", "hourly", "weekly"]
    assert one[7:10] == ["2.00", "6.00", "8.00"]
    assert one[14] == "1.00"


def test_a_page_gets_the_tables_between_its_marks(dumb, tmp_path, capsys):
    """With --update the page has a row for each scenario in Markdown, and keeps the rest."""
    page = tmp_path / "score.md"
    page.write_text(
        "before\n<!-- score: begin -->\nold body\n<!-- score: end -->\nafter\n", "utf-8"
    )
    command = ["score", "unreported", "--seeds", "1", "--days", "1.25", "--agent", dumb]
    assert main([*command, "--update", str(page)]) == 0
    text = page.read_text("utf-8")

    assert text.startswith("before\n<!-- score: begin -->\n1 seed, 1 run of a sump")
    assert text.endswith("\n<!-- score: end -->\nafter\n")
    assert "| `unreported` |" in text
    assert "| **together** |" in text
    assert "old body" not in text
    assert "unreported" in capsys.readouterr().out


def test_a_page_without_marks_is_refused_before_anything_runs(tmp_path, capsys):
    """Nobody waits for hours to hear that the page was the wrong one."""
    page = tmp_path / "other.md"
    page.write_text("no marks", "utf-8")
    assert main(["score", "unreported", "--update", str(page)]) == 2
    said = capsys.readouterr().err
    assert "expected the marks <!-- score: begin -->" in said
    assert "seed 1" not in said


def test_a_page_has_the_same_numbers_as_the_text():
    """Markdown and text are two forms of one table, cell by cell."""
    runs = [a_run(name, seed=seed) for name in ("one", "two") for seed in (1, 2, 3)]
    page, text = summary_page(runs), summary_table(runs)
    cells = [c.strip(" `*") for row in page.splitlines() if row[:2] == "| " for c in row.split("|")]

    for cell in cells:
        assert cell in text or cell in {"scenario", "all runs", "---"}, cell


def test_a_table_of_one_scenario_shows_both_sds():
    """The posterior sd of agent and yardstick stand beside their errors."""
    text = scenario_table([a_run(seed=seed) for seed in (1, 2, 3)])
    volume = next(line for line in text.splitlines() if line.startswith("volume"))

    assert volume.split()[2:4] == ["2.00", "1.00"]
    assert volume.split()[8:10] == ["1.00", "1.00"]
    assert "(2.00-2.00)" in volume


def test_the_report_is_plain():
    """Everything in it can be written as JSON without NaN or infinity."""
    runs = [a_run(seed=1), a_run(seed=2, events=a_run().events)]
    runs[0].events.found.append(found(told=False))
    text = json.dumps(report(runs, ["a failure"]), allow_nan=False)
    body = json.loads(text)

    assert body["failures"] == ["a failure"]
    assert body["summary"]["ratios"]["geometric_mean"] == pytest.approx(2.0)
    assert [event["told"] for event in body["runs"][0]["events"]] == [True, False]


def test_columns_stand_under_each_other():
    """The first column to the left, the others to the right, nothing behind."""
    assert columns([("", "one"), ("a", "2"), ("bcd", "33")]) == ["     one", "a      2", "bcd   33"]
