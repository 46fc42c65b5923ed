"""Closes the loop: the plant plays to an agent's replay through a pipe, and does what it says."""

import json
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, TextIO

from simulators.errors import SimulatorError
from simulators.instants import SECOND, instant, rfc3339
from simulators.plant_file import plant_toml
from simulators.record import line_of, write_truth
from simulators.shop_floor import ShopFloor

_ANSWER_S = 120.0


@dataclass(slots=True)
class Keeping:
    """How well one sump was kept, looked at each tick."""

    target: float
    """[1]"""
    band: tuple[float, float]
    """[1]"""
    ticks: int = 0
    in_band: int = 0
    near: int = 0
    """Ticks with the concentration within 0.5 % of the mix of the target."""
    strengths: float = 0.0
    heard: dict[str, int] = field(default_factory=dict)
    """Messages from the agent, by the last part of their topic."""

    def look(self, concentration: float) -> None:
        """Count one tick."""
        self.ticks += 1
        self.strengths += concentration
        self.in_band += self.band[0] <= concentration <= self.band[1]
        self.near += abs(concentration - self.target) <= 0.005


class Pipe:
    """An agent's replay as a child process: a tick's messages in, its answers out."""

    def __init__(self, command: Sequence[str]) -> None:
        try:
            self._child = subprocess.Popen(  # noqa: S603 - the command is the user's own
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8"
            )
        except OSError as error:
            raise SimulatorError(f"{command[0]} cannot be started: {error.strerror}") from error
        self._answers: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, args=(self._child.stdout,), daemon=True)
        self._reader.start()

    def _read(self, stdout: IO[str] | None) -> None:
        """Drain its output, so that neither side waits for the other with a full pipe."""
        for line in stdout or ():
            self._answers.put(line)
        self._answers.put("")

    def exchange(self, lines: Sequence[str], tick: int) -> Iterator[dict[str, object]]:
        """Send a tick's lines and the tick: what is published up to the tick's echo."""
        stdin = self._child.stdin
        if stdin is None:
            raise SimulatorError("the agent has no input")
        try:
            stdin.writelines(line + "\n" for line in lines)
            stdin.write(json.dumps({"at": rfc3339(tick)}) + "\n")
            stdin.flush()
        except BrokenPipeError as error:
            raise SimulatorError(f"the agent ended with code {self._child.wait(10)}") from error
        while True:
            answer = self._answer()
            if "topic" in answer:
                yield answer
            elif instant(str(answer["at"])) >= tick:
                return

    def _answer(self) -> dict[str, object]:
        """Next line of its output."""
        try:
            line = self._answers.get(timeout=_ANSWER_S)
        except queue.Empty as error:
            raise SimulatorError(f"the agent said nothing for {_ANSWER_S:g} s") from error
        if not line:
            raise SimulatorError(f"the agent ended with code {self._child.wait(10)}")
        body: dict[str, object] = json.loads(line)
        return body

    def close(self) -> int:
        """End of input: its exit code."""
        if self._child.stdin is not None:
            self._child.stdin.close()
        try:
            code = self._child.wait(_ANSWER_S)
        except subprocess.TimeoutExpired:
            self._child.kill()
            code = self._child.wait()
        self._reader.join()
        if self._child.stdout is not None:
            self._child.stdout.close()
        return code


@dataclass(frozen=True, slots=True)
class Files:
    """Where to keep what passes through the loop; absent: nowhere."""

    recording: TextIO | None = None
    published: TextIO | None = None
    truth: TextIO | None = None


def close_loop(floor: ShopFloor, agent: Sequence[str], files: Files) -> dict[str, Keeping]:
    """Play the scenario to an agent and let people and stations hear it: how each sump was kept.

    Parameters
    ----------
    floor
        The plant.
    agent
        Command of the agent; ``replay PLANT - --out -`` is put after it.
    files
        What to keep.

    Raises
    ------
    SimulatorError
        If the agent cannot be started, ends early or does not answer.
    """
    keeping = {name: keeping_of(floor, name) for name in floor.tools}
    with tempfile.TemporaryDirectory(prefix="millpond-sim-") as folder:
        plant = Path(folder) / "plant.toml"
        plant.write_text(plant_toml(floor.scenario), encoding="utf-8")
        pipe = Pipe([*agent, "replay", str(plant), "-", "--out", "-"])
        try:
            while floor.now < floor.end:
                _one_tick(floor, pipe, files, keeping)
        finally:
            code = pipe.close()
    if code != 0:
        raise SimulatorError(f"the agent ended with code {code}")
    return keeping


