"""The whole change-out, stage by stage: out with the old fluid, clean, charge, check.

All of it is *common practice* unless a source stands beside it; the data sheets of cleaner and
concentrate go before it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from advisor import cautions
from advisor.stages import Stage
from advisor.wording import litres, number

MOST_RESIDUE = 0.02
"""Part of the charge that may be left in a drained sump before it is rinsed again: a starting
point. [1]"""

MIST = "Doors closed, extraction on, nobody in the machine: cleaner is in the mist."
SLIPPERY = "Spilt fluid is slippery: wipe it up at once."
SHARP = "Swarf cuts: gloves that stand it, and a scoop."
ELECTRIC = "Plugs stay dry; heavy pumps are lifted by two, or by a hoist."
CHARGING = cautions.pouring(with_concentrate=True)
RIGHT_WAY = "A pump that runs dry or the wrong way round is damaged at once."


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeOut:
    """Numbers of a change-out. Volumes in [L]."""

    volume: float
    """Of the charge."""
    concentrate: float
    """That it takes."""
    pouring: Sequence[str]
    """How it is poured, one sentence a batch."""
    reading: str
    """What a refractometer is expected to say."""
    circulate: float = cautions.USUAL_MIN
    """For how long the pumps run after it. [min]"""


def change_out(work: ChangeOut, say: Callable[[float], str] = litres) -> tuple[Stage, ...]:
    """Stages of a change-out, in their order; `say` words a volume [L]."""
    return (*_emptying(work, say), *_cleaning(work, say), *_filling(work, say))


def _emptying(work: ChangeOut, say: Callable[[float], str]) -> tuple[Stage, ...]:
    """Stages up to the drained sump. Volumes in [L]."""
    return (
        Stage(
            "ready",
            f"Have ready: {say(work.concentrate)} of concentrate and room for at least "
            f"{say(work.volume)} of waste, twice that with the rinse; the data sheets of cleaner "
            "and concentrate. Report the charge as begun: from then on the sensors are not "
            "listened to.",
            (cautions.DATA_SHEETS,),
        ),
        Stage(
            "skim",
            "Skim the oil that floats.",
            (cautions.LOCK_OUT, cautions.SKIN),
        ),
        Stage(
            "clean",
            "Add the system cleaner that the concentrate's maker names, as much and for as long as "
            "its data sheet says.",
            (
                "Cleaner by its own data sheet alone; never two chemicals together.",
                cautions.SKIN,
            ),
        ),
        Stage(
            "circulate cleaner",
            "Run the pumps with all nozzles and flush guns open in turn, so that it reaches every "
            "line.",
            (MIST,),
        ),
        Stage(
            "drain",
            "Pump it all out, from the sump and from what holds fluid beside it.",
            (cautions.WASTE, SLIPPERY),
        ),
    )


def _cleaning(work: ChangeOut, say: Callable[[float], str]) -> tuple[Stage, ...]:
    """Stages from the drained to the clean sump. Volumes in [L]."""
    return (
        Stage(
            "take out",
            "Take pumps, filters and sensors out; clean them, wipe the prism of the refractometer.",
            (cautions.LOCK_OUT, ELECTRIC),
        ),
        Stage(
            "sludge",
            "Scoop out sludge and swarf, wipe walls, corners and the undersides of covers.",
            (cautions.LOCK_OUT, cautions.CONFINED, SHARP, cautions.SKIN),
        ),
        Stage(
            "rinse",
            "Rinse with water in which a little concentrate is, about 1 %, against rust; run it "
            "through the lines.",
            (cautions.AIR_GAP, SLIPPERY),
        ),
        Stage("drain rinse", "Pump the rinse out.", (cautions.WASTE,)),
        Stage(
            "residue",
            f"Look at what is left. More than {say(MOST_RESIDUE * work.volume)} (2 % of the "
            "charge): rinse and drain again. Its concentrate is not counted.",
        ),
        Stage(
            "put back",
            "Put pumps, filters and sensors back where they were; look at the zero of the level "
            "sensor.",
            (cautions.LOCK_OUT, RIGHT_WAY),
        ),
    )


def _pouring(work: ChangeOut) -> tuple[Stage, ...]:
    """One stage for each kind of batch; the cautions stand at the first."""
    return tuple(
        Stage(f"charge {count}", sentence, CHARGING if count == 1 else ())
        for count, sentence in enumerate(work.pouring, start=1)
    )


def _filling(work: ChangeOut, say: Callable[[float], str]) -> tuple[Stage, ...]:
    """Stages from the clean to the working sump. Volumes in [L]."""
    return (
        *_pouring(work),
        Stage(
            "circulate",
            f"Run the pumps for {number(work.circulate, 0)} minutes. Lines and machine fill: the "
            f"level falls, the volume does not; the {say(work.volume)} are all there is.",
            (RIGHT_WAY,),
        ),
        Stage(
            "check",
            f"Set the refractometer to zero with the water in use, then read: {work.reading}. "
            "Read the pH of the fresh fill too: later ones are held against it.",
            (cautions.SAMPLE,),
        ),
        Stage(
            "report",
            "Report the charge as done, with the litres poured: the balance begins anew.",
            (cautions.BIOCIDE,),
        ),
    )
