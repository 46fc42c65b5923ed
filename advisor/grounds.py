"""Why a sump is left alone or measured first, and how far the evidence can be trusted."""

from advisor.lookahead import inner_band
from advisor.plan import SumpPlan
from advisor.situation import Situation
from advisor.vessels import smallest_fill
from advisor.wording import litres, number, percent
from advisor.words import Quality, Signal, SumpState

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
        up = f"about {litres(state.holdup.value, 0)} (sd {litres(state.holdup.sd, 0)})"
    elif plan.holdup is not None:
        up = f"about {litres(plan.holdup, 0)}"
    else:
        up = "a holdup not known yet"
    return f"The pumps run; the volume includes what is up in the machine, {up}."


def _unsure_volume(state: SumpState) -> str:
    """Say how little the volume is known. [L]"""
    volume = state.volume
    known = f"{litres(volume.value, 0)}, sd {litres(volume.sd, 0)}" if volume else "unknown"
    return (
        f"The volume is too uncertain to dose by ({known}): "
        "measure the depth with a dipstick, pumps stopped."
    )


def _unsure_concentration(state: SumpState, plan: SumpPlan) -> str:
    """Say how little the concentration [1] is known."""
    strength = state.concentration
    known = f"{percent(strength.value, 1)}, sd {percent(strength.sd, 1)}" if strength else "unknown"
    low, high = percent(plan.fluid.band_low), percent(plan.fluid.band_high)
    return (
        f"The concentration is too uncertain to dose by ({known}; band {low} to {high}): "
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