def _one_tick(floor: ShopFloor, pipe: Pipe, files: Files, keeping: dict[str, Keeping]) -> None:
    """Step to the next tick, tell it, and hear the answer."""
    tick = floor.scenario.tick_s * SECOND
    lines = [line_of(message) for message in floor.step()]
    while floor.now % tick:
        lines += [line_of(message) for message in floor.step()]
    for answer in pipe.exchange(lines, floor.now):
        topic, payload = str(answer["topic"]), str(answer.get("payload", ""))
        floor.hear(topic, payload.encode())
        head, _, what = topic.rpartition("/")
        kept = keeping.get(head.rpartition("/")[2])
        if kept is not None:
            kept.heard[what] = kept.heard.get(what, 0) + 1
        if files.published is not None:
            files.published.write(json.dumps(answer, ensure_ascii=False) + "\n")
    if files.recording is not None:
        files.recording.writelines(line + "\n" for line in lines)
        files.recording.write(json.dumps({"at": rfc3339(floor.now)}) + "\n")
    for name, tool in floor.tools.items():
        keeping[name].look(tool.sump.concentrate / max(tool.sump.volume, 1e-9))
    if files.truth is not None:
        write_truth(floor, files.truth)
    else:
        floor.take_truth()


def keeping_of(floor: ShopFloor, name: str) -> Keeping:
    """An empty count for one sump."""
    fluid = floor.scenario.fluid(floor.tools[name].spec.concentrate)
    band = (fluid.band_pct[0] / 100.0, fluid.band_pct[1] / 100.0)
    return Keeping(fluid.target_pct / 100.0, band)


def summary(
    floor: ShopFloor, keeping: dict[str, Keeping], by: str = "agent"
) -> list[dict[str, object]]:
    """How each sump was kept, and by whom, ready to print."""
    rows: list[dict[str, object]] = []
    for name, kept in keeping.items():
        book, ticks = floor.tools[name].sump.book, max(kept.ticks, 1)
        rows.append(
            {
                "sump": name,
                "by": by,
                "in_band_pct": round(100.0 * kept.in_band / ticks, 2),
                "within_half_pct": round(100.0 * kept.near / ticks, 2),
                "mean_pct": round(100.0 * kept.strengths / ticks, 3),
                "spilled_l": round(book.spilled_water + book.spilled_concentrate, 3),
                "concentrate_l": round(book.concentrate_added, 2),
                "water_l": round(book.water_added, 1),
                "heard": kept.heard,
            }
        )
    return rows


def default_agent() -> list[str]:
    """The agent's command, beside this interpreter or on the path."""
    beside = Path(sys.executable).parent / "millpond"
    found = str(beside) if beside.exists() else shutil.which("millpond")
    if found is None:
        raise SimulatorError("no command millpond beside this interpreter or on the path")
    return [found]


def compared(rows: Sequence[dict[str, object]]) -> list[dict[str, object]]:
    """All sumps together, one row for each who kept them; the concentrate beside the perfect use.

    Parameters
    ----------
    rows
        Of `summary`, of everybody who kept the same plant.
    """
    kept: dict[str, list[dict[str, object]]] = {}
    for row in rows:
        kept.setdefault(str(row["by"]), []).append(row)
    used = {by: _sum(mine, "concentrate_l") for by, mine in kept.items()}
    perfect = used.get("perfect knowledge")
    return [
        {
            "sump": f"all {len(mine)}",
            "by": by,
            "in_band_pct": round(_sum(mine, "in_band_pct") / len(mine), 2),
            "within_half_pct": round(_sum(mine, "within_half_pct") / len(mine), 2),
            "mean_pct": round(_sum(mine, "mean_pct") / len(mine), 3),
            "spilled_l": round(_sum(mine, "spilled_l"), 3),
            "concentrate_l": round(used[by], 1),
            "water_l": round(_sum(mine, "water_l"), 0),
            "concentrate_over_perfect_pct": (
                round(100.0 * (used[by] / perfect - 1.0), 2) if perfect else None
            ),
        }
        for by, mine in kept.items()
    ]


def _sum(rows: Sequence[dict[str, object]], key: str) -> float:
    """Total of one column."""
    return sum(float(str(row[key])) for row in rows)
