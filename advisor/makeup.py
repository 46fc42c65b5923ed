"""Which water to top up with: when salts reach their limits with each, and which blend never does.

The balances are those of `advisor.salts`, one for hardness and one for chloride: for hardness an
upper bound, since part of it precipitates. Softening exchanges calcium and magnesium for sodium: it
helps hardness alone. All the make-up counts as water; the little of it that is concentrate is left
out, which is on the safe side.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf

from advisor.drift import Rates
from advisor.plan import SumpPlan
from advisor.salts import blend_that_never_reaches, cycles, days_until, settles_at
from advisor.wording import number

NITRATE_MOST = 50.0
"""Of make-up and top-up water; above it, blend (TRGS 611, section 5.2). [mg/L]"""

FIRST_FILL_HARDNESS = (178.0, 357.0)
"""Of the water for a first fill: 10 to 20 German degrees, as CaCO3 (DGUV/IFA practice guide,
entry on make-up water). [mg/L]"""

FOAMS_UNDER = 100.0
"""Fresh mix made with softer water foams, as CaCO3, *common practice*: 70 to 100. [mg/L]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """What dissolves in a water; `None`: not known. [mg/L]"""

    name: str
    hardness: float | None = None
    """As CaCO3."""
    chloride: float | None = None
    nitrate: float | None = None

    def softened(self) -> "Water":
        """The same without hardness: an ion exchanger gives sodium for it."""
        hardness = None if self.hardness is None else 0.0
        return replace(self, name=f"{self.name}, softened", hardness=hardness)


