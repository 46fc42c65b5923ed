"""What is wrong at a sump beyond its balance, found from plain inputs: condition, checks, dosing.

Each function gives the finding, or nothing; `advisor.alarms.assess` takes them as `Surroundings`.
"""

from collections.abc import Mapping
from types import MappingProxyType

from advisor.alarm_texts import amount, duration
from advisor.effects import Advice, Mix
from advisor.plan import SumpPlan, Supply
from advisor.words import DAY, HOUR, Addition, CheckKind, Delivery, Estimate, Finding, Instant

PATIENCE: Instant = DAY
"""How long advice may stay open, *common practice*. [ms]"""

STILL_AFTER: Instant = 3 * DAY
"""How long fluid may stand still: a long weekend, *common practice*. [ms]"""

FALL_TO_ACT, FALL_TO_CHANGE = 0.5, 1.0
"""Fall of the pH from the first fill (DGUV Regel 109-003, annex 3). [pH]"""

DELIVERY_SHARE = 0.1
"""A delivery differs when it is off by more than this share, *common practice*. [1]"""

DELIVERY_LEAST = 0.5
"""... and by more than this. [L]"""


def advice_open(
    advice: Advice, since: Instant, now: Instant, *, limit: Instant = PATIENCE
) -> Finding | None:
    """Find that nobody has carried out an advice.

    Parameters
    ----------
    advice : Advice
        What stands now.
    since : Instant
        When advice of this kind was first given. [ms]
    now : Instant
        The clock. [ms]
    limit : Instant
        How long it may stay open. [ms]
    """
    if advice.kind == "none" or now - since <= limit:
        return None
    age = duration((now - since) / 1000)
    return Finding(
        name="advice-open",
        signal=None,
        since=since,
        detail=f"a {advice.kind} has been advised for {age}.",
        value=(now - since) / 1000,
        limit=limit / 1000,
        unit="s",
    )


def delivery_differs(delivery: Delivery, asked: Mix) -> Finding | None:
    """Find that a station poured other than its setpoint asked.

    Parameters
    ----------
    delivery : Delivery
        The station's totals for the setpoint. [L]
    asked : Mix
        What the setpoint asked for. [L]

    Returns
    -------
    Finding or None
        When it reports a fault, when it poured too much, or when it has finished with too little.
    """
    if delivery.fault:
        return _about(delivery.at, "delivery-differs", f"the station reports: {delivery.fault}")
    for what, poured, wanted in (
        ("water", delivery.water, asked.water),
        ("concentrate", delivery.concentrate, asked.concentrate),
    ):
        spare = max(DELIVERY_SHARE * wanted, DELIVERY_LEAST)
        short = delivery.finished and poured < wanted - spare
        if poured > wanted + spare or short:
            said = f"{amount(poured, 'L')} of {what} poured, {amount(wanted, 'L')} asked for."
            return Finding(
                name="delivery-differs",
                signal=None,
                since=delivery.at,
                detail=said,
                value=poured,
                limit=wanted,
                unit="L",
            )
    return None


def wrong_concentrate(
    addition: Addition, plan: SumpPlan, supplies: Mapping[str, Supply] | None = None
) -> Finding | None:
    """Find that another concentrate was poured than the sump's own.

    It may have been named in the report, or be that of the supply it was drawn from: one of
    `supplies`, which are those of the whole plant, or of the sump's own where nobody says.
    """
    known = {supply.id: supply for supply in plan.supplies} if supplies is None else supplies
    drawn = known.get(addition.supply or "")
    poured = addition.fluid or (None if drawn is None else drawn.fluid)
    if poured is None or poured == plan.fluid.id or addition.concentrate <= 0.0:
        return None
    by = f" by {addition.by}" if addition.by else ""
    said = (
        f"{amount(addition.concentrate, 'L')} of {poured} poured{by}, "
        f"the sump runs on {plan.fluid.id}."
    )
    return _about(addition.at, "wrong-concentrate", said)


