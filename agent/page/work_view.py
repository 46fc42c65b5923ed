"""What a page shows of a charge beside the list itself."""

from advisor.errors import AdvisorError
from agent.errors import MillpondError
from agent.page.charging import Work
from agent.page.speech import Speech
from agent.verdict import Verdict, verdict


def judged(work: Work, say: Speech) -> Verdict | None:
    """What the reading says of the charge as it was poured; nothing without a reading."""
    if work.reading is None:
        return None
    try:
        return verdict(work.charged, f"{work.reading} degBrix", work.factor, say.pour)
    except (AdvisorError, MillpondError):
        return None
