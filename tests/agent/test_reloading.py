"""The plant file while the agent runs: what is taken up, what waits, what is refused."""

import io
import json
from pathlib import Path

import pytest

from advisor.words import MINUTE, Instant
from agent.arrival import Arrival, Tick
from agent.pipeline import Pipeline
from agent.plant.load import load_plant
from agent.plant.plant import Plant
from agent.reloading import PlantFile
from agent.replay import replay
from agent.resources import shipped
from agent.store.ledger import Ledger

START: Instant = 1_772_431_200_000
STATE = "millpond/north/mill-07/state"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """The example's plant file."""
    path = tmp_path / "north.toml"
    path.write_bytes(shipped("plant.example.toml").read_bytes())
    return path


def rewrite(path: Path, before: str, after: str) -> None:
    """Change a text that stands in the file."""
    text = path.read_text("utf-8")
    assert before in text
    path.write_text(text.replace(before, after, 1), "utf-8")


def settled(file: PlantFile) -> Plant | None:
    """What two looks give."""
    return file.look() or file.look()


def test_a_change_is_taken_up_once_it_stands_still(path: Path) -> None:
    """Not at the first look, and only once."""
    file = PlantFile(path, load_plant(path))
    assert settled(file) is None
    rewrite(path, "target = 380", "target = 370")

    assert file.look() is None
    plant = file.look()
    assert plant is not None
    assert plant.sumps["mill-07"].levels.target == 370.0
    assert settled(file) is None