def ph_out_of_band(
    ph: Estimate, at: Instant, *, low: float | None, high: float | None, first: float | None
) -> Finding | None:
    """Find that the pH has left its band, or has fallen too far since the first fill.

    Parameters
    ----------
    ph : Estimate
        What is known of it; outside counts from two sds. [pH]
    at : Instant
        When that holds. [ms]
    low, high : float or None
        The fluid's band. [pH]
    first : float or None
        What it was after the first fill. [pH]

    References
    ----------
    A fall of more than 0.5 from the first fill: act as the supplier says; of more than 1.0: change
    the fluid and clean the circuit. DGUV Regel 109-003, annex 3.
    """
    outside = _outside("ph-out-of-band", "pH", ph, at, (low, high, ""))
    if outside is not None or first is None:
        return outside
    fall = first - ph.value
    if fall - 2.0 * ph.sd <= FALL_TO_ACT:
        return None
    then = "change the fluid" if fall - 2.0 * ph.sd > FALL_TO_CHANGE else "act as the supplier says"
    said = f"pH {ph.value:.1f}, {fall:.1f} below the first fill's {first:.1f}: {then}."
    return Finding(
        name="ph-out-of-band",
        signal=None,
        since=at,
        detail=said,
        value=ph.value,
        limit=first - FALL_TO_ACT,
        unit="pH",
    )


def conductivity_out_of_band(
    conductivity: Estimate, at: Instant, *, low: float | None, high: float | None
) -> Finding | None:
    """Find that the conductivity [mS/cm] has left its band; outside counts from two sds."""
    name = "conductivity-out-of-band"
    return _outside(name, "conductivity", conductivity, at, (low, high, "mS/cm"))


def hardness_high(hardness: Estimate, at: Instant, limit: float | None) -> Finding | None:
    """Find that the fluid has become too hard, as CaCO3 [mg/L]; counts from two sds."""
    return _outside("hardness-high", "hardness", hardness, at, (None, limit, "mg/L"))


def chloride_high(chloride: Estimate, at: Instant, limit: float | None) -> Finding | None:
    """Find that the fluid holds too much chloride [mg/L]; counts from two sds."""
    return _outside("chloride-high", "chloride", chloride, at, (None, limit, "mg/L"))


NITRITE_LIMIT = 20.0
"""Above it: change, change in part or inhibit, else measure NDELA (TRGS 611, 5.3). [mg/L]"""

BACTERIA_TO_ADJUST, BACTERIA_TO_ACT = 1e4, 1e6
"""Below the first good, up to the second: review and adjust; from there act at once (HSE,
metalworking fluids, bacterial contamination; the second limit from memory). [CFU/mL]"""

TRAMP_OIL_LIMIT = 0.02
"""UKLA and HSE, Good Practice Guide, 2018 (as quoted elsewhere). [1]"""


def nitrite_high(nitrite: float, at: Instant, limit: float = NITRITE_LIMIT) -> Finding | None:
    """Find that a check found too much nitrite [mg/L]; the rule is about the reading itself."""
    if nitrite <= limit:
        return None
    said = f"nitrite {amount(nitrite, 'mg/L')}, to act above {amount(limit, 'mg/L')}."
    return _measured("nitrite-high", at, said, (nitrite, limit, "mg/L"))


def bacteria_high(count: float, at: Instant, limit: float = BACTERIA_TO_ADJUST) -> Finding | None:
    """Find that a dip slide shows too many bacteria [CFU/mL]."""
    if count < limit:
        return None
    then = "act at once" if count >= BACTERIA_TO_ACT else "review and adjust"
    said = f"dip slide {amount(count, 'CFU/mL')}: {then}."
    return _measured("bacteria-high", at, said, (count, limit, "CFU/mL"))


