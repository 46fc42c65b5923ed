"""Everything that is measured of an agent and its plant, for Prometheus and its kin.

Base units: seconds, bytes, cubic metres, ratios from 0 to 1. Totals of the process begin with it;
totals of refusals begin with the store. What is not known is left out, never 0.
"""

import json
import shutil
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from agent.instants import instant_of
from agent.operation.exposition import Family, counter, gauge
from agent.operation.live import Live
from agent.plant.plant import Plant
from agent.store.database import Database
from agent.version import VERSION

_M3, _PER_DAY = 1e-3, 1.0 / 86_400.0
_STATUS = Path("/proc/self/status")


def families(live: Live, plant: Plant, database: Database) -> Iterator[Family]:
    """Every family, one after the other."""
    yield Family("millpond_build_info", "gauge", "version", (({"version": VERSION}, 1.0),))
    yield from _process(live)
    yield from _flow(live)
    yield from _store(plant, database)
    yield from _signals(database)
    retained: dict[str, bytes] = dict(database.rows("SELECT topic, payload FROM retained"))
    yield from _sumps(plant, retained)
    yield _alarms(plant, retained)


# --- the process ---------------------------------------------------------------------------------


def _process(live: Live) -> Iterator[Family]:
    """How the process is."""
    yield gauge(
        "millpond_start_time_seconds", "when this run began, in Unix time", live.started / 1e3
    )
    yield counter("millpond_process_cpu_seconds_total", "processor time used", live.cpu_seconds())
    yield gauge(
        "millpond_process_resident_memory_bytes",
        "memory resident at present",
        _from_status("VmRSS:"),
    )
    yield gauge(
        "millpond_process_resident_memory_max_bytes",
        "the most memory that was ever resident",
        _from_status("VmHWM:"),
    )
    yield gauge(
        "millpond_worker_idle_seconds", "since the worker's last sign of life", live.pulse.age
    )
    yield gauge(
        "millpond_store_waited_for",
        "1 while the store cannot be written and the worker waits for it",
        float(bool(live.pulse.waits_for)),
    )
    yield gauge(
        "millpond_broker_connected", "1 while the broker can be reached", float(live.is_connected())
    )


def _from_status(key: str) -> float | None:
    """An amount of memory of proc(5); `None` where the system does not say. [bytes]"""
    try:
        text = _STATUS.read_text("ascii")
    except OSError:
        return None
    found = [line.split()[1] for line in text.splitlines() if line.startswith(key)]
    return float(found[0]) * 1024.0 if found else None


def _flow(live: Live) -> Iterator[Family]:
    """What went through since the start."""
    yield gauge(
        "millpond_queue_messages", "messages that wait for the worker", float(live.in_queue())
    )
    for name, about, value in (
        ("transactions", "transactions of the worker", live.transactions),
        ("readings", "readings stored", live.readings),
        (
            "readings_unused",
            "readings stored and not used: too late, or of unknown time",
            live.unused,
        ),
        ("reports", "reports of people and stations stored", live.reports),
        ("published", "messages written to the outbox", live.published),
    ):
        yield counter(f"millpond_{name}_total", f"{about}, since the start", float(value))


# --- the store -----------------------------------------------------------------------------------


def _store(plant: Plant, database: Database) -> Iterator[Family]:
    """The store, its disk, and what waits in it."""
    files = (plant.store, plant.store.with_name(plant.store.name + "-wal"))
    size = sum(path.stat().st_size for path in files if path.exists())
    yield gauge("millpond_store_size_bytes", "size of the store with its log", float(size))
    free = shutil.disk_usage(plant.store.parent).free
    yield gauge("millpond_store_free_bytes", "room left on the store's disk", float(free))
    for name, about, query in (
        ("outbox_messages", "messages that wait for the broker", "SELECT count(*) FROM outbox"),
        (
            "historian_waiting_lines",
            "lines that wait for the historian",
            "SELECT coalesce(sum(count), 0) FROM historian",
        ),
        (
            "historian_refused_lines",
            "lines that the historian did not take, put aside",
            "SELECT count(*) FROM historian_refused",
        ),
        (
            "notices_waiting",
            "messages that wait for people's targets",
            "SELECT count(*) FROM notice",
        ),
    ):
        yield gauge(f"millpond_{name}", about, float((database.row(query) or (0,))[0]))
    yield Family(
        "millpond_refused_total",
        "counter",
        "messages, or parts of them, that could not be used, by reason, since the store was made",
        tuple(
            ({"reason": reason}, float(count))
            for reason, count in database.rows(
                "SELECT reason, count FROM refusal_count ORDER BY reason"
            )
        ),
    )


