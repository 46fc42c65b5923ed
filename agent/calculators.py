"""The two calculations of the command line: from what a person typed to a recipe.

They need no plant and no broker. The same program as everywhere chooses the amounts
(`advisor.optimum`); here what was typed is read, and the amounts are divided into batches.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import ceil, inf

from advisor import cautions
from advisor.calibration import Charged
from advisor.cautions import USUAL_MIN
from advisor.changeout import MOST_RESIDUE
from advisor.costs import amount
from advisor.dose import after_pouring
from advisor.effects import After, Batch, Mix
from advisor.makeup import for_first_fill
from advisor.mixing import blend
from advisor.optimum import best
from advisor.pouring import ALWAYS, NEVER, Choice, Task, Way
from advisor.program import SolverError
from advisor.reasons import exchange_for, shortfalls
from advisor.units import parts_from_fraction
from advisor.wording import number, percent
from advisor.words import Estimate
from agent.errors import MillpondError
from agent.typed import (
    NOTHING,
    USUAL_PREMIX,
    ChargeInput,
    ImpossibleInputError,
    Measure,
    TopUpInput,
    bucket_of,
    content,
    factor_of,
    litres,
    mark_of,
    measure_of,
    minutes_of,
    percentage,
    price_of,
    ratio_of,
    strengths_of,
    target_of,
)
from agent.verdict import Verdict, verdict

PREMIX, MIX, WATER, WEAK_MIX = "premix", "mix", "water", "weak mix"
"""What a portion is."""

MANY = 60
"""More batches than this are not fitted to the bucket's marks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What to drain and to pour, and what comes of it. [L]"""

    title: str
    measure: Measure
    task: Task
    drain: float
    portions: tuple[tuple[str, Batch], ...]
    """In the order of pouring."""
    after: After
    factor: float | None
    """Refractometer factor, where it was given. [%/°Brix]"""
    why: tuple[str, ...]
    cautions: tuple[str, ...]
    circulate: float = USUAL_MIN
    """For how long the pumps run until it is mixed. [min]"""
    is_change_out: bool = False
    """With the work around it."""
    verdict: Verdict | None = None
    """On a reading of the charge, where one was typed."""
    cost: float | None = None
    """Of concentrate and disposal, where a price was given; in the currency of the price."""

    @property
    def mix(self) -> Mix:
        """All portions together. [L]"""
        return blend(*(Mix(b.count * b.water, b.count * b.concentrate) for _, b in self.portions))

    @property
    def brix(self) -> float | None:
        """What a refractometer will read. [°Brix]"""
        if self.factor is None:
            return None
        return 100.0 * self.after.concentration.value / self.factor


def charge(typed: ChargeInput) -> Recipe:
    """Fill an emptied sump: premix in batches, then water or weak mix for the rest. [L]

    Raises
    ------
    ImpossibleInputError
        If something typed is no quantity, or one that no sump can have.
    """
    volume = litres("--volume", typed.volume, least=NOTHING)
    measure = measure_of("--volume", typed.volume)
    residue = litres("--residue", typed.residue or "0 L")
    if residue >= volume:
        raise ImpossibleInputError("--residue", typed.residue, f"less than {typed.volume}")
    strongest, weakest = strengths_of(typed.premix, typed.weak_mix)
    bucket, mark = bucket_of(typed.bucket), mark_of(typed.graduation, typed.bucket)
    target = target_of(typed.target, typed.convention)
    task = Task(
        volume=Estimate(residue, 0.0),
        concentration=Estimate(0.0, 0.0),
        correlation=0.0,
        wanted=volume,
        cap=volume + mark,
        target=target,
        weakest=weakest,
        strongest=strongest,
        ways=(
            _strong(bucket, mark, volume, strongest),
            _rest(bucket, mark, volume, weakest),
        ),
        volume_tolerance=mark,
        target_tolerance=mark / 2.0 / volume,
    )
    recipe = priced(
        _recipe(task, bucket, measure, factor_of(typed.factor)),
        price_of("--price", typed.price),
        None,
    )
    return replace(
        recipe,
        title=f"Charge {say(volume, measure)} at {percent(target)} of the mix",
        why=(
            *_convention(typed),
            *_premix(typed.premix, strongest),
            *_residue(residue, volume, measure),
            *recipe.why,
            for_first_fill(content("--hardness", typed.hardness)),
        ),
        cautions=(*_naive(task, recipe, measure), *_charging(typed)),
        verdict=_verdict(typed, recipe) if typed.check else None,
        circulate=minutes_of(typed.circulate),
        is_change_out=typed.change_out,
    )


