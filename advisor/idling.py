"""What a sump loses with its pumps stopped, as the balance has learned it."""

from advisor import states as s
from advisor.belief import Belief
from advisor.plan import SumpPlan
from advisor.standstill import Idle
from advisor.words import DAY, Estimate, Instant
from advisor.working import Working

LEARNED_AFTER: Instant = 3 * DAY
"""Before the account is so old, what a standing sump loses is an expectation. [ms]"""


def idle_losses(belief: Belief, plan: SumpPlan) -> Idle | None:
    """Losses at rest, water and concentrate. [L/d]

    `None` where nothing has taught them yet: without a signal of the pumps, or in the first days.
    """
    core = belief.core
    known = core.volume_known and core.concentration_known
    if not known or core.pumps.running < 0 or core.at - core.since < LEARNED_AFTER:
        return None
    work = Working(core, plan)
    water, _, concentrate, _ = core.told.rates
    return Idle(
        Estimate(water, float(work.cov[s.WATER_REST, s.WATER_REST]) ** 0.5),
        Estimate(concentrate, float(work.cov[s.CONCENTRATE_REST, s.CONCENTRATE_REST]) ** 0.5),
    )
