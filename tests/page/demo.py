"""The demonstration's plant with a page: broker, agent and simulated shop, each in a process."""

import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from agent.embedded import embedded_broker, free_port
from agent.resources import shipped
from tests.waiting import wait_until

ROOT = Path(__file__).parents[2]
CLOCK = "demo/clock"


SUPPLIES = """
[[supply]]
id = "town"
name = "Town water"
kind = "water"
hardness_mg_l = 180
chloride_mg_l = 25

[[supply]]
id = "drum-k"
name = "Drum by the mills"
kind = "drum"
concentrate = "semi-k"
volume_l = 200

[[supply]]
id = "drum-p"
name = "Drum by the lathe"
kind = "drum"
concentrate = "emulsion-p"
volume_l = 60
"""


def with_supplies(text: str) -> str:
    """The demo's plant file, with drums and a water line as a shop has them."""
    head, mark, sumps = text.partition("[[vessel]]")
    priced = head.replace('id = "semi-k"', 'id = "semi-k"\nprice_per_l = 4.80')
    return f"{priced}{SUPPLIES}\n{mark}{sumps}"


@contextmanager
def running_demo(folder: Path, *, speed: float, page: str = "") -> Iterator[tuple[str, int]]:
    """Run the demo while the context lasts; address of its page, and the agent's process id.

    Parameters
    ----------
    folder : Path
        Takes everything that it writes.
    speed : float
        Simulated seconds a second. [1]
    page : str
        Further keys of the plant file's section on the page.
    """
    with ExitStack() as stack:
        broker = stack.enter_context(embedded_broker(folder))
        port = free_port()
        text = with_supplies(shipped("demo.toml").read_text("utf-8"))
        text = re.sub(r'(?m)^url = ".*"$', f'url = "mqtt://127.0.0.1:{broker}"', text, count=1)
        plant = folder / "demo.toml"
        plant.write_text(f'{text}\n[page]\nlisten = "127.0.0.1:{port}"\n{page}\n', "utf-8")
        agent = stack.enter_context(
            _process(folder / "agent.log", "agent", "run", str(plant), "--clock-topic", CLOCK)
        )
        wait_until(lambda: _listens(port), "the page", 60)
        stack.enter_context(
            _process(
                folder / "shop.log", "simulators", "run", "demo",
                "--broker", f"mqtt://127.0.0.1:{broker}", "--clock-topic", CLOCK,
                "--speed", f"{speed:g}",
            )
        )  # fmt: skip
        yield f"http://127.0.0.1:{port}", agent.pid
        assert agent.poll() is None, (folder / "agent.log").read_text("utf-8")


@contextmanager
def _process(log: Path, *arguments: str) -> Iterator["subprocess.Popen[bytes]"]:
    """Run one of our own modules, ended by its id."""
    with log.open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", *arguments],
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
        try:
            yield process
        finally:
            process.send_signal(signal.SIGINT)
            try:
                process.wait(15.0)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _listens(port: int) -> bool:
    """Whether something answers on a port of this machine."""
    with socket.socket() as probe:
        probe.settimeout(1.0)
        return probe.connect_ex(("127.0.0.1", port)) == 0
