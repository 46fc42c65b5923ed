"""Many runs, several at a time, with a line on the error stream for each."""

import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor

from simulators.errors import SimulatorError
from simulators.score.run import SumpRun, Task, play


def run_all(tasks: Sequence[Task], jobs: int) -> tuple[list[SumpRun], list[str]]:
    """Carry out all tasks: their results in the tasks' order, and what went wrong."""
    runs: list[SumpRun] = []
    failures: list[str] = []
    for number, (task, outcome) in enumerate(zip(tasks, _outcomes(tasks, jobs), strict=True), 1):
        said = "failed" if isinstance(outcome, str) else "done"
        sys.stderr.write(f"{number}/{len(tasks)} {task.scenario} seed {task.seed} {said}\n")
        if isinstance(outcome, str):
            failures.append(f"{task.scenario}, seed {task.seed}: {outcome}")
        else:
            runs += outcome
    return runs, failures


def _outcomes(tasks: Sequence[Task], jobs: int) -> Iterator[list[SumpRun] | str]:
    """Results, or why there is none, in the tasks' order."""
    if jobs == 1:
        yield from map(attempt, tasks)
        return
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        yield from pool.map(attempt, tasks)


def attempt(task: Task) -> list[SumpRun] | str:
    """Carry out one task, or say why that failed."""
    try:
        return play(task)
    except SimulatorError as error:
        return str(error)
