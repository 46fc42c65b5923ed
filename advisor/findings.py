"""What the evidence says is wrong: with sensors, as findings and as qualities of their signals."""

from collections.abc import Iterator

from advisor.belief import Belief, Core
from advisor.losing import losses_found
from advisor.plan import SumpPlan
from advisor.words import Finding, Quality, Signal

SIGNALS = tuple(Signal)
WATCHED = (Signal.LEVEL, Signal.BRIX)
UNITS = {Signal.LEVEL: "mm", Signal.BRIX: "°Brix"}
STEP_SDS = 4.0
"""A sensor's step counts while the sum of its steps is so many sds from nothing. [1]"""


def findings(belief: Belief) -> tuple[Finding, ...]:
    """Give what is wrong with the sensors at present, oldest kind first."""
    core, (level, brix) = belief.core, belief.watches
    odd = level.fault or brix.fault or core.shifted or core.losing
    if not odd and core.checked_since < 0 and core.leaking < 0:
        return ()
    return (
        *_watched(belief),
        *_stepped(belief.core),
        *_drifted(belief.core),
        *losses_found(belief.core, belief.at),
    )


def qualities(belief: Belief, plan: SumpPlan, found: tuple[Finding, ...]) -> dict[Signal, Quality]:
    """Give how far every signal can be trusted; staleness is judged where the time is known."""
    told = dict.fromkeys(SIGNALS, Quality.ABSENT) | dict.fromkeys(plan.signals, Quality.GOOD)
    level, brix = belief.watches
    for watch, signal in ((level, Signal.LEVEL), (brix, Signal.BRIX)):
        if watch.wild and told[signal] is Quality.GOOD:
            told[signal] = Quality.SUSPECT
    for finding in found:
        if finding.signal is not None and told[finding.signal] is not Quality.ABSENT:
            bad = finding.value is None
            told[finding.signal] = Quality.BAD if bad else Quality.SUSPECT
    return told


def _watched(belief: Belief) -> Iterator[Finding]:
    """Give sensors that stand still or say what no sump does."""
    for watch, signal in zip(belief.watches, WATCHED, strict=True):
        if watch.fault:
            yield Finding(
                name="sensor-fault", signal=signal, since=watch.fault_since, detail=watch.fault
            )


def _stepped(core: Core) -> Iterator[Finding]:
    """Give sensors whose reading moved by itself and has not come back."""
    for signal in WATCHED:
        steps = [step for step in core.shifted if step.signal is signal]
        size = sum([step.size for step in steps])
        sd = sum([step.sd**2 for step in steps]) ** 0.5
        if steps and abs(size) > STEP_SDS * sd:
            unit = UNITS[signal]
            yield Finding(
                name="sensor-fault",
                signal=signal,
                since=steps[-1].at,
                detail=f"its reading stepped by {size:.2f} {unit} by itself",
                value=size,
                unit=unit,
            )


def _drifted(core: Core) -> Iterator[Finding]:
    """Give an inline refractometer that checks keep correcting the same way."""
    if core.checked_since >= 0:
        way = "higher" if core.checked.up > core.checked.down else "lower"
        yield Finding(
            name="sensor-drift",
            signal=Signal.BRIX,
            since=core.checked_since,
            detail=f"checks keep saying a {way} concentration than the inline reading",
            value=core.told.film,
            unit="°Brix",
        )