def _signals(database: Database) -> Iterator[Family]:
    """When each signal last said something."""
    rows = database.rows(
        """SELECT sump, name, (SELECT max(at) FROM reading WHERE signal = id) FROM signal
        ORDER BY sump, name"""
    )
    yield Family(
        "millpond_signal_last_reading_time_seconds",
        "gauge",
        "time of each signal's newest reading, in Unix time",
        tuple(
            ({"sump": sump, "signal": name}, at / 1e3) for sump, name, at in rows if at is not None
        ),
    )


# --- the plant -----------------------------------------------------------------------------------

_OF_STATE: tuple[tuple[str, str, tuple[str, ...], float], ...] = (
    ("volume_cubic_meters", "all the fluid, holdup included", ("volume_l",), _M3),
    ("concentration_ratio", "concentrate in the mix, by volume", ("concentration_pct",), 1e-2),
    (
        "water_loss_cubic_meters_per_second",
        "mean loss as water",
        ("losses", "water_l_per_day"),
        _M3 * _PER_DAY,
    ),
    (
        "concentrate_loss_cubic_meters_per_second",
        "mean loss as concentrate",
        ("losses", "concentrate_l_per_day"),
        _M3 * _PER_DAY,
    ),
)
"""Name, words, place in the state's body, and what makes the base unit of it."""


def _sumps(plant: Plant, retained: Mapping[str, bytes]) -> Iterator[Family]:
    """What was last told of each sump: the estimates, and beside each its sd."""
    states: dict[str, Any] = {}
    for sump in plant.sumps:
        payload = retained.get(f"{plant.prefix}/{sump}/state")
        if payload:
            states[sump] = json.loads(payload)
    yield Family(
        "millpond_sump_state_time_seconds",
        "gauge",
        "time for which each sump's state holds, in Unix time",
        tuple(({"sump": s}, instant_of(body["at"]) / 1e3) for s, body in states.items()),
    )
    for name, about, place, factor in _OF_STATE:
        for part, suffix, words in (("value", "", ""), ("sd", "_sd", ": standard deviation")):
            yield Family(
                f"millpond_sump_{name}{suffix}",
                "gauge",
                about + words,
                tuple(
                    ({"sump": sump}, estimate[part] * factor)
                    for sump, body in states.items()
                    if (estimate := _at(body, place)) is not None
                ),
            )


def _at(body: Any, place: tuple[str, ...]) -> Any:  # noqa: ANN401  JSON of our own
    """What stands at a place in a body."""
    for key in place:
        body = body[key]
    return body


def _alarms(plant: Plant, retained: Mapping[str, bytes]) -> Family:
    """How many alarms stand, by priority and state."""
    standing = Counter(
        (body["priority"], body["state"])
        for topic, payload in retained.items()
        if is_alarm(topic, plant.prefix) and (body := json.loads(payload))["state"] != "normal"
    )
    return Family(
        "millpond_alarms",
        "gauge",
        "alarms that stand, by priority and state",
        tuple(
            ({"priority": priority, "state": state}, float(count))
            for (priority, state), count in sorted(standing.items())
        ),
    )


def is_alarm(topic: str, prefix: str) -> bool:
    """Whether a retained message on this topic is an alarm."""
    return topic.startswith(f"{prefix}/") and "alarm" in topic.removeprefix(f"{prefix}/").split("/")
