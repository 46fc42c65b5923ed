"""`millpond export`: every table, both formats, while an agent runs."""

import csv
from pathlib import Path

import pytest

from advisor.words import DAY, MINUTE, Check, CheckKind, Estimate, Instant, Signal, SumpEvent
from agent.cli import main
from agent.plant.load import load_plant
from agent.plant.plant import Keeping
from agent.resources import shipped
from agent.store.batch import Batch, StoredEntry
from agent.store.changes import AlarmChange
from agent.store.ledger import Ledger

SUMP = "mill-07"
START: Instant = 1_772_409_600_000  # 2026-03-02T00:00:00Z


@pytest.fixture
def plant_file(tmp_path: Path) -> Path:
    """The example with a store of nine days, of which two are kept as readings."""
    path = tmp_path / "north.toml"
    path.write_bytes(shipped("plant.example.toml").read_bytes())
    ledger = Ledger.open(
        load_plant(path).store, backlog_max=DAY // 2, keeping=Keeping(raw=2 * DAY, minutes=4 * DAY)
    )
    times = range(START, START + 9 * DAY, MINUTE)
    ledger.commit(
        Batch(
            readings=[(SUMP, Signal.LEVEL, at, 300.0 + n % 7, True) for n, at in enumerate(times)],
            entries=[
                StoredEntry(SUMP, Check(at=START, id="a", kind=CheckKind.PH, value=9.1), START + 5)
            ],
            events=[
                (
                    SUMP,
                    SumpEvent(
                        id="e-1",
                        at=START,
                        kind="addition",
                        source="inferred",
                        volume=Estimate(16.0, 1.0),
                        strength=Estimate(0.08, 0.01),
                    ),
                )
            ],
            changes=[
                AlarmChange(
                    at=START + 7,
                    about=SUMP,
                    name="level-low",
                    signal=None,
                    was="normal",
                    state="unacknowledged",
                    priority="medium",
                    by=None,
                    value=170.0,
                    limit=180.0,
                    unit="mm",
                    raised_at=None,
                    because_of=None,
                    until=None,
                )
            ],
            clock=START + 9 * DAY,
        )
    )
    ledger.housekeep()
    ledger.close()
    return path


def exported(plant_file: Path, *options: str) -> list[dict[str, str]]:
    """Rows of a CSV that the command wrote."""
    out = plant_file.with_name("out.csv")
    assert main(["export", str(plant_file), "--out", str(out), *options]) == 0
    with out.open(newline="") as file:
        return list(csv.DictReader(file))


def test_every_reading_is_told_once_as_finely_as_it_is_kept(plant_file: Path) -> None:
    """Hours, then minutes, then readings: counts add up to what was stored."""
    rows = exported(plant_file)

    assert sum(int(row["readings"]) for row in rows) == 9 * 1440
    assert [row["time"] for row in rows] == sorted(row["time"] for row in rows)
    assert {row["kept"] for row in rows} == {"hour", "minute", "reading"}
    assert rows[0]["time"] == "2026-03-02T00:00:00Z"
    assert (rows[0]["low"], rows[0]["high"], rows[0]["unit"]) == ("300.0", "306.0", "mm")
    assert rows[-1]["kept"] == "reading"


def test_a_range_holds_both_of_its_ends(plant_file: Path) -> None:
    """From and to are RFC 3339 times, both included."""
    rows = exported(
        plant_file, "--from", "2026-03-10T12:00:00Z", "--to", "2026-03-10T13:05:00+01:00"
    )

    assert [row["time"][11:16] for row in rows] == [f"12:0{n}" for n in range(6)]
    assert exported(plant_file, "--sump", "mill-08") == []


def test_records_have_tables_of_their_own(plant_file: Path) -> None:
    """What people said, events, alarms, states."""
    [report] = exported(plant_file, "--what", "reports")
    [event] = exported(plant_file, "--what", "events")
    [alarm] = exported(plant_file, "--what", "alarms", "--sump", SUMP)

    assert (report["kind"], report["used"], report["id"]) == ("check", "True", "a")
    assert (event["volume_l"], event["strength_pct"]) == ("16.0", "8.0")
    assert (alarm["name"], alarm["value"], alarm["by"]) == ("level-low", "170.0", "")
    assert exported(plant_file, "--what", "states") == []


def test_parquet_holds_the_same_with_kinds(plant_file: Path) -> None:
    """Read back by pyarrow: moments are timestamps in UTC, numbers are numbers."""
    pq = pytest.importorskip("pyarrow.parquet")
    rows = exported(plant_file)
    out = plant_file.with_name("out.parquet")
    assert main(["export", str(plant_file), "--format", "parquet", "--out", str(out)]) == 0
    table = pq.read_table(out)

    assert table.num_rows == len(rows)
    assert str(table.schema.field("time").type) == "timestamp[ms, tz=UTC]"
    assert table.column("mean").to_pylist() == [float(row["mean"]) for row in rows]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--from", "yesterday"], "--from 'yesterday': expected an RFC 3339 time"),
        (
            ["--from", "2026-03-10T00:00:00Z", "--to", "2026-03-09T00:00:00Z"],
            "is before --from",
        ),
    ],
)
def test_what_is_no_range_is_said(
    plant_file: Path, capsys: pytest.CaptureFixture[str], options: list[str], said: str
) -> None:
    """With the option and what was expected."""
    out = str(plant_file.with_name("out.csv"))

    assert main(["export", str(plant_file), "--out", out, *options]) == 2
    assert said in capsys.readouterr().err


def test_a_store_that_is_not_there_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is made by looking."""
    path = tmp_path / "north.toml"
    path.write_bytes(shipped("plant.example.toml").read_bytes())

    assert main(["export", str(path), "--out", str(tmp_path / "out.csv")]) == 1
    assert "there is no store" in capsys.readouterr().err
    assert {file.name for file in tmp_path.iterdir()} == {"north.toml"}