def tramp_oil_high(share: float, at: Instant, limit: float = TRAMP_OIL_LIMIT) -> Finding | None:
    """Find that too much oil floats on the fluid; shares of the volume. [1]"""
    if share <= limit:
        return None
    found, most = 100.0 * share, 100.0 * limit
    said = f"tramp oil {amount(found, '%')}, at most {amount(most, '%')}."
    return _measured("tramp-oil-high", at, said, (found, most, "%"))


def stagnant(
    stopped_since: Instant | None, now: Instant, *, limit: Instant = STILL_AFTER
) -> Finding | None:
    """Find that the fluid has not moved for too long. Times in ms.

    `stopped_since` is when the pumps stopped; `None` while they run, or where nobody knows.
    """
    if stopped_since is None or now - stopped_since <= limit:
        return None
    still = (now - stopped_since) / 1000
    return Finding(
        name="stagnant",
        signal=None,
        since=stopped_since,
        detail=f"the pumps have stood still for {duration(still)}.",
        value=still,
        limit=limit / 1000,
        unit="s",
    )


INTERVALS: Mapping[CheckKind, Instant] = MappingProxyType(
    {
        CheckKind.REFRACTOMETER: 7 * DAY,
        CheckKind.PH: 7 * DAY,
        CheckKind.DIP_SLIDE: 7 * DAY,
        CheckKind.NITRITE: 7 * DAY,
        CheckKind.LOOK: DAY,
    }
)
"""Usual intervals: look daily, the others weekly (DGUV Regel 109-003, annex 3; HSE COSHH essentials
MW5, which asks for the dip slide). [ms]"""

GRACE: Instant = 12 * HOUR
"""So much later than due before a check is overdue, *common practice*. [ms]"""


def check_overdue(
    last: Mapping[CheckKind, Instant], now: Instant, intervals: Mapping[CheckKind, Instant]
) -> Finding | None:
    """Find that checks were due and have not been entered; one finding names them all.

    Parameters
    ----------
    last : Mapping[CheckKind, Instant]
        When each was last entered, or when the sump was last charged. [ms]
    now : Instant
        The clock. [ms]
    intervals : Mapping[CheckKind, Instant]
        How often each is due, as `INTERVALS`; a kind that is in only one of the two does not
        count. [ms]
    """
    late = sorted(
        (last[kind] + interval, kind)
        for kind, interval in intervals.items()
        if kind in last and now - last[kind] > interval + GRACE
    )
    if not late:
        return None
    due, kind = late[0]
    each = ", ".join(f"{kind.value} for {duration((now - last[kind]) / 1000)}" for _, kind in late)
    return Finding(
        name="check-overdue",
        signal=None,
        since=due,
        detail=f"not checked: {each}.",
        value=(now - last[kind]) / 1000,
        limit=intervals[kind] / 1000,
        unit="s",
    )


def _outside(
    name: str,
    what: str,
    known: Estimate,
    at: Instant,
    band: tuple[float | None, float | None, str],
) -> Finding | None:
    """Say that a quantity is outside its band by two sds or more."""
    low, high, unit = band
    value, spare = known.value, 2.0 * known.sd
    if low is not None and value + spare < low:
        limit, end = low, "begins at"
    elif high is not None and value - spare > high:
        limit, end = high, "ends at"
    else:
        return None
    said = f"{what} {amount(value, unit)}, the band {end} {amount(limit, unit)}."
    return Finding(
        name=name, signal=None, since=at, detail=said, value=value, limit=limit, unit=unit
    )


def _measured(name: str, at: Instant, detail: str, numbers: tuple[float, float, str]) -> Finding:
    """Say what a check found, its limit, and their unit."""
    value, limit, unit = numbers
    return Finding(
        name=name, signal=None, since=at, detail=detail, value=value, limit=limit, unit=unit
    )


def _about(at: Instant, name: str, detail: str) -> Finding:
    """Say something without a number to compare."""
    return Finding(name=name, signal=None, since=at, detail=detail)
