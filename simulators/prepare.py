"""A plant ready to go, from what was asked for on the command line."""

from datetime import UTC, datetime

from simulators.errors import SimulatorError
from simulators.scenario.load import Scenario, find, load
from simulators.shop_floor import ShopFloor


def floor_of(name: str, seed: int, days: float | None, *, now: bool = False) -> ShopFloor:
    """Build the plant of a scenario, with another length [d] or the present as its beginning."""
    return ShopFloor(scenario_of(name, days, now=now), seed)


def scenario_of(name: str, days: float | None, *, now: bool = False) -> Scenario:
    """Load a scenario and change what was asked for."""
    scenario = load(find(name))
    changes: dict[str, object] = {}
    if days is not None:
        if not 0.0 < days <= 4000.0:
            raise SimulatorError(f"--days is {days:g}; expected more than 0 and at most 4000")
        changes["days"] = days
    if now:
        # A plant whose agent runs on the wall clock begins when that clock says.
        present = datetime.now(UTC)  # noqa: TID251 - the one place where the present is asked for
        changes["begin"] = present.astimezone(scenario.zone).replace(tzinfo=None, microsecond=0)
    return scenario.model_copy(update=changes)
