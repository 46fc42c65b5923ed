"""The start after a standstill, stage by stage. All of it is *common practice*."""

from advisor import cautions
from advisor.effects import Mix
from advisor.stages import Stage
from advisor.wording import litres, number, percent

PASS_MIN = 10
"""Until what stood in the line of an inline refractometer has passed. [min]"""

STALE_AIR = (
    "A smell of rotten eggs is a gas that harms: ventilate, keep out of pits, "
    "and let somebody who is trained decide."
)


def start_up(
    mix: Mix | None, how: str = "", minutes: float = cautions.USUAL_MIN
) -> tuple[Stage, ...]:
    """Stages from the standing machine to the top-up after it.

    Parameters
    ----------
    mix : Mix or None
        What is expected to be missing then; `None`: nothing. [L]
    how : str
        How it is to be poured.
    minutes : float
        For how long the fluid is circulated. [min]
    """
    poured = cautions.lasting(cautions.TOP_UP, minutes)
    return (
        Stage(
            "look",
            "Look and smell before anything runs: oil afloat, foam, colour, smell; the level.",
            (STALE_AIR,),
        ),
        Stage(
            "skim",
            "Skim the oil that floats before the pumps start: running, they beat it into the "
            "fluid.",
            (cautions.LOCK_OUT, cautions.SKIN),
        ),
        Stage(
            "circulate",
            f"Start the pumps with the doors closed and the extraction on, and let them run for "
            f"{number(minutes, 0)} minutes.",
        ),
        Stage(
            "discard",
            f"Leave out what the refractometer says in the first {PASS_MIN} minutes: that is what "
            "stood in the line.",
        ),
        Stage(
            "check",
            "Look and smell again; check concentration and pH.",
            (cautions.SAMPLE,),
        ),
        Stage("top-up", _top_up(mix, how), () if mix is None else poured),
    )


def _top_up(mix: Mix | None, how: str) -> str:
    """Say what is expected to be poured then. [L]"""
    if mix is None:
        return "Nothing is expected to be missing; go by what was measured."
    said = (
        f"Then top up, by what was measured; expected are {litres(mix.volume)} at "
        f"{percent(mix.strength)}"
    )
    return f"{said}: {how}" if how else f"{said}."
