"""What is said beside every list of steps, fitting the step.

All of it is common practice of the trade unless a source stands beside it. Safety data sheets,
local codes and licensed people decide; nothing here replaces them.
"""

WATER_FIRST = (
    "Water first, then the concentrate into the water, never the other way round; "
    "mix well before pouring."
)
NEVER_NEAT = "Never pour concentrate straight into the sump."
USUAL_MIN = 30.0
"""For how long fluid is circulated where its data sheet does not say. [min]"""


def circulating(minutes: float) -> str:
    """Say what follows the pouring. [min]"""
    return (
        f"Then run the pumps for {minutes:.0f} minutes and check the concentration; "
        "the first reading is not the final one."
    )


CIRCULATE = circulating(USUAL_MIN)
BRIM = "Not over the brim with the pumps stopped: what is up in the machine drains back."
SKIN = "Wear gloves and eye protection; the concentrate's safety data sheet applies."
AIR_GAP = (
    "Leave no hose in the sump: keep the outlet above the rim by at least twice its bore, "
    "and by 25 mm at least."
)
"""International Residential Code, section P2902.3.1 and table P2902.3.1 (from memory)."""

LOCK_OUT = "Stop the machine and lock it out before opening covers or drains."
WASTE = (
    "What is drained is waste: collect it, keep it apart from solvents, and dispose of it "
    "by local rules."
)
CONFINED = "Pits and central tanks are confined spaces: entry only by those trained and permitted."
BIOCIDE = "Biocide only by its own data sheet, and dosed on the total volume."
DATA_SHEETS = (
    "Data sheets, local codes and licensed people decide; this is a computation, not a permit."
)

TOP_UP = (WATER_FIRST, NEVER_NEAT, BRIM, CIRCULATE, AIR_GAP, SKIN, DATA_SHEETS)
EXCHANGE = (LOCK_OUT, WASTE, *TOP_UP)
CHARGE = (
    LOCK_OUT,
    CONFINED,
    WATER_FIRST,
    NEVER_NEAT,
    BRIM,
    CIRCULATE,
    AIR_GAP,
    BIOCIDE,
    SKIN,
    DATA_SHEETS,
)
SAMPLE = (
    "Take the sample where fluid flows, under any floating oil; "
    "set the refractometer to zero with the water in use."
)
CHECK = (SAMPLE, SKIN)


def pouring(*, with_concentrate: bool) -> tuple[str, ...]:
    """Give the cautions that fit the pouring of a mix, or of water alone."""
    mixing = (WATER_FIRST, NEVER_NEAT) if with_concentrate else ()
    return (*mixing, BRIM, AIR_GAP, SKIN)


def lasting(known: tuple[str, ...], minutes: float) -> tuple[str, ...]:
    """Give cautions in which the pumps run for so long after pouring. [min]"""
    return tuple([circulating(minutes) if c == CIRCULATE else c for c in known])
