"""What an alarm says: cause, consequence, and the action to take, with its cautions.

The action names who acts: the operator at the machine, maintenance, or the fluid keeper, whoever
looks after fluids in the shop. Cautions are the usual ones of public guidance; safety data sheets,
local codes and licensed people decide.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from advisor.cautions import AIR_GAP, BIOCIDE, LOCK_OUT, NEVER_NEAT, SKIN, WASTE, WATER_FIRST
from advisor.words import Signal

SLIPPERY = "A wet floor is slippery: cordon it off, take it up with absorbent."


class Text(NamedTuple):
    """What an alarm says, to be filled in with `Facts`."""

    cause: str
    consequence: str
    action: str
    cautions: tuple[str, ...] = ()
    """Said after the action."""


class Facts(NamedTuple):
    """What the sentences are filled with."""

    subject: str
    """Name of the sump, supply or plant."""
    signal: Signal | None
    value: float | None
    limit: float | None
    unit: str
    detail: str


TEXTS: Mapping[str, Text] = MappingProxyType(
    {
        "level-low": Text(
            "{subject}: the fluid stands at {value} ({detail}), the low limit is {limit}; pumps "
            "stopped, everything drained back.",
            "The pumps may draw air: foam, wear, and tools that run dry; what is left of the "
            "fluid heats up and concentrates faster.",
            "Operator: top up with the mix that the advice names. If it fell faster than usual, "
            "look for a leak first.",
            (WATER_FIRST, NEVER_NEAT, SLIPPERY, SKIN),
        ),
        "level-high": Text(
            "{subject}: the fluid stands at {value} ({detail}), the high limit is {limit}; "
            "pumps stopped, everything drained back.",
            "A little more and the sump runs over: a slippery floor, and fluid that must not "
            "reach a drain.",
            "Operator: add nothing, close fill valves and take hoses out of the sump; if it "
            "still rises, call maintenance. Take the surplus out into a clean container, never "
            "into a drain.",
            (SLIPPERY, SKIN),
        ),
        "concentration-low": Text(
            "{subject}: the concentration is {value} ({detail}), the band begins at {limit}.",
            "Parts and machine may rust, bacteria find less to stop them, tools wear faster.",
            "Operator: check with the handheld refractometer, then top up with the mix that the "
            "advice names.",
            (WATER_FIRST, NEVER_NEAT, SKIN),
        ),
        "concentration-high": Text(
            "{subject}: the concentration is {value} ({detail}), the band ends at {limit}.",
            "A strong mix irritates skin, foams, leaves residues, and wastes concentrate.",
            "Operator: check with the handheld refractometer, then top up with the weaker mix "
            "that the advice names. Tramp oil lifts the reading: where the surface is oily, let "
            "a sample settle or have it titrated.",
            (SKIN,),
        ),
        "water-loss-high": Text(
            "{subject}: {detail}",
            "Salts and concentration rise, and the sump needs water oftener than usual.",
            "Maintenance: look at the fluid's temperature, its cooler, and the mist extraction; "
            "operator: top up as the advice says.",
        ),
        "mix-loss-high": Text(
            "{subject}: {detail}",
            "Fluid leaves the sump as mix, by a leak or with parts and chips: a slippery floor, "
            "fluid in the ground or in a drain, concentrate lost.",
            "Maintenance: look for the leak at hoses, seals, way covers, chip conveyor and "
            "under the machine. Keep it out of drains.",
            (SLIPPERY, LOCK_OUT, SKIN),
        ),
        "concentrate-loss-high": Text(
            "{subject}: {detail}",
            "The mix grows weaker than water loss and carry-off explain: rust and bacteria follow.",
            "Fluid keeper: have a sample titrated, look at what skimmer and filter take out, "
            "look for scum from hard water and for smell.",
            (BIOCIDE, SKIN),
        ),
        "water-gain": Text(
            "{subject}: {detail}",
            "The mix is diluted and the sump may run over.",
            "Maintenance: find the water: a fill valve that passes, a cooling coil, a hose left "
            "in the sump, which is a cross-connection with the drinking water. Backflow "
            "protection is for licensed people to judge.",
            (AIR_GAP,),
        ),
        "sensor-drift": Text(
            "{subject}, {signal}: {detail}",
            "What rests on this signal goes wrong slowly; its estimate is told with a larger sd.",
            "Maintenance: clean the sensor, compare it with a check by hand, and enter both; "
            "recalibrate it if they still differ.",
            (LOCK_OUT, SKIN),
        ),
        "sensor-fault": Text(
            "{subject}, {signal}: {detail}",
            "The readings are not used; what rests on them alone is not judged.",
            "Maintenance: look at the sensor, its cable and its place in the fluid; operator: "
            "check by hand meanwhile and enter it.",
            (LOCK_OUT, SKIN),
        ),
        "signal-stale": Text(
            "{subject}, {signal}: nothing heard for {value}, it is missed after {limit}.",
            "{unjudged}",
            "Maintenance: look at the sensor, its power, its gateway and the network; operator: "
            "check by hand meanwhile and enter it.",
        ),
        "advice-open": Text(
            "{subject}: {detail}",
            "The sump moves on from where the advice meant to bring it.",
            "Operator: carry out the advice, or say why not.",
            (WATER_FIRST, NEVER_NEAT, SKIN),
        ),
        "delivery-differs": Text(
            "{subject}: {detail}",
            "The sump may be too full, or too strong or too weak; automatic dosing pauses.",
            "Maintenance: stop the station at its own switch, look at the sump and at both "
            "meters, check the concentration by hand; reset this alarm when the reason is "
            "found.",
            (SKIN,),
        ),
        "wrong-concentrate": Text(
            "{subject}: {detail}",
            "Two concentrates in one sump may separate, foam, lose their protection or irritate "
            "skin.",
            "Fluid keeper: stop adding, ask both suppliers whether the two go together, keep "
            "the drum apart; reset this alarm when that is settled.",
            (SKIN,),
        ),
        "ph-out-of-band": Text(
            "{subject}: {detail}",
            "A falling pH tells of bacteria and precedes rust; a high one irritates skin.",
            "Fluid keeper: check with fresh strips or a clean meter; after a fall of more than "
            "0.5 from the first fill act as the supplier says, of more than 1.0 change the "
            "fluid and clean the circuit.",
            (SKIN,),
        ),
        "conductivity-out-of-band": Text(
            "{subject}: {detail}",
            "Salts have built up, or the mix has been diluted: rust, residues, split fluid.",
            "Fluid keeper: check hardness and chloride, and what water is poured in.",
        ),
        "hardness-high": Text(
            "{subject}: {detail}",
            "Soaps form scum, the emulsion may split, filters clog.",
            "Fluid keeper: top up with softened or demineralised water; exchange part of the "
            "fluid where the advice says so.",
            (WASTE,),
        ),
        "chloride-high": Text(
            "{subject}: {detail}",
            "Chloride makes parts and machine rust at any pH.",
            "Fluid keeper: top up with water low in chloride; exchange part of the fluid where "
            "the advice says so.",
            (WASTE,),
        ),
        "stagnant": Text(
            "{subject}: {detail}",
            "Still fluid goes sour under its oil: bacteria, smell, rust.",
            "Operator: run the pumps for a while, or skim and aerate; where it smells, tell the "
            "fluid keeper before anybody works with it.",
            (SKIN,),
        ),
        "check-overdue": Text(
            "{subject}: {detail}",
            "What no sensor sees goes unseen: the estimates rest on older checks.",
            "Fluid keeper: take the check and enter it.",
            (SKIN,),
        ),
        "nitrite-high": Text(
            "{subject}: {detail}",
            "Nitrite and secondary amines can make nitrosamines, which may cause cancer.",
            "Fluid keeper: change the fluid or part of it, or inhibit it as its supplier says; "
            "where neither is done at once, have the nitrosamine NDELA measured; then check again.",
            (SKIN, WASTE),
        ),
        "bacteria-high": Text(
            "{subject}: {detail}",
            "Many bacteria can harm the lungs of those who breathe the mist, and break the fluid.",
            "Fluid keeper: from 10 000 CFU/mL look into it and put the fluid right, from "
            "1 000 000 act at once; keep people out of the mist; then check again.",
            (BIOCIDE, SKIN),
        ),
        "tramp-oil-high": Text(
            "{subject}: {detail}",
            "Oil afloat shuts out air, feeds bacteria, and lifts the refractometer's reading.",
            "Operator: skim it off and enter that; maintenance: look where the oil comes from.",
            (WASTE, SKIN),
        ),
        "feed-lost": Text(
            "{subject}: {detail}",
            "No sump is watched: nothing that happens to them now is seen or alarmed.",
            "Maintenance: look at the broker, the gateways and the network; operators: look at "
            "the sumps meanwhile.",
        ),
        "historian-behind": Text(
            "{subject}: {detail}",
            "Nothing is lost yet: it waits on this computer's disk. Charts end early.",
            "Maintenance: look at the historian and at the disk's free space.",
        ),
        "stock-low": Text(
            "{subject}: {detail}",
            "The supply may run out before the next delivery.",
            "Fluid keeper: order it, and enter the stock when it has come.",
        ),
        "expired": Text(
            "{subject}: {detail}",
            "Old concentrate may have separated or lost what it protects with.",
            "Fluid keeper: do not pour it; ask the supplier, and have it taken away as the "
            "safety data sheet says.",
        ),
    }
)
"""By alarm name."""

UNKNOWN = Text(
    "{subject}: {detail}",
    "The sump is not as it should be.",
    "Fluid keeper: look into it.",
    (SKIN,),
)
"""Of an alarm that has no sentences of its own."""

UNJUDGED: Mapping[Signal | None, str] = MappingProxyType(
    {
        Signal.LEVEL: "Level alarms are not judged until it is back; the volume rests on the "
        "balance and on dipsticks, less surely by the hour.",
        Signal.BRIX: "The concentration rests on the balance and on checks, less surely by the "
        "hour; its alarms are raised only where that is still sure enough.",
    }
)
"""What a silent signal leaves unjudged."""


def text_for(name: str, facts: Facts) -> Text:
    """Fill in what an alarm says, its cautions after the action.

    Parameters
    ----------
    name : str
        The alarm.
    facts : Facts
        What is to be said; numbers are given their unit here.

    Returns
    -------
    Text
        Cause, consequence and action.
    """
    plain = TEXTS.get(name, UNKNOWN)
    words = {
        "subject": facts.subject,
        "signal": signal_name(facts.signal),
        "value": amount(facts.value, facts.unit),
        "limit": amount(facts.limit, facts.unit),
        "detail": facts.detail or _without_detail(facts),
        "unjudged": UNJUDGED.get(facts.signal, "What rests on this signal is known less surely."),
    }
    return Text(
        plain.cause.format_map(words),
        plain.consequence.format_map(words),
        " ".join((plain.action, *plain.cautions)),
    )


def _without_detail(facts: Facts) -> str:
    """Say the numbers where nobody said more."""
    if facts.value is None:
        return "found by the evidence, without a number."
    if facts.limit is None:
        return f"{amount(facts.value, facts.unit)}."
    return f"{amount(facts.value, facts.unit)}, the limit is {amount(facts.limit, facts.unit)}."


def signal_name(signal: Signal | None) -> str:
    """How people call a signal.

    >>> signal_name(Signal.WATER_METER)
    'water meter'
    """
    return "sump" if signal is None else signal.value.replace("_", " ")


def amount(value: float | None, unit: str) -> str:
    """Say a number with its unit, in as many digits as mean something.

    >>> amount(171.6, "mm"), amount(5.4321, "%"), amount(754.0, "s"), amount(None, "mm")
    ('172 mm', '5.43 %', '13 min', 'unknown')
    """
    if value is None:
        return "unknown"
    if unit == "s":
        return duration(value)
    digits = f"{value:.0f}" if unit == "mm" or abs(value) >= 1000 else f"{value:.3g}"
    return f"{digits} {unit}".rstrip()


def duration(seconds: float) -> str:
    """Say a time span in the unit that suits it.

    >>> duration(45.0), duration(5400.0), duration(28800.0), duration(400000.0)
    ('45 s', '90 min', '8 h', '4.6 d')
    """
    if seconds < 120:
        return f"{seconds:.0f} s"
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    if seconds < 172_800:
        return f"{seconds / 3600:.1f}".removesuffix(".0") + " h"
    return f"{seconds / 86_400:.1f}".removesuffix(".0") + " d"