DEMINERALISED = Water(name="demineralised", hardness=0.0, chloride=0.0, nitrate=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """What is held to a limit in the sump. [mg/L]"""

    name: str
    """``hardness`` or ``chloride``, as in `Water`."""
    limit: float
    now: float
    """In the sump."""
    is_assumed: bool = False
    """Nobody measured it: taken to be that of the water."""

    def of(self, water: Water) -> float | None:
        """Content of a water. [mg/L]"""
        content: float | None = getattr(water, self.name)
        return content


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Where one salt goes with one water."""

    salt: str
    settles: float
    """Content that it settles at; infinite without carry-off. [mg/L]"""
    days: float
    """Until its limit; infinite where it never is reached. [d]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One water, and where each salt goes with it."""

    water: Water
    courses: tuple[Course, ...]
    is_nitrate_high: bool

    @property
    def days(self) -> float:
        """Until the first limit. [d]"""
        return min((course.days for course in self.courses), default=inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend:
    """A water with demineralised water in it."""

    water: str
    share: float
    """Of the water; the rest is demineralised. [1]"""
    because_of: str
    """What asks for most of it: a salt, or ``nitrate``; empty where the water alone will do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterOutlook:
    """What a sump's make-up water does to it."""

    cycles: float
    """Cycles of concentration; infinite without carry-off. [1]"""
    salts: tuple[Salt, ...]
    cases: tuple[Case, ...]
    blends: tuple[Blend, ...]


def water_outlook(
    volume: float, rates: Rates, waters: Sequence[Water], salts: Sequence[Salt]
) -> WaterOutlook:
    """Set waters against each other.

    Parameters
    ----------
    volume : float
        Fluid in the sump, kept as it is. [L]
    rates : Rates
        How it loses; what comes in by itself makes evaporation no less than nothing. [L/d]
    waters : sequence of Water
        Those there are; each is also looked at softened, and demineralised water beside them.
    salts : sequence of Salt
        What is held to a limit.
    """
    losses = max(rates.evaporation, 0.0), rates.carry_off
    given = [water for water in waters if any(salt.of(water) is not None for salt in salts)]
    cases = []
    for water in given:
        cases.append(_case(water, volume, losses, salts))
        if water.hardness and any(salt.name == "hardness" for salt in salts):
            cases.append(_case(water.softened(), volume, losses, salts))
    if given and DEMINERALISED.name not in {water.name for water in given}:
        cases.append(_case(DEMINERALISED, volume, losses, salts))
    return WaterOutlook(
        cycles=cycles(*losses),
        salts=tuple(salts),
        cases=tuple(cases),
        blends=tuple(_blend(water, losses, salts) for water in given if water != DEMINERALISED),
    )


def salts_of(plan: SumpPlan, measured: Mapping[str, float]) -> tuple[Salt, ...]:
    """Salts that a sump's fluid has limits for. [mg/L]

    Parameters
    ----------
    plan : SumpPlan
        Its fluid's limits, its waters.
    measured : mapping
        Newest check of the fluid by the salt's name. Where none was made it is taken to be as a
        fresh fill with the first water that tells.
    """
    limits = {"hardness": plan.fluid.hardness_limit, "chloride": plan.fluid.chloride_limit}
    found = []
    for name, limit in limits.items():
        of_water = [getattr(water, name) for water in waters_of(plan)]
        known = [content for content in of_water if content is not None]
        if limit is None or not known:
            continue
        now = measured.get(name)
        found.append(
            Salt(
                name=name,
                limit=limit,
                now=known[0] if now is None else now,
                is_assumed=now is None,
            )
        )
    return tuple(found)


def waters_of(plan: SumpPlan) -> tuple[Water, ...]:
    """Waters that a sump is filled from, as far as it is known what is in them. [mg/L]"""
    return tuple(
        Water(
            name=supply.name or supply.id,
            hardness=supply.hardness,
            chloride=supply.chloride,
            nitrate=supply.nitrate,
        )
        for supply in plan.supplies
        if supply.kind == "water"
    )


def _case(water: Water, volume: float, losses: tuple[float, float], salts: Sequence[Salt]) -> Case:
    """Foresee what a water does. Losses in [L/d]."""
    courses = []
    for salt in salts:
        content = salt.of(water)
        if content is not None:
            courses.append(
                Course(
                    salt=salt.name,
                    settles=settles_at(content, *losses) if content > 0.0 else 0.0,
                    days=days_until(salt.limit, volume, salt.now, content, losses),
                )
            )
    high = water.nitrate is not None and water.nitrate > NITRATE_MOST
    return Case(water=water, courses=tuple(courses), is_nitrate_high=high)


def _blend(water: Water, losses: tuple[float, float], salts: Sequence[Salt]) -> Blend:
    """Most of a water that, with demineralised water, keeps to all limits for ever. [1]"""
    shares = {}
    for salt in salts:
        content = salt.of(water)
        if content is not None:
            shares[salt.name] = blend_that_never_reaches(salt.limit, content, 0.0, losses) or 0.0
    if water.nitrate is not None and water.nitrate > NITRATE_MOST:
        shares["nitrate"] = NITRATE_MOST / water.nitrate
    least = min(shares, key=lambda name: shares[name])
    share = shares[least]
    return Blend(water=water.name, share=share, because_of=least if share < 1.0 else "")


def for_first_fill(hardness: float | None) -> str:
    """Say which water a first fill takes, and whether this one does. [mg/L]

    >>> for_first_fill(200.0)
    'For a first fill water of 200 mg/L will do; top-ups take water low in salts.'
    """
    low, high = (number(end, 0) for end in FIRST_FILL_HARDNESS)
    usual = (
        f"tap water in the fluid's range ({low} to {high} mg/L where its data sheet says nothing)"
    )
    if hardness is None:
        return (
            f"A first fill commonly takes {usual}; very soft water foams. "
            "Top-ups take water low in salts."
        )
    known = f"water of {number(hardness, 0)} mg/L"
    if hardness < FOAMS_UNDER:
        return (
            f"A first fill with {known} foams: {usual} is better; "
            "water low in salts is for top-ups."
        )
    if hardness > FIRST_FILL_HARDNESS[1]:
        return (
            f"A first fill with {known} begins too hard: {usual} is better, or a blend with "
            "demineralised water."
        )
    return f"For a first fill {known} will do; top-ups take water low in salts."
