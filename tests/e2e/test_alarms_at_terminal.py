"""Alarms on the command line: the real agent, a real broker, and a person who acts on them."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from agent.cli import main
from tests.brokers import Mosquitto
from tests.e2e.plant_north import (
    CLOCK,
    PREFIX,
    RunningAgent,
    Subscriber,
    publish,
    reading,
    rfc3339,
    running_agent,
    subscriber,
    write_plant,
)
from tests.waiting import wait_until

pytestmark = pytest.mark.broker


ALARM = f"{PREFIX}/mill-07/alarm/nitrite-high"
ORDER = ("mill-07", "nitrite-high", "--by", "Ann")


class Visit:
    """A running agent with one alarm that stands, and a person at a terminal.

    Parameters
    ----------
    plant, agent, heard
        Plant file, process, and all that it tells.
    capsys
        Takes what the command writes.
    """

    def __init__(
        self,
        plant: Path,
        agent: RunningAgent,
        heard: Subscriber,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        self.agent = agent
        self._plant, self._heard, self._capsys = plant, heard, capsys

    def millpond(self, *words: str) -> tuple[int, str]:
        """Run `millpond alarms`; its exit code, and what it wrote."""
        self._capsys.readouterr()
        code = main(["alarms", str(self._plant), *words])
        return code, "".join(self._capsys.readouterr())

    def told(self) -> dict[str, object]:
        """The alarm as it was told last."""
        return self._heard.newest(ALARM) or {}


@pytest.fixture
def visit(
    mosquitto: Mosquitto, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> Iterator[Visit]:
    """A check has found too much nitrite, by a clock that stands at six."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    with (
        running_agent(plant, "--clock-topic", CLOCK) as agent,
        subscriber(mosquitto.port, f"{PREFIX}/#", tmp_path / "heard") as heard,
    ):
        publish(mosquitto.port, CLOCK, rfc3339(0))
        publish(mosquitto.port, "north/mill-07/level", reading(300.0, 0))
        here = Visit(plant, agent, heard, capsys)
        assert here.millpond() == (0, "no alarms\n")
        publish(mosquitto.port, f"{PREFIX}/mill-07/check", '{"kind": "nitrite", "value": 25}')
        wait_until(lambda: here.told() != {}, "the alarm")
        yield here


def test_what_stands_is_listed_with_its_cause(visit: Visit):
    """Priority, state, since when, where, what, why."""
    code, listed = visit.millpond()

    assert code == 0
    assert "medium  unacknowledged  2026-03-02 06:00  mill-07  nitrite-high" in listed
    assert "nitrite 25 mg/L, to act above 20 mg/L" in listed


def test_an_order_is_carried_out_or_refused_with_the_reason(visit: Visit):
    """Once acknowledged it cannot be acknowledged again."""
    assert visit.millpond("acknowledge", *ORDER) == (0, "mill-07: nitrite-high: acknowledge done\n")
    assert (visit.told()["state"], visit.told()["by"]) == ("acknowledged", "Ann")
    assert visit.millpond("acknowledge", *ORDER) == (
        1,
        "mill-07: refused: nitrite-high has nothing to acknowledge: it is acknowledged\n",
    )


def test_shelving_ends_when_somebody_says_and_within_a_day(visit: Visit):
    """An end beyond the longest is refused; what is shelved is listed with its end."""
    code, said = visit.millpond("shelve", *ORDER, "--until", "2026-03-09T09:00:00Z")
    assert (code, "24 h at most" in said) == (1, True)

    assert visit.millpond("shelve", *ORDER, "--until", "2026-03-02T09:00:00Z")[0] == 0
    _, listed = visit.millpond("--json")
    (body,) = json.loads(listed)["alarms"]
    assert (body["state"], body["until"]) == ("shelved", "2026-03-02T09:00:00Z")


def test_the_journal_has_it_all_and_the_figures_count_it(visit: Visit):
    """While the agent runs, from its store: what was, what is, and who did it."""
    visit.millpond("acknowledge", *ORDER)
    visit.millpond("shelve", *ORDER)
    _, lines = visit.millpond("--history", "--json")
    _, figures = visit.millpond("--figures", "--json")

    assert [(line["was"], line["state"], line["by"]) for line in json.loads(lines)] == [
        ("normal", "unacknowledged", None),
        ("unacknowledged", "acknowledged", "Ann"),
        ("acknowledged", "shelved", "Ann"),
    ]
    assert json.loads(figures)["annunciated"] == 1


def test_an_agent_that_is_gone_takes_no_orders_but_its_alarms_are_listed(visit: Visit):
    """As it left them, and said so; an order is not even sent."""
    assert visit.agent.stop() == 0
    code, listed = visit.millpond()
    assert (code, "the agent is offline" in listed, "nitrite-high" in listed) == (0, True, True)

    code, said = visit.millpond("acknowledge", *ORDER)
    assert (code, "offline" in said, "nothing was sent" in said) == (1, True, True)


def test_where_no_agent_has_ever_spoken_that_is_said(
    mosquitto: Mosquitto, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """A wrong prefix or a plant that never ran: no list that looks as if all were well."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)

    assert main(["alarms", str(plant)]) == 1
    assert f"nothing is told on {PREFIX}/agent" in capsys.readouterr().err