def top_up(typed: TopUpInput) -> Recipe:
    """Bring a sump in use to a volume and a concentration. [L]

    Raises
    ------
    ImpossibleInputError
        If something typed is no quantity, or one that no sump can have.
    """
    volume = litres("--volume", typed.volume)
    wanted = litres("--to-volume", typed.to_volume, least=NOTHING)
    measure = measure_of("--to-volume", typed.to_volume)
    strength = percentage("--concentration", typed.concentration)
    strongest, weakest = strengths_of(typed.premix, typed.weak_mix)
    bucket, mark = bucket_of(typed.bucket), mark_of(typed.graduation, typed.bucket)
    target = target_of(typed.target, typed.convention)
    room = max(wanted, volume) if typed.exchange else max(wanted - volume, 0.0)
    task = Task(
        volume=Estimate(volume, 0.0),
        concentration=Estimate(strength, 0.0),
        correlation=0.0,
        wanted=wanted,
        cap=max(volume, wanted + mark),
        target=target,
        weakest=weakest,
        strongest=strongest,
        ways=(_mix(bucket, mark, room),),
        volume_tolerance=mark,
        target_tolerance=mark / 2.0 / wanted,
        drain=ALWAYS if typed.exchange else NEVER,
        drain_step=mark,
    )
    recipe = priced(
        _recipe(task, bucket, measure, factor_of(typed.factor)),
        price_of("--price", typed.price),
        price_of("--disposal", typed.disposal),
    )
    minutes = minutes_of(typed.circulate)
    known = cautions.EXCHANGE if recipe.drain > 0.0 else cautions.TOP_UP
    return replace(
        recipe,
        title=(
            f"Top up {say(volume, measure)} at {percent(strength)} "
            f"to {say(wanted, measure)} at {percent(target)} of the mix"
        ),
        why=(
            *_convention(typed),
            *(_premix(typed.premix, strongest) if typed.premix or _is_strongest(recipe) else ()),
            *recipe.why,
        ),
        circulate=minutes,
        cautions=cautions.lasting(known, minutes) if recipe.portions or recipe.drain > 0.0 else (),
    )


def say(volume: float, measure: Measure) -> str:
    """Volume [L] in the unit of the person, with litres beside where that is another one.

    As jugs are marked: fluid ounces under half a gallon, millilitres under a litre.
    """
    metric = f"{number(1000.0 * volume, 0)} mL" if volume < 1.0 else f"{number(volume, 2)} L"
    if measure.litres == 1.0:
        return metric
    own = volume / measure.litres
    if measure.ounce is not None and 0.0 < own < 0.5:
        return f"{number(volume / measure.ounce, 1)} fl oz ({metric})"
    return f"{number(own, 2)} {measure.unit} ({metric})"


def _charging(typed: ChargeInput) -> tuple[str, ...]:
    """Cautions of a charge; a change-out has a stage for circulating."""
    if typed.change_out:
        return tuple(c for c in cautions.CHARGE if c != cautions.CIRCULATE)
    return cautions.lasting(cautions.CHARGE, minutes_of(typed.circulate))


def _verdict(typed: ChargeInput, recipe: Recipe) -> Verdict:
    """Judge a reading of the charge."""
    after, task = recipe.after, recipe.task
    charged = Charged(
        volume=after.volume.value,
        strength=after.concentration.value,
        target=task.target,
        weakest=task.weakest,
        strongest=task.strongest,
        mark=mark_of(typed.graduation, typed.bucket),
    )
    return verdict(charged, typed.check, recipe.factor, lambda v: say(v, recipe.measure))


# --- ways -----------------------------------------------------------------------------------------


def _strong(bucket: float, mark: float, volume: float, strongest: float) -> Way:
    """Premix; exactly as strong as asked where any amount can be measured. [L]"""
    way = _mix(bucket, mark, volume)
    limits = None if way.marks[0] else (strongest, strongest)
    return replace(way, name=PREMIX, limits=limits)


def _rest(bucket: float, mark: float, volume: float, weakest: float) -> Way:
    """What fills up a charge: water straight from the line, or weak mix in batches. [L]"""
    if weakest > 0.0:
        way = _mix(bucket, mark, volume)
        limits = None if way.marks[0] else (weakest, weakest)
        return replace(way, name=WEAK_MIX, limits=limits, part=1)
    return Way(
        name=WATER, fill=inf, marks=(mark, mark), strengths=(0.0, None), limits=(0.0, 0.0), part=1
    )


def _mix(bucket: float, mark: float, room: float) -> Way:
    """A mix of any strength that is allowed; in the bucket where it has marks. [L]"""
    most = max(ceil(room / bucket), 1)
    if mark == 0.0 or most > MANY:
        return Way(name=MIX, fill=inf, marks=(0.0, 0.0))
    return Way(name=MIX, fill=bucket, marks=(mark, mark), most=most)


# --- the recipe -----------------------------------------------------------------------------------


def _recipe(task: Task, bucket: float, measure: Measure, factor: float | None) -> Recipe:
    """Choose the amounts and divide them into batches; title and cautions are the caller's. [L]"""
    try:
        choice = best(task)
    except SolverError as trouble:
        raise MillpondError(f"no mix could be computed: {trouble}") from trouble
    after = after_pouring(task, choice)
    said = shortfalls(task, after, lambda volume: say(volume, measure))
    said.insert(0, _outcome(task, choice, after, measure))
    return Recipe(
        title="",
        measure=measure,
        task=task,
        drain=choice.drain,
        portions=tuple(_portions(choice, bucket)),
        after=after,
        factor=factor,
        why=tuple(said),
        cautions=(),
    )


