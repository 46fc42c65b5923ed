"""`millpond validate`: what was understood, or all that is wrong."""

import argparse
import json
from pathlib import Path

import pytest

from agent.commands import validate
from agent.resources import shipped

EXAMPLE = shipped("plant.example.toml")


def run(*arguments: str) -> int:
    """The command as the command line calls it."""
    parser = argparse.ArgumentParser()
    validate.add(parser.add_subparsers())
    options = parser.parse_args(["validate", *arguments])
    return int(options.run(options))


def test_a_good_file_is_summed_up(capsys: pytest.CaptureFixture[str]) -> None:
    """Volumes at the three levels and the reading at the target let a person see a slip.

    1.5 m x 0.7 m x 0.38 m are 399 L; 8 % at 1.25 % per degree read 6.4.
    """
    assert run(str(EXAMPLE)) == 0

    out = capsys.readouterr().out
    assert "target 380 mm = 399 L" in out
    assert "6.40 °Brix at the target" in out
    assert "1 % mix in place of plain water" in out
    assert "north/mill-07/level (depth, in mm, sd 1.5)" in out


def test_a_good_file_is_summed_up_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    """The same in JSON."""
    assert run(str(EXAMPLE), "--json") == 0

    body = json.loads(capsys.readouterr().out)
    assert body["valid"] is True
    (sump,) = body["sumps"]
    assert sump["volume_l"] == {"low": 189.0, "target": 399.0, "brim": 451.5}
    assert sump["target_brix"] == pytest.approx(6.4)
    assert [signal["signal"] for signal in sump["signals"]] == [
        *("level", "brix", "running", "water_meter")
    ]


def test_what_people_read_in_us_units_is_said_in_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """95 US gallons: 359.6 L / 3.785411784 (NIST Handbook 44)."""
    text = EXAMPLE.read_text(encoding="utf-8")
    path = tmp_path / "us.toml"
    path.write_text(text.replace('"metric"', '"us"').replace("target = 380", "target = 342.49"))

    assert run(str(path)) == 0
    assert "target 342.49 mm = 95 gal" in capsys.readouterr().out


def test_a_bad_file_is_answered_line_by_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each problem is a line on standard error that begins with file and line; exit 2."""
    path = tmp_path / "bad.toml"
    text = EXAMPLE.read_text(encoding="utf-8")
    path.write_text(
        text.replace("width_mm", "breadth_mm").replace("holdup_l = 35", "holdup_l = -3")
    )

    assert run(str(path)) == 2

    captured = capsys.readouterr()
    assert captured.out == ""
    lines = captured.err.splitlines()
    assert len(lines) == 3
    assert all(line.startswith(f"{path}:") for line in lines)


def test_a_bad_file_is_answered_for_programs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The problems in JSON, with line, key, value and what was expected; exit 2."""
    path = tmp_path / "bad.toml"
    path.write_text(EXAMPLE.read_text(encoding="utf-8").replace("sd = 0.08", "sd = -1"))

    assert run(str(path), "--json") == 2

    body = json.loads(capsys.readouterr().out)
    assert body["valid"] is False
    (problem,) = body["problems"]
    assert problem["key"] == "sump[mill-07].signals.brix.sd"
    assert problem["value"] == "-1"
    assert problem["expected"] == "expected more than 0"
    assert problem["line"] > 1
