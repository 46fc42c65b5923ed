"""How targets of notification do, on the command line."""

import json
from contextlib import closing
from pathlib import Path

import pytest

from agent.cli import main
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from tests.agent.alarms.test_courier import a_notice
from tests.e2e.plant_north import write_plant
from tests.receivers import a_hook_server

TARGETS = '[[notify]]\nid = "maintenance"\n[[notify]]\nid = "chat"\n'
CHAT = "MILLPOND_NOTIFY_CHAT"


@pytest.fixture
def plant(tmp_path: Path) -> str:
    """A plant with two targets; one of them fails."""
    path = write_plant(tmp_path, 1)
    path.write_text(path.read_text("utf-8") + TARGETS, "utf-8")
    with closing(Ledger.open(tmp_path / "north.db")) as ledger:
        ledger.commit(Batch(notices=[a_notice(1), a_notice(2)]))
        ledger.notices.failed("maintenance", 1_772_431_200_000, "nobody answers")
    return str(path)


def test_every_target_is_listed_with_what_waits_and_what_is_wrong(plant, capsys):
    """The one that fails with since when and why; the one that was never told anything too."""
    assert main(["alarms", plant, "--targets"]) == 0
    failing, quiet = capsys.readouterr().out.splitlines()
    assert failing.startswith("maintenance  0 sent  2 waiting  failing since 2026-03-02 06:00")
    assert failing.endswith("1 attempts: nobody answers")
    assert quiet == "chat         0 sent  0 waiting"
    assert main(["alarms", plant, "--targets", "--json"]) == 0
    first, second = json.loads(capsys.readouterr().out)
    assert (first["failing_since"], first["waiting"]) == ("2026-03-02T06:00:00Z", 2)
    assert second["failing_since"] is None


def test_a_target_can_be_tried(plant, capsys, monkeypatch):
    """A real message to a real receiver; where it does not take it, the exit code says so."""
    with a_hook_server() as (hooks, port):
        monkeypatch.setenv(CHAT, f"json://127.0.0.1:{port}/")
        assert main(["alarms", plant, "--try", "chat"]) == 0
        assert hooks.bodies[0]["message"] == "millpond can reach you. Nothing is wrong."
        hooks.refuses = True
        assert main(["alarms", plant, "--try", "chat"]) == 1

    assert "503" in capsys.readouterr().err


def test_a_target_that_is_none_is_said(plant, capsys):
    """By its name, and without an address by its variable."""
    assert main(["alarms", plant, "--try", "boss"]) == 1
    assert "no target 'boss'; there is maintenance, chat" in capsys.readouterr().err
    assert main(["alarms", plant, "--try", "chat"]) == 2
    assert f"{CHAT}: is not set" in capsys.readouterr().err
