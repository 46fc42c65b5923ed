"""Recordings, truth, charts and the command line."""

import io
import json
import xml.etree.ElementTree as ET

import pytest

from simulators.cli import main
from simulators.instants import instant
from simulators.payloads import Message, encoder
from simulators.prepare import floor_of
from simulators.record import line_of, record
from simulators.scenario.signals import BrixSpec, LevelSpec
from simulators.svg import Panel, Series, chart, thinned, ticks
from tests.simulators.floors import plant


def recorded(seed: int = 1, days: float = 0.3) -> tuple[list[str], list[str]]:
    """Lines of a recording and of its truth."""
    out, truth = io.StringIO(), io.StringIO()
    record(floor_of("everything-goes-wrong", seed, days), out, truth)
    return out.getvalue().splitlines(), truth.getvalue().splitlines()


def test_same_seed_gives_the_same_bytes():
    """Twice the same scenario and seed: the same recording and the same truth; another differs."""
    assert recorded() == recorded()
    assert recorded()[0] != recorded(2)[0]


def test_lines_are_in_order_of_arrival_with_a_tick_each_minute():
    """Times never go back; each tick stands after everything up to it."""
    lines = [json.loads(line) for line in recorded()[0]]
    times = [instant(line["at"]) for line in lines]
    assert times == sorted(times)
    ticks_ = [instant(line["at"]) for line in lines if list(line) == ["at"]]
    assert ticks_ == list(range(ticks_[0], ticks_[-1] + 1, 60_000))
    assert len(ticks_) == round(0.3 * 1440)


def test_truth_begins_with_what_was_drawn_and_goes_on_with_states():
    """First line meta, then a state every ten minutes with all its keys."""
    lines = [json.loads(line) for line in recorded()[1]]
    assert lines[0]["type"] == "meta"
    drawn = lines[0]["sumps"]["mill-1"]
    assert 0.9 <= drawn["area_factor"] <= 1.1
    assert abs(drawn["holdup_l"] / 32.0 - 1.0) == pytest.approx(0.5)
    states = [line for line in lines if line["type"] == "state"]
    assert len(states) == round(0.3 * 144) + 1
    for key in ("volume_l", "concentrate_l", "oil_l", "holdup_l", "sums_l", "running", "celsius"):
        assert key in states[0]


def test_bytes_that_are_no_text_are_kept():
    """A payload that is no UTF-8 goes into the recording as base64; retained says so."""
    line = json.loads(line_of(Message(0, "t", b"\xff\x00", retain=True)))
    assert line == {
        "at": "1970-01-01T00:00:00Z", "topic": "t", "payload_base64": "/wA=", "retain": True,
    }  # fmt: skip


def test_payload_forms():
    """The same reading bare, in JSON along pointers, in SenML."""
    at = 1_772_431_200_137
    bare = encoder(LevelSpec(form="bare"), "m", "level", "mm")
    assert bare(at, "412.5") == b"412.5"
    pointers = LevelSpec(value_pointer="/data/v", time_pointer="/data/ts", unit_pointer="/a~1b")
    body = json.loads(encoder(pointers, "m", "level", "mm")(at, "412.5"))
    assert body == {"data": {"v": 412.5, "ts": "2026-03-02T06:00:00.137Z"}, "a/b": "mm"}
    pack = json.loads(encoder(LevelSpec(form="senml"), "mill-07", "level", "m")(at, "0.4125"))
    assert pack == [{"bn": "mill-07:", "bt": 1772431200.137, "n": "level", "u": "m", "v": 0.4125}]
    brix = encoder(BrixSpec(form="senml"), "m", "brix", "degBrix")
    assert "u" not in json.loads(brix(at, "6"))[0]
    told = json.loads(encoder(LevelSpec(form="senml"), "m", "running", "")(at, "true"))
    assert told[0]["vb"] is True
    words = json.loads(encoder(LevelSpec(), "m", "running", "")(at, "on"))
    assert words["value"] == "on"


