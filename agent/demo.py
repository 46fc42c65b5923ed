"""The demonstration: an embedded broker, the agent, a simulated plant, and a live table.

Each is a process of its own, as in a plant; they meet on the broker. Everything they write goes
into one temporary folder that is gone afterwards.
"""

import re
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from agent.embedded import embedded_broker
from agent.errors import MillpondError
from agent.listening import listening
from agent.plant.load import load_plant
from agent.plant.plant import Plant
from agent.resources import shipped
from agent.watch import watch

CLOCK_TOPIC = "demo/clock"
START_WITHIN_S = 30.0
STOP_WITHIN_S = 10.0
LOOK_EVERY_S = 0.1


class DemoError(MillpondError):
    """One of the demonstration's processes ended by itself."""

    exit_code = 1


def demonstrate(*, speed: float, seconds: float | None) -> None:
    """Run the demonstration until it is interrupted, or for so many seconds.

    Parameters
    ----------
    speed : float
        Simulated seconds a second. [1]
    seconds : float, optional
        How long; `None`: until Ctrl-C. [s]

    Raises
    ------
    DemoError
        If the agent or the simulated plant ends by itself; its last words are in the message.
    """
    # Whoever starts this in the background may have had interrupts ignored; both end it all.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.default_int_handler)
    with suppress(KeyboardInterrupt), ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="millpond-demo-")))
        port = stack.enter_context(embedded_broker(folder))
        plant_file = _plant_file(folder, port)
        plant = load_plant(plant_file)
        agent = stack.enter_context(
            _process(
                folder / "agent.log", "agent", "run", str(plant_file), "--clock-topic", CLOCK_TOPIC
            )
        )
        _await_online(plant, agent, folder / "agent.log")
        simulator = stack.enter_context(
            _process(
                folder / "plant.log",
                "simulators",
                "run",
                str(shipped("scenarios/demo.toml")),
                "--broker",
                f"mqtt://127.0.0.1:{port}",
                "--clock-topic",
                CLOCK_TOPIC,
                "--speed",
                f"{speed:g}",
            )
        )
        processes = {
            "the agent": (agent, folder / "agent.log"),
            "the plant": (simulator, folder / "plant.log"),
        }
        watch(plant, check=lambda: _check(processes), seconds=seconds)


def _await_online(plant: Plant, agent: "subprocess.Popen[bytes]", log: Path) -> None:
    """Wait until the agent listens: what is published before that, it does not get."""
    online = threading.Event()
    with listening(plant, f"{plant.prefix}/agent", lambda *_: online.set()):
        for _ in range(round(START_WITHIN_S / LOOK_EVERY_S)):
            if online.wait(LOOK_EVERY_S):
                return
            _check({"the agent": (agent, log)})
    raise DemoError(f"the agent did not get ready within {START_WITHIN_S:g} s")


def _plant_file(folder: Path, port: int) -> Path:
    """Write the demo's plant file with this run's broker into the folder."""
    text = shipped("demo.toml").read_text("utf-8")
    text, count = re.subn(r'(?m)^url = ".*"$', f'url = "mqtt://127.0.0.1:{port}"', text, count=1)
    if count != 1:
        raise DemoError("demo.toml: expected a line that begins with url = under [broker]")
    path = folder / "demo.toml"
    path.write_text(text, "utf-8")
    return path


@contextmanager
def _process(log: Path, module: str, *arguments: str) -> Iterator["subprocess.Popen[bytes]"]:
    """Run one of our own commands; interrupted at the end, and killed if that takes too long."""
    with log.open("wb") as output:
        process = subprocess.Popen(  # noqa: S603  our own module, with arguments of our own
            [sys.executable, "-m", module, *arguments],
            stdout=output,
            stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL,
            start_new_session=True,
        )
        try:
            yield process
        finally:
            if sys.platform == "win32":
                process.terminate()
            else:
                process.send_signal(signal.SIGINT)
            try:
                process.wait(STOP_WITHIN_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _check(processes: "dict[str, tuple[subprocess.Popen[bytes], Path]]") -> None:
    """See that all of them are still there."""
    for name, (process, log) in processes.items():
        code = process.poll()
        if code is not None:
            last = log.read_text("utf-8", "replace").strip().splitlines()[-5:]
            raise DemoError("\n".join([f"{name} ended with exit code {code}:", *last]))
