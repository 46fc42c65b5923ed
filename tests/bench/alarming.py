"""Which alarms the scenarios raise, how soon, and which without a cause that the simulator knows.

``python -m tests.bench.alarming [SCENARIO...] [--seeds N] [--jobs N] [--results FILE]``: records
each scenario with `millpond-sim`, replays it, and holds every alarm that asked for somebody against
the truth. Half a minute a scenario; without names all that are scored. ``--results`` keeps what was
found, a line a run, and passes over what is in it already; ``--update docs/alarms.md`` writes the
table of all that is in it between the marks there.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from advisor.plan import SumpPlan
from advisor.words import DAY, HOUR, Instant
from agent.instants import instant_of
from agent.plant.load import load_plant
from agent.resources import shipped
from tests.bench.alarm_table import Found, read_results, table, write_between_marks

LATE: Instant = 2 * DAY
"""So long after a trouble is over its alarm may still come. [ms]"""

BY_TROUBLE: Mapping[str, frozenset[str]] = {
    "leak": frozenset({"mix-loss-high"}),
    "carry-off": frozenset({"mix-loss-high"}),
    "ingress": frozenset({"water-gain"}),
    "oil-spill": frozenset({"water-gain", "sensor-drift/brix", "sensor-fault/brix"}),
    "wrong-concentrate": frozenset({"wrong-concentrate", "concentrate-loss-high"}),
}
"""Alarms that tell of a disturbance; those of a sensor's fault carry its signal."""

OF_PEOPLE = ("advice-open", "check-overdue", "stagnant", "signal-stale", "feed-lost")
"""What these say is so by itself: somebody, or some signal, was late."""

DEPTH_SLACK, SHARE_SLACK, BIAS = 10.0, 0.3, 0.25
"""Truth this near a limit explains an alarm. [mm], [% of the mix], [°Brix]"""


@dataclass(frozen=True)
class Trouble:
    """Something that the simulator did to a sump."""

    sump: str
    kind: str
    begin: Instant
    end: Instant
    alarms: frozenset[str]


@dataclass(frozen=True)
class Raised:
    """An alarm that asked for somebody."""

    at: Instant
    sump: str
    key: str


@dataclass(frozen=True)
class Run:
    """One scenario with one seed."""

    name: str
    plans: Mapping[str, SumpPlan]
    begin: Instant
    end: Instant
    troubles: tuple[Trouble, ...]
    states: tuple[dict[str, Any], ...]
    drains: tuple[dict[str, Any], ...]
    raised: tuple[Raised, ...]

    @property
    def sump_days(self) -> float:
        """How much was watched. [d]"""
        return len(self.plans) * (self.end - self.begin) / DAY

    def unexplained(self) -> list[Raised]:
        """Alarms that nothing in the truth accounts for."""
        return [alarm for alarm in self.raised if not self._is_explained(alarm)]

    def delay(self, trouble: Trouble) -> Instant | None:
        """How long after its begin a trouble was told; `None`: never. [ms]"""
        found = [
            alarm.at - trouble.begin
            for alarm in self.raised
            if alarm.sump == trouble.sump
            and alarm.key in trouble.alarms
            and trouble.begin <= alarm.at <= trouble.end + LATE
        ]
        return min(found, default=None)

    def _is_explained(self, alarm: Raised) -> bool:
        """Whether the truth has a reason for an alarm."""
        name = alarm.key.partition("/")[0]
        if name in OF_PEOPLE:
            return True
        near = [
            t for t in self.troubles if t.sump == alarm.sump and t.begin <= alarm.at <= t.end + LATE
        ]
        if any(alarm.key in t.alarms for t in near):
            return True
        if name == "mix-loss-high":
            return any(0 <= alarm.at - instant_of(d["at"]) <= DAY for d in self.drains)
        plan = self.plans.get(alarm.sump)
        lately = [
            state
            for state in self.states
            if state["sump"] == alarm.sump
            and -HOUR <= alarm.at - instant_of(state["at"]) <= 2 * HOUR
        ]
        return plan is not None and any(_shows(state, alarm.key, plan) for state in lately)


def _shows(state: Mapping[str, Any], key: str, plan: SumpPlan) -> bool:
    """Whether the true sump was as the alarm says."""
    depth, share = state["rest_depth_mm"], state["concentration_pct"]
    match key:
        case "level-low":
            return bool(depth < plan.levels.low + DEPTH_SLACK)
        case "level-high":
            return bool(depth > plan.levels.brim - plan.headroom - DEPTH_SLACK)
        case "concentration-low":
            return bool(share < 100.0 * plan.fluid.band_low + SHARE_SLACK)
        case "concentration-high":
            return bool(share > 100.0 * plan.fluid.band_high - SHARE_SLACK)
        case "sensor-drift/brix" | "sensor-fault/brix":
            return abs(state["brix_bias"]) > BIAS
        case _:
            return False