def test_record_command_writes_three_files(tmp_path):
    """Recording, truth and plant file, from one call."""
    paths = [tmp_path / name for name in ("rec.jsonl", "truth.jsonl", "plant.toml")]
    code = main(
        [
            "record",
            "quiet-week",
            "--seed",
            "4",
            "--days",
            "0.05",
            "--out",
            str(paths[0]),
            "--truth",
            str(paths[1]),
            "--plant",
            str(paths[2]),
        ]
    )
    assert code == 0
    assert all(path.stat().st_size > 500 for path in paths)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["record", "no-such", "--out", "-"], "neither a TOML file nor one of"),
        (["record", "demo", "--days", "-3", "--out", "-"], "expected more than 0"),
        (["run", "demo", "--broker", "mqtt://127.0.0.1:1", "--days", "0.01"], "cannot be reached"),
        (["close", "demo", "--agent", "/no/such/agent"], "cannot be started"),
        (["table", "--update", "/no/such/page.md"], "No such file"),
    ],
)
def test_commands_say_what_is_wrong(arguments, said, capsys):
    """Wrong input: a line that says it, and a code that is not zero."""
    code = main(arguments)
    assert code == (1 if "page" in arguments[-1] else 2)
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [[], ["record"], ["nonsense"]])
def test_wrong_usage_is_two(arguments, capsys):
    """What argparse refuses ends with 2."""
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == 2
    assert "usage" in capsys.readouterr().err


def test_list_plant_and_table_print(capsys):
    """The small commands print what they promise."""
    assert main(["list"]) == 0
    assert "quiet-week" in capsys.readouterr().out
    assert main(["plant", "demo", "--broker", "mqtt://h:1"]) == 0
    assert 'url = "mqtt://h:1"' in capsys.readouterr().out
    assert main(["table"]) == 0
    assert "| `foam` |" in capsys.readouterr().out


def test_plot_is_a_drawing_with_truth_and_readings(tmp_path):
    """Well-formed SVG with a panel for level, concentration and fluid of each sump."""
    path = tmp_path / "week.svg"
    assert main(["plot", "quiet-week", "--days", "0.4", "--out", str(path)]) == 0
    root = ET.fromstring(path.read_text(encoding="utf-8"))  # noqa: S314 - our own drawing
    texts = " ".join(element.text or "" for element in root.iter() if element.tag.endswith("text"))
    for words in ("mill-1: depth [mm]", "lathe-2: concentration [%]", "truth", "reading"):
        assert words in texts
    lines = [element for element in root.iter() if element.tag.endswith("polyline")]
    assert len(lines) == 2 * (1 + 1 + 3)


def test_thinning_keeps_the_extremes():
    """Of 50 000 points a few thousand stay, the highest and the lowest among them."""
    points = [(float(i), float((i * 7919) % 10_007)) for i in range(50_000)]
    kept = thinned(points)
    assert len(kept) <= 2100
    ys = [y for _, y in points]
    assert max(y for _, y in kept) == max(ys)
    assert min(y for _, y in kept) == min(ys)
    assert [x for x, _ in kept] == sorted(x for x, _ in kept)


@pytest.mark.parametrize("span", [(0.0, 1.0), (-3.0, 17.0), (6.1, 6.3), (0.0, 0.0)])
def test_ticks_are_round_and_inside(span):
    """Between one and a dozen marks, evenly spaced, all inside."""
    found = ticks(*span)
    assert 1 <= len(found) <= 12
    assert all(span[0] - 1e-6 <= value <= span[1] + 1e-6 for value in found)


def test_titles_cannot_break_the_drawing():
    """Names with angle brackets are escaped."""
    text = chart("<b>&", [Panel("<x>", [Series("a<b", [(0.0, 1.0), (1.0, 2.0)], "#000")])])
    assert ET.fromstring(text) is not None  # noqa: S314 - our own drawing


def test_plant_that_nobody_watches_still_runs():
    """A sump without a single signal makes no messages and no trouble."""
    floor = plant()
    bare = floor.scenario.sump[0].model_copy(
        update={"signals": type(floor.scenario.sump[0].signals)()}
    )
    scenario = floor.scenario.model_copy(update={"sump": (bare,)})
    from simulators.shop_floor import ShopFloor

    silent = ShopFloor(scenario, 1)
    assert [silent.step() for _ in range(100)] == [[]] * 100
