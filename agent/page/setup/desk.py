"""All that set-up works with: the file, the ear at the broker, how the agent is told to read."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from agent.page.setup.ear import Ear
from agent.page.setup.editing import EditError
from agent.page.setup.writing import PlantEditor
from agent.plant.plant import Plant
from agent.reloading import AT_START_ONLY


@dataclass(slots=True)
class SetupDesk:
    """One plant's set-up.

    Parameters
    ----------
    path : Path
        The plant file.
    plant : Plant
        What the agent works with.
    ask : callable
        Has the agent read the file again.
    """

    path: Path
    plant: Plant
    ask: Callable[[], None] = lambda: None
    editor: PlantEditor = field(init=False)
    ear: Ear = field(init=False)

    def __post_init__(self) -> None:
        self.editor = PlantEditor(self.path)
        self.ear = Ear(self.plant)

    def data(self) -> Mapping[str, Any]:
        """What stands in the file, as plain data.

        Raises
        ------
        MillpondError
            If it cannot be read, or is no TOML.
        """
        try:
            return tomllib.loads(self.editor.text())
        except ValueError as error:
            raise EditError(f"{self.path.name}: {error}") from error

    def entry(self, table: str, name: str) -> Mapping[str, Any] | None:
        """One sump or concentrate as it stands in the file."""
        rows = self.data().get(table, [])
        found = [row for row in rows if isinstance(row, dict) and row.get("id") == name]
        return found[0] if found else None

    def is_taken_up(self) -> bool:
        """Whether the agent works by the file as it stands now."""
        draft = self.editor.draft()
        if draft.plant is None:
            return False
        kept = {name: getattr(self.plant, name) for name in AT_START_ONLY}
        return replace(draft.plant, **kept) == self.plant