# --- running --------------------------------------------------------------------------------------


def run_scenario(name: str, seed: int) -> Run:
    """Record a scenario, replay it, and read what came of it."""
    with tempfile.TemporaryDirectory() as folder:
        plant, recording, truth, told = (
            Path(folder) / file for file in ("plant.toml", "rec.jsonl", "truth.jsonl", "told.jsonl")
        )
        _call("simulators", "record", name, "--seed", str(seed), "--out", str(recording),
              "--truth", str(truth), "--plant", str(plant))  # fmt: skip
        _call("agent", "replay", str(plant), str(recording), "--out", str(told))
        known = [json.loads(line) for line in truth.read_text("utf-8").splitlines()]
        meta = known[0]
        return Run(
            name=name,
            plans=load_plant(plant).sumps,
            begin=instant_of(meta["begin"]),
            end=instant_of(meta["end"]),
            troubles=tuple(_troubles(known)),
            states=tuple(line for line in known if line["type"] == "state"),
            drains=tuple(k for k in known if k["type"] == "event" and k.get("volume_l", 0) < 0),
            raised=tuple(_raised(told)),
        )


def _call(module: str, *words: str) -> None:
    """Run one of the two programs."""
    subprocess.run([sys.executable, "-m", module, *words], check=True)


def _troubles(known: Iterable[Mapping[str, Any]]) -> Iterator[Trouble]:
    """What the truth says was wrong."""
    for line in known:
        if line["type"] == "disturbance":
            alarms = BY_TROUBLE.get(line["kind"], frozenset())
        elif line["type"] == "fault":
            of_signal = ("sensor-fault", "sensor-drift", "signal-stale")
            alarms = frozenset(f"{name}/{line['signal']}" for name in of_signal)
        else:
            continue
        kind = f"{line.get('signal', '')} {line['kind']}".strip()
        begin, end = instant_of(line["begin"]), instant_of(line["end"])
        yield Trouble(line["sump"], kind, begin, end, alarms)


def _raised(told: Path) -> Iterator[Raised]:
    """Each time that an alarm began to ask for somebody."""
    before: dict[str, str] = {}
    with told.open(encoding="utf-8") as lines:
        for line in lines:
            if "/alarm/" not in line:
                continue
            message = json.loads(line)
            if not message.get("payload"):
                continue
            body = json.loads(message["payload"])
            topic = message["topic"]
            if body["state"] == "unacknowledged" != before.get(topic):
                key = topic.partition("/alarm/")[2]
                yield Raised(instant_of(message["at"]), body["sump"] or "", key)
            before[topic] = body["state"]


# --- what was found -------------------------------------------------------------------------------


def found(name: str, seed: int) -> Found:
    """Run a scenario, and sum up what came of it."""
    run = run_scenario(name, seed)
    return Found(
        name=name,
        seed=seed,
        sump_days=run.sump_days,
        raised=dict(Counter(alarm.key for alarm in run.raised)),
        unexplained=[
            f"{alarm.sump} {alarm.key} on day {(alarm.at - run.begin) / DAY:.2f}"
            for alarm in run.unexplained()
        ],
        told=[
            (trouble.kind, None if delay is None else round(delay / HOUR, 2))
            for trouble in run.troubles
            if trouble.alarms
            for delay in [run.delay(trouble)]
        ],
    )


def main(arguments: list[str]) -> int:
    """Run what is named; the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenarios", nargs="*")
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--results", type=Path)
    parser.add_argument("--update", type=Path)
    options = parser.parse_args(arguments)
    runs = [] if options.results is None else read_results(options.results)
    names = options.scenarios or scored()
    done = {(run.name, run.seed) for run in runs}
    wanted = [(name, seed) for seed in range(1, options.seeds + 1) for name in names]
    with ThreadPoolExecutor(options.jobs) as pool:
        tasks = [pool.submit(found, *which) for which in wanted if which not in done]
        for task in as_completed(tasks):
            runs.append(task.result())
            print(json.dumps(asdict(runs[-1])), flush=True)
            if options.results is not None:
                with options.results.open("a", encoding="utf-8") as results:
                    results.write(json.dumps(asdict(runs[-1])) + "\n")
    lines = list(table(runs, groups()))
    if options.update is not None:
        write_between_marks(options.update, lines)
    print("\n".join(lines))
    return 0


def groups() -> dict[str, str]:
    """Group of each scenario that comes along."""
    return {
        path.stem: str(tomllib.loads(path.read_text("utf-8")).get("group", ""))
        for path in sorted(shipped("scenarios").glob("*.toml"))
    }


def scored() -> list[str]:
    """Scenarios without a closed loop: those that are scored."""
    return [
        path.stem
        for path in sorted(shipped("scenarios").glob("*.toml"))
        if tomllib.loads(path.read_text("utf-8")).get("scored", True)
    ]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
