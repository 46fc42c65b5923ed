"""Why a sump is topped up, left alone or measured first, and how far the evidence can be trusted.

What decides is said first: a level or a concentration beside the limit that it is held against.
"""

from collections.abc import Iterator

from advisor.geometry import volume_at
from advisor.lookahead import inner_band
from advisor.plan import SumpPlan
from advisor.situation import Situation
from advisor.vessels import smallest_fill
from advisor.wording import litres, litres_sd, number, percent, percent_sd
from advisor.words import Estimate, Quality, Signal, SumpState

_TRUST = {
    Quality.SUSPECT: "is suspect",
    Quality.BAD: "is bad and left out of account",
    Quality.STALE: "is stale: nothing new has come from it",
}


_PLAIN = {
    Situation.CHARGING: "The sump is being charged; no top-up until the charge is reported done.",
    Situation.VOLUME_UNKNOWN: (
        "The volume is not known: measure the depth with a dipstick, pumps stopped."
    ),
    Situation.CONCENTRATION_UNKNOWN: (
        "The concentration is not known: check it with a handheld refractometer."
    ),
}


def for_situation(situation: Situation, state: SumpState, plan: SumpPlan) -> tuple[str, ...]:
    """Say why nothing is to be poured now. Volumes in [L]."""
    if situation in _PLAIN:
        return (_PLAIN[situation],)
    if situation is Situation.VOLUME_UNSURE:
        return (_unsure_volume(state),)
    if situation is Situation.CONCENTRATION_UNSURE:
        return (_unsure_concentration(state, plan),)
    if situation is Situation.NO_ROOM:
        return (*_standing(state, plan), _no_room(plan))
    return _standing(state, plan)


def for_pouring(situation: Situation, state: SumpState, plan: SumpPlan) -> tuple[str, ...]:
    """Say what asks for a dose: level or concentration beside its limit. Volumes in [L]."""
    volume, strength = state.volume, state.concentration
    if volume is None:
        return ()
    if situation is Situation.EMPTY:
        return (f"The sump is empty ({litres(volume.value, 0)} in it): it takes a charge.",)
    said = [*_of_level(state, volume, plan)]
    if strength is not None:
        # Out of its band goes before a low level, a low level before the inner half of the band.
        place = 0 if not _in_band(strength, plan) else len(said)
        said[place:place] = _of_concentration(strength, plan)
    return tuple(said) or (_unfinished(state, plan),)


def _of_level(state: SumpState, volume: Estimate, plan: SumpPlan) -> Iterator[str]:
    """Say that there is too little in the sump, or too much. [L]"""
    levels = plan.levels
    brim, due = volume_at(plan.tank, levels.brim), volume_at(plan.tank, levels.top_up)
    if volume.value > brim:
        yield (
            f"{litres(volume.value, 0)} are more than the {litres(brim, 0)} that the sump holds at "
            "its brim: it runs over once it has drained back."
        )
    elif volume.value < due:
        depth = "" if state.rest_depth is None else f"{number(state.rest_depth.value, 0)} mm, "
        yield (
            f"Level with everything drained back: {depth}{litres(volume.value, 0)}; a top-up is "
            f"due under {number(levels.top_up, 0)} mm, {litres(due, 0)}."
        )


def _in_band(strength: Estimate, plan: SumpPlan) -> bool:
    """Whether a concentration [1] is in its band."""
    return plan.fluid.band_low <= strength.value <= plan.fluid.band_high


def _of_concentration(strength: Estimate, plan: SumpPlan) -> Iterator[str]:
    """Say that the concentration [1] has left its band, or the inner half of it."""
    fluid = plan.fluid
    if _in_band(strength, plan):
        (low, high), what = inner_band(plan), "inner half of the band"
    else:
        (low, high), what = (fluid.band_low, fluid.band_high), "band"
    if not low <= strength.value <= high:
        side = "under" if strength.value < low else "over"
        yield (
            f"Concentration {percent(strength.value)}: {side} the {what}, "
            f"{percent(low)} to {percent(high)}."
        )


def _unfinished(state: SumpState, plan: SumpPlan) -> str:
    """Say that a top-up that was due is not finished, though nothing is beyond its limit now."""
    known = " and ".join(
        said
        for said in (
            "" if state.volume is None else litres(state.volume.value, 0),
            "" if state.concentration is None else percent(state.concentration.value),
        )
        if said
    )
    wanted = litres(volume_at(plan.tank, plan.levels.target), 0)
    return (
        f"The top-up that was due is not finished: {known}, of {wanted} and "
        f"{percent(plan.fluid.target)} wanted."
    )


def trust(state: SumpState, plan: SumpPlan) -> tuple[str, ...]:
    """Say which evidence is not good, and whether the holdup [L] is in the numbers."""
    said = [
        f"The {signal} signal {_TRUST[quality]}."
        for signal in (Signal.LEVEL, Signal.BRIX)
        if (quality := state.qualities.get(signal, Quality.ABSENT)) in _TRUST
    ]
    if state.running:
        said.append(_running(state, plan))
    return tuple(said)


def _running(state: SumpState, plan: SumpPlan) -> str:
    """Say how much is up in the machine. [L]"""
    if state.holdup is not None:
        up = f"about {litres_sd(state.holdup, 0)}"
    elif plan.holdup is not None:
        up = f"about {litres(plan.holdup, 0)}"
    else:
        up = "a holdup not known yet"
    return f"The pumps run; the volume includes what is up in the machine, {up}."


def _unsure_volume(state: SumpState) -> str:
    """Say how little the volume is known. [L]"""
    volume = state.volume
    known = litres_sd(volume, 0) if volume else "unknown"
    return (
        f"The volume is too uncertain to dose by, {known}: "
        "measure the depth with a dipstick, pumps stopped."
    )


def _unsure_concentration(state: SumpState, plan: SumpPlan) -> str:
    """Say how little the concentration [1] is known."""
    strength = state.concentration
    known = percent_sd(strength, 1) if strength else "unknown"
    low, high = percent(plan.fluid.band_low), percent(plan.fluid.band_high)
    return (
        f"The concentration is too uncertain to dose by, {known} in a band of {low} to {high}: "
        "check it with a handheld refractometer."
    )


def _standing(state: SumpState, plan: SumpPlan) -> tuple[str, ...]:
    """Say level [mm] and concentration [1], and what they would have to be for a top-up."""
    said = []
    levels = plan.levels
    if state.rest_depth is not None:
        said.append(
            f"Level {number(state.rest_depth.value, 0)} mm with everything drained back "
            f"(target {number(levels.target, 0)} mm); "
            f"a top-up is due under {number(levels.top_up, 0)} mm."
        )
    if state.concentration is not None:
        low, high = inner_band(plan)
        said.append(
            f"Concentration {percent(state.concentration.value)}; the inner half of the band is "
            f"{percent(low)} to {percent(high)}."
        )
    return tuple(said)


def _no_room(plan: SumpPlan) -> str:
    """Say that a correction waits until a vessel fits. [L]"""
    fill = litres(smallest_fill(plan))
    return (
        f"No whole vessel ({fill}) fits under the target level yet; corrected at the next top-up."
    )
