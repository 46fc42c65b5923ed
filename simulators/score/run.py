"""One run: a scenario played, the agent's replay of it, and everything set against the truth."""

import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from simulators.errors import SimulatorError
from simulators.plant_file import plant_toml
from simulators.prepare import scenario_of
from simulators.record import record
from simulators.score.dosing import Poured, pour_all
from simulators.score.flags import Flags, judge_flags, sump_days
from simulators.score.matching import Matched, match
from simulators.score.naive import hourly, weekly
from simulators.score.published import Published, read_published
from simulators.score.samples import Sample, gather
from simulators.score.told import Witness
from simulators.score.witness import WatchedFloor
from simulators.score.yardstick import Yardstick, marks_of


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be run."""

    scenario: str
    seed: int
    days: float | None
    agent: tuple[str, ...]
    holdup_told: bool = True
    """The yardstick is told the holdup; otherwise it has the plant file's, off by its spread."""


@dataclass(slots=True)
class SumpRun:
    """What one sump of one run came to."""

    scenario: str
    group: str
    seed: int
    sump: str
    days: float
    samples: dict[str, Sample]
    events: Matched
    flags: Flags
    advice: list[Poured]


def default_agent() -> tuple[str, ...]:
    """The agent of this environment, run by this interpreter."""
    return (sys.executable, "-m", "agent")


def play(task: Task) -> list[SumpRun]:
    """Run one scenario with one seed: a result for each of its sumps.

    Raises
    ------
    SimulatorError
        If the scenario cannot be read or the agent ends with an error.
    """
    floor = WatchedFloor(scenario_of(task.scenario, task.days), task.seed)
    scenario = floor.scenario
    with tempfile.TemporaryDirectory(prefix="millpond-score-") as folder:
        plant, recording = Path(folder) / "plant.toml", Path(folder) / "recording.jsonl"
        out = Path(folder) / "published.jsonl"
        plant.write_text(plant_toml(scenario), encoding="utf-8")
        with recording.open("w", encoding="utf-8") as lines:
            record(floor, lines, None)
        _replay([*task.agent, "replay", str(plant), str(recording), "--out", str(out)])
        with out.open(encoding="utf-8") as published:
            said = read_published(published, scenario.prefix)
    witnesses = floor.witnesses()
    return [
        _score(task, scenario.name, witness, said.get(name, Published()))
        for name, witness in witnesses.items()
    ]


def _replay(command: Sequence[str]) -> None:
    """Run the agent's replay to its end."""
    try:
        done = subprocess.run(  # noqa: S603 - the command is the user's own
            command, capture_output=True, text=True, encoding="utf-8", check=False
        )
    except OSError as error:
        raise SimulatorError(f"{command[0]} cannot be started: {error.strerror}") from error
    if done.returncode != 0:
        last = done.stderr.strip().splitlines()[-1:] or ["it said nothing"]
        raise SimulatorError(f"the agent's replay ended with code {done.returncode}: {last[0]}")


def _score(task: Task, scenario: str, witness: Witness, said: Published) -> SumpRun:
    """Set one sump's messages against the truth, the yardstick and the naive ways."""
    marks = list(marks_of(witness.begin, witness.end))
    account = Yardstick(witness, holdup_told=task.holdup_told).run(marks)
    naive = {"hourly": hourly(witness, marks), "weekly": weekly(witness, marks)}
    return SumpRun(
        scenario=scenario,
        group=witness.scenario.group,
        seed=task.seed,
        sump=witness.sump,
        days=sump_days(witness),
        samples=gather(witness, said.states, account, naive),
        events=match(witness, said.events),
        flags=judge_flags(witness, said, account.effects),
        advice=pour_all(witness, said.advice),
    )
