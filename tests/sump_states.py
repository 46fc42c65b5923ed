"""States of a sump for tests of dose and advice: invented, of ordinary size."""

from dataclasses import replace

from advisor.geometry import depth_at
from advisor.plan import SumpPlan
from advisor.words import Account, Estimate, Instant, Losses, SumpState
from tests.alarm_watch import START, a_state

LOSSES = Losses(
    window_h=24.0,
    water=Estimate(19.0, 1.0),
    concentrate=Estimate(0.4, 0.1),
    evaporation=None,
    carry_off=None,
)


def sump_holding(
    plan: SumpPlan,
    volume: float | None,
    concentration: float | None,
    at: Instant = START,
    *,
    volume_sd: float = 2.0,
    concentration_sd: float = 0.0008,
    **changes: object,
) -> SumpState:
    """A sump with so much fluid [L] of such a concentration [1]; keywords replace fields."""
    known = None if volume is None else Estimate(volume, volume_sd)
    fields: dict[str, object] = {
        "volume": known,
        "concentration": None
        if concentration is None
        else Estimate(concentration, concentration_sd),
        "rest_depth": None if volume is None else Estimate(depth_at(plan.tank, volume), volume_sd),
        "losses": LOSSES,
        **changes,
    }
    return replace(a_state(at), **fields)


def lost_since(at: Instant, water: float, concentrate: float) -> Account:
    """What was lost since `at` [L], surely."""
    return Account(since=at, water=Estimate(water, 0.1), concentrate=Estimate(concentrate, 0.1))
