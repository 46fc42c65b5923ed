"""What the store keeps, as tables for spreadsheets and data tools: CSV, or Parquet with pyarrow."""

import csv
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any, TypeAlias

from advisor.words import DAY, Estimate, Signal
from agent.errors import MillpondError
from agent.instants import text_of
from agent.plant.plant import Plant
from agent.plant.units import internal_unit
from agent.store.extract import Extract

Columns: TypeAlias = Mapping[str, type]
"""Name and kind of each column; moments are text in CSV and timestamps in Parquet."""
Row: TypeAlias = tuple[Any, ...]

ROWS_A_GROUP = 20_000


class Moment(int):
    """A column's kind: milliseconds since 1970."""


def readings(plant: Plant, extract: Extract) -> tuple[Columns, Iterator[Row]]:
    """Every reading while it is kept, before that what is kept of its minute or hour."""
    columns: Columns = {
        "time": Moment,
        "sump": str,
        "signal": str,
        "unit": str,
        "kept": str,
        "readings": int,
        "low": float,
        "high": float,
        "mean": float,
        "used": bool,
    }

    def rows() -> Iterator[Row]:
        for found in extract.readings():
            unit = _unit(plant, found.sump, found.signal)
            yield (found.at, found.sump, found.signal, unit, *found[3:])

    return columns, rows()


def states(_plant: Plant, extract: Extract) -> tuple[Columns, Iterator[Row]]:
    """States as they were told: of whole minutes, before that of hours."""
    names = ("volume_l", "concentration_pct", "water_l_per_day", "concentrate_l_per_day")
    columns: dict[str, type] = {"time": Moment, "sump": str}
    for name in names:
        columns |= {name: float, f"{name}_sd": float}

    def rows() -> Iterator[Row]:
        history = extract.history()
        for sump in extract.sumps():
            begin, end = extract.span
            for start in range(begin, end + 1, DAY):
                stop = min(end, start + DAY - 1)
                for told in history.series(sump, start, stop, points=DAY):
                    yield (
                        told.at,
                        sump,
                        *_pair(told.volume),
                        *_pair(told.concentration, 100.0),
                        *_pair(told.water_loss),
                        *_pair(told.concentrate_loss),
                    )

    return columns, rows()


def events(_plant: Plant, extract: Extract) -> tuple[Columns, Iterator[Row]]:
    """Additions, drains and charges: metered, reported or inferred."""
    columns: Columns = {
        "time": Moment,
        "sump": str,
        "id": str,
        "kind": str,
        "source": str,
        "volume_l": float,
        "volume_l_sd": float,
        "strength_pct": float,
        "strength_pct_sd": float,
    }
    rows = extract.events()
    return columns, ((*r[:7], *(None if x is None else 100.0 * x for x in r[7:])) for r in rows)


def reports(_plant: Plant, extract: Extract) -> tuple[Columns, Iterator[Row]]:
    """What people and stations said, corrected entries included."""
    columns: Columns = {
        "received": Moment,
        "time": Moment,
        "sump": str,
        "kind": str,
        "id": str,
        "replaces": str,
        "used": bool,
        "body": str,
    }
    return columns, ((*row[:6], bool(row[6]), row[7]) for row in extract.reports())


def alarms(_plant: Plant, extract: Extract) -> tuple[Columns, Iterator[Row]]:
    """Each change of an alarm that people saw."""
    columns: Columns = {
        "time": Moment,
        "about": str,
        "name": str,
        "signal": str,
        "was": str,
        "state": str,
        "priority": str,
        "by": str,
        "value": float,
        "limit": float,
        "unit": str,
        "raised_at": Moment,
    }
    return columns, extract.alarms()


TABLES: Mapping[str, Callable[[Plant, Extract], tuple[Columns, Iterator[Row]]]] = {
    "readings": readings,
    "states": states,
    "events": events,
    "reports": reports,
    "alarms": alarms,
}


def write_csv(path: Path, columns: Columns, rows: Iterable[Row]) -> int:
    """Write a table as RFC 4180 text with a line of names; how many rows."""
    moments = [place for place, kind in enumerate(columns.values()) if kind is Moment]
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        for row in rows:
            cells = list(row)
            for place in moments:
                if cells[place] is not None:
                    cells[place] = text_of(cells[place])
            writer.writerow(cells)
            count += 1
    return count


def write_parquet(path: Path, columns: Columns, rows: Iterable[Row]) -> int:
    """Write a table as Parquet, in groups of rows; how many.

    Raises
    ------
    MillpondError
        If pyarrow is not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise MillpondError(
            'Parquet needs the package pyarrow: pip install "millpond[export]", or --format csv'
        ) from error
    kinds = {
        Moment: pa.timestamp("ms", tz="UTC"),
        str: pa.string(),
        int: pa.int64(),
        float: pa.float64(),
        bool: pa.bool_(),
    }
    schema = pa.schema([(name, kinds[kind]) for name, kind in columns.items()])
    count = 0
    left = iter(rows)
    with pq.ParquetWriter(path, schema) as writer:
        while group := list(islice(left, ROWS_A_GROUP)):
            cells = zip(*group, strict=True)
            arrays = [pa.array(c, f.type) for c, f in zip(cells, schema, strict=True)]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
            count += len(group)
    return count


WRITERS: Mapping[str, Callable[[Path, Columns, Iterable[Row]], int]] = {
    "csv": write_csv,
    "parquet": write_parquet,
}


def _unit(plant: Plant, sump: str, signal: str) -> str:
    """Unit inside of a signal's values; empty for a signal that is bound no longer, or has none."""
    plan = plant.sumps.get(sump)
    bound = None if plan is None else plan.signals.get(Signal(signal))
    return "" if bound is None else internal_unit(Signal(signal), bound.kind) or ""


def _pair(estimate: Estimate | None, factor: float = 1.0) -> tuple[float | None, float | None]:
    """Value and sd as two cells."""
    if estimate is None:
        return None, None
    return round(estimate.value * factor, 6), round(estimate.sd * factor, 6)