def test_mistakes_are_told_and_change_nothing(path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """All of them, with their lines; put right, the file is taken up."""
    file = PlantFile(path, load_plant(path))
    rewrite(path, "target = 380", "target = 999")
    rewrite(path, 'timezone = "Europe/Dublin"', 'timezone = "Nowhere"')

    assert settled(file) is None
    assert "what was read before stays" in caplog.text
    assert "target" in caplog.text
    assert "Nowhere" in caplog.text
    rewrite(path, "target = 999", "target = 370")
    rewrite(path, "Nowhere", "Europe/Dublin")
    assert settled(file) is not None


def test_asked_for_it_is_read_at_once(path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """On a signal there is nothing to wait for."""
    caplog.set_level("INFO")
    file = PlantFile(path, load_plant(path))
    file.ask()
    assert file.look() is None
    assert "nothing new" in caplog.text
    rewrite(path, "target = 380", "target = 370")
    file.ask()

    assert file.look() is not None


def test_what_holds_from_the_start_only_is_said(
    path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Broker and prefix stay what they were; the rest is taken up."""
    plant = load_plant(path)
    file = PlantFile(path, plant)
    rewrite(path, "127.0.0.1:1883", "127.0.0.1:1884")
    rewrite(path, "target = 380", "target = 370")
    found = settled(file)

    assert found is not None
    assert found.broker == plant.broker
    assert "broker: from the next start on" in caplog.text


def test_a_file_that_is_away_for_a_moment_is_no_change(path: Path) -> None:
    """Editors write another file and move it into place."""
    file = PlantFile(path, load_plant(path))
    text = path.read_text("utf-8")
    path.unlink()
    assert settled(file) is None
    path.write_text(text.replace("target = 380", "target = 370"), "utf-8")

    assert settled(file) is not None


# --- the pipeline goes on ------------------------------------------------------------------------


def readings(minutes: range, topic: str = "north/mill-07/level") -> list[Arrival | Tick]:
    """A level and a Brix each minute, and a tick behind them."""
    items: list[Arrival | Tick] = []
    for minute in minutes:
        at = START + minute * MINUTE
        items.append(Arrival(at, "north/mill-07/pumps", b"0"))
        items.append(Arrival(at + 5, topic, b"%.2f" % (380.0 - 0.1 * minute)))
        items.append(Arrival(at + 10, "north/mill-07/brix", b"6.4"))
        items.append(Tick(at + 2000))
    return items


def drive(pipeline: Pipeline, ledger: Ledger, items: list[Arrival | Tick]) -> list[bytes]:
    """States that are told meanwhile."""
    told = []
    for item in items:
        pipeline.take(item)
        told += [m.payload for _, m in pipeline.published if m.topic == STATE]
        ledger.commit(pipeline.seal())
    return told


def test_a_change_that_is_about_something_else_changes_no_state(path: Path) -> None:
    """With another name for the plant every state is told as without a change."""
    out = io.BytesIO()
    ledger = Ledger.open(None)
    before = load_plant(path)
    replay(before, ledger, readings(range(180)), out)
    undisturbed = [line for line in out.getvalue().splitlines() if b"/state" in line]
    rewrite(path, 'id = "north"', 'id = "north"\nname = "The north hall"')
    ledger = Ledger.open(None)
    pipeline = Pipeline(before, ledger)
    told = drive(pipeline, ledger, readings(range(90)))
    pipeline = pipeline.changed(load_plant(path))
    told += drive(pipeline, ledger, readings(range(90, 180)))

    assert len(told) == len(undisturbed)
    assert told[-1] in undisturbed[-1].replace(b'\\"', b'"')


def test_a_sump_that_is_bound_to_another_topic_keeps_its_history(path: Path) -> None:
    """Totals go on, and the old topic is subscribed to no longer."""
    ledger = Ledger.open(None)
    pipeline = Pipeline(load_plant(path), ledger)
    told = drive(pipeline, ledger, readings(range(120)))
    rewrite(path, 'topic = "north/mill-07/level"', 'topic = "north/mill-07/depth"')
    pipeline = pipeline.changed(load_plant(path))
    later = drive(pipeline, ledger, readings(range(120, 180), "north/mill-07/depth"))

    assert "north/mill-07/level" not in pipeline.filters
    assert (
        json.loads(later[-1])["lost_total"]["since"] == json.loads(told[-1])["lost_total"]["since"]
    )
    first, last = (json.loads(told[-1]), json.loads(later[0]))
    sd = first["volume_l"]["sd"]
    assert last["volume_l"]["value"] == pytest.approx(first["volume_l"]["value"], abs=sd)


def test_a_sump_that_moves_to_another_concentrate_keeps_its_history(path: Path) -> None:
    """Volume and totals go on; what is left is told by the new concentrate's own numbers."""
    concentrate = (
        '[[concentrate]]\nid = "semi-b"\nrefractometer_factor = 1.4\nband_pct = [6.0, 10.0]\n'
        "target_pct = 8.0\n\n[[concentrate]]"
    )
    rewrite(path, "[[concentrate]]", concentrate)
    ledger = Ledger.open(None)
    pipeline = Pipeline(load_plant(path), ledger)
    told = json.loads(drive(pipeline, ledger, readings(range(120)))[-1])
    rewrite(
        path, 'id = "mill-07"\nconcentrate = "semi-a"', 'id = "mill-07"\nconcentrate = "semi-b"'
    )
    pipeline = pipeline.changed(load_plant(path))
    later = json.loads(drive(pipeline, ledger, readings(range(120, 121)))[-1])

    assert pipeline.plant.sumps["mill-07"].fluid.id == "semi-b"
    assert later["lost_total"]["since"] == told["lost_total"]["since"]
    volume = told["volume_l"]
    assert later["volume_l"]["value"] == pytest.approx(volume["value"], abs=3 * volume["sd"])


def test_a_sump_that_is_gone_takes_back_what_stood(path: Path) -> None:
    """Its retained messages are withdrawn, its readings stay in the store."""
    text = path.read_text("utf-8")
    sump = text[text.index("[[sump]]") :]
    other = sump.replace("mill-07", "mill-08")
    path.write_text(text + "\n" + other, "utf-8")
    ledger = Ledger.open(None)
    pipeline = Pipeline(load_plant(path), ledger)
    drive(pipeline, ledger, readings(range(10)))
    assert STATE in ledger.retained_topics()
    path.write_text(text[: text.index("[[sump]]")] + other, "utf-8")
    pipeline.changed(load_plant(path))

    assert not [t for t in ledger.retained_topics() if t.startswith("millpond/north/mill-07/")]
    withdrawn = {m.topic for _, m in ledger.unsent(10_000) if m.retain and not m.payload}
    assert STATE in withdrawn
    assert ledger.evidence("mill-07", 0)