def _portions(choice: Choice, bucket: float) -> Iterator[tuple[str, Batch]]:
    """Divide what was chosen into full buckets and a last one; water runs in at one go. [L]"""
    for way, batch in zip(choice.ways, choice.batches, strict=True):
        if way.marks[0] > 0.0 or way.name == WATER:
            yield way.name, batch
        else:
            yield from ((way.name, part) for part in _divide(batch, bucket))


def _divide(batch: Batch, bucket: float) -> Iterator[Batch]:
    """Full buckets of a mix, then one with what is left. [L]"""
    total = batch.water + batch.concentrate
    full = int(total / bucket + NOTHING)
    if full > 0:
        share = bucket / total
        yield Batch(full, batch.water * share, batch.concentrate * share)
    left = 1.0 - full * bucket / total if full else 1.0
    if left * total > NOTHING:
        yield Batch(1, batch.water * left, batch.concentrate * left)


# --- why, and what to beware of -------------------------------------------------------------------


def _convention(typed: ChargeInput | TopUpInput) -> Iterator[str]:
    """Say a target that was meant per hundred of water as a percentage of the mix. [1]"""
    if typed.convention == "per-water":
        parts = target_of(typed.target, typed.convention)
        yield (
            f"{number(parts_from_fraction(parts), 2)} parts of concentrate to 100 of water are "
            f"{percent(parts)} of the mix."
        )


def priced(recipe: Recipe, price: float | None, disposal: float | None) -> Recipe:
    """Add what a recipe costs, and what the exchange would cost that it names.

    `price` is of a litre of concentrate, `disposal` of a litre drained. [1/L]
    """
    if price is None and disposal is None:
        return recipe
    each = (price or 0.0, disposal or 0.0)
    cost = recipe.mix.concentrate * each[0] + recipe.drain * each[1]
    said = [f"Cost of concentrate and disposal: {amount(cost)}."]
    strength = recipe.after.concentration.value
    missed = abs(strength - recipe.task.target) > recipe.task.target_tolerance + 1e-9
    exchange = exchange_for(recipe.task, strength) if missed else None
    if exchange is not None:
        drain, mix = exchange
        instead = mix.concentrate * each[0] + drain * each[1]
        said.append(f"The exchange would cost {amount(instead)}.")
    return replace(recipe, cost=cost, why=(*recipe.why, *said))


def _outcome(task: Task, choice: Choice, after: After, measure: Measure) -> str:
    """Say what is poured and what it makes of the sump. [L]"""
    mix, strength = choice.mix, after.concentration.value
    if not choice.batches and choice.drain <= 0.0:
        return f"Nothing to add to {say(task.volume.value, measure)} at {percent(strength)}."
    now = f"{say(after.volume.value, measure)} at {percent(strength)} of the mix"
    if task.volume.value <= 0.0:
        return f"{now} in all."
    drained = f"{say(choice.drain, measure)} less, then " if choice.drain > 0.0 else ""
    return f"{drained}{say(mix.volume, measure)} more at {percent(mix.strength)} make {now}."


def _is_strongest(recipe: Recipe) -> bool:
    """Whether the mix is as strong [1] as the premix allows."""
    return recipe.mix.strength >= recipe.task.strongest - 1e-9


def _premix(typed: str, strongest: float) -> Iterator[str]:
    """Say the premix back in words. [1]"""
    water, concentrate = ratio_of(typed or USUAL_PREMIX)
    given = "" if typed else "; common practice, as none was given"
    yield (
        f"No batch is stronger than the premix: {number(water, 2)} parts of water to "
        f"{number(concentrate, 2)} of concentrate, {percent(strongest)} of the mix{given}."
    )


def _residue(residue: float, volume: float, measure: Measure) -> Iterator[str]:
    """Say what is left in the sump and does not count. [L]"""
    if residue <= 0.0:
        return
    left = say(residue, measure)
    yield f"{left} left in the sump take up room; their concentrate is not counted."
    if residue > MOST_RESIDUE * volume:
        share = number(100.0 * residue / volume, 1)
        yield f"That is {share} % of the charge: rinse and drain again before charging."


def _naive(task: Task, recipe: Recipe, measure: Measure) -> Iterator[str]:
    """Warn of counting the weak mix as water, and say what that would have given. [L]"""
    wanted = task.target * task.wanted
    premix = wanted / task.strongest
    if task.weakest <= 0.0 or premix >= task.wanted or not recipe.portions:
        return
    reads = (wanted + task.weakest * (task.wanted - premix)) / task.wanted
    yield (
        f"The concentrate of the weak mix counts. All {say(wanted, measure)} of concentrate as "
        f"premix, filled up with weak mix, would read {percent(reads)} of the mix "
        f"({number(parts_from_fraction(reads), 2)} parts to 100 of water), not "
        f"{percent(task.target)}."
    )
