"""The estimator as a whole: honest, pure, restartable, and silent where nothing tells."""

import hashlib
import json
import math
import random
from functools import cache
from statistics import fmean

import pytest
from pydantic import TypeAdapter

from advisor.estimate import SCHEMA, Belief, absorb, begin, state_at
from advisor.words import (
    DAY,
    HOUR,
    MINUTE,
    Addition,
    Charge,
    Check,
    CheckKind,
    Delivery,
    Drain,
    Evidence,
    Quality,
    Reading,
    Service,
    Signal,
    SumpState,
)
from tests.advisor.truth import BEGIN, Truth, live, plan, unlike

CODEC = TypeAdapter(Belief)
SHAPES = {4: "e5f2a7b46a0fd934"}
"""Hash of the belief's JSON schema, by version."""
SEEDS = range(10)


def fold(evidence: list[Evidence], belief: Belief | None = None) -> Belief:
    """All the evidence, one after another."""
    belief = begin(plan()) if belief is None else belief
    for item in evidence:
        belief = absorb(belief, item, plan())
    return belief


@cache
def followed(seed: int) -> tuple[Truth, tuple[SumpState, ...]]:
    """A life with its own tank and instruments, and what was told at every hour of it."""
    truth, evidence = live(unlike(seed, days=4.0, reported=seed % 2 == 0))
    belief, states, hours = begin(plan()), [], iter(truth.hours)
    hour = next(hours)
    for item in evidence:
        if hour is not None and item.at > hour:
            states.append(state_at(belief, hour, plan()))
            hour = next(hours, None)
        belief = absorb(belief, item, plan())
    return truth, tuple(states)


def misses(quantity: str) -> list[tuple[float, float]]:
    """Error and sd at every sixth hour of all lives, for one quantity."""
    found = []
    for seed in SEEDS:
        truth, states = followed(seed)
        for k in range(6, len(states), 6):
            told = _told(quantity, states[k], truth, k)
            if told is not None:
                found.append(told)
    return found


def _told(quantity: str, state: SumpState, truth: Truth, k: int) -> tuple[float, float] | None:
    """Error and sd of one quantity at one hour; nothing where it was not told."""
    volume, solute = truth.volume[k], truth.concentrate[k]
    lost_water = truth.lost_water
    cases = {
        "volume": (state.volume, volume),
        "concentration": (state.concentration, solute / volume),
        "lost water": (state.lost and state.lost.water, lost_water[k]),
        "lost concentrate": (state.lost and state.lost.concentrate, truth.lost_concentrate[k]),
    }
    if k >= 24:
        cases["water a day"] = (state.losses.water, lost_water[k] - lost_water[k - 24])
        day = truth.lost_concentrate[k] - truth.lost_concentrate[k - 24]
        cases["concentrate a day"] = (state.losses.concentrate, day)
    estimate, true = cases.get(quantity, (None, 0.0))
    return None if estimate is None else (estimate.value - true, estimate.sd)


QUANTITIES = [
    "volume",
    "concentration",
    "lost water",
    "lost concentrate",
    "water a day",
    "concentrate a day",
]


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_truth_lies_within_two_sds(quantity):
    """Over lives that differ in tank, factor, offset and waves, 2 sd hold the truth as they say."""
    found = misses(quantity)

    within = fmean(abs(error) <= 2.0 * sd for error, sd in found)
    squares = fmean((error / sd) ** 2 for error, sd in found)

    assert within >= 0.88, f"{within:.3f} of {len(found)}"
    assert 0.1 <= squares <= 2.0, f"mean squared z {squares:.2f}"


def test_sds_are_no_larger_than_they_need_be():
    """After three days a daily loss of water is known to 2 L and of concentrate to 0.3 L."""
    states = [followed(seed)[1][-1] for seed in SEEDS]

    assert fmean(state.losses.water.sd for state in states) < 2.0
    assert fmean(state.losses.concentrate.sd for state in states) < 0.3


def test_losses_follow_the_window():
    """The window is as long as the data at first and a day at most."""
    _, states = followed(0)
    lengths = [state.losses.window_h for state in states]

    assert lengths[0] == 0.0
    assert lengths[6] == pytest.approx(6.0, abs=0.4)
    assert lengths[-1] == pytest.approx(24.0)


def test_totals_balance():
    """Water and concentrate added, less lost and drained, is what the fluid gained."""
    truth, states = followed(2)
    first, last = states[1], states[-1]
    gain = last.volume.value - first.volume.value

    moved = sum(
        getattr(last.added, part).value - getattr(first.added, part).value
        - getattr(last.lost, part).value + getattr(first.lost, part).value
        for part in ("water", "concentrate")
    )  # fmt: skip

    # Later evidence moves what is thought of the first volume, by its sd at most.
    assert gain == pytest.approx(moved, abs=first.volume.sd)
    assert len(truth.poured) >= 2


def test_a_belief_is_a_value():
    """Taking something in leaves the old belief as it was: folding from it again gives the same."""
    _, evidence = live(unlike(5, days=0.5))
    half = len(evidence) // 2
    middle = fold(evidence[:half])
    before = CODEC.dump_json(middle)

    one, other = fold(evidence[half:], middle), fold(evidence[half:], middle)

    assert one == other
    assert CODEC.dump_json(middle) == before


@pytest.mark.parametrize("share", [0.0, 0.21, 0.5, 0.83, 1.0])
def test_stopping_anywhere_equals_going_on(share):
    """A belief stored as JSON and restored goes on exactly as if nothing had happened."""
    _, evidence = live(unlike(6, days=0.6))
    cut = int(share * len(evidence))
    middle = fold(evidence[:cut])

    restored = CODEC.validate_json(CODEC.dump_json(middle))

    assert restored == middle
    assert fold(evidence[cut:], restored) == fold(evidence[cut:], middle)


def test_a_belief_does_not_grow():
    """What is kept of a sump after four days is what is kept after one, and bounded."""
    sizes = []
    for days in (1.0, 4.0):
        _, evidence = live(unlike(7, days=days, per_day=6.0, reported=False))
        sizes.append(len(CODEC.dump_json(fold(evidence))))

    assert sizes[1] < 1.25 * sizes[0] + 10_000
    assert sizes[1] < 250_000


def test_nothing_told_is_nothing_known():
    """Before any evidence all estimates are None, and so is what hangs on them."""
    state = state_at(begin(plan()), BEGIN, plan())

    assert state.volume is None
    assert state.concentration is None
    assert state.rest_depth is None
    assert state.lost is None
    assert state.losses.water is None
    assert state.running is None
    assert state.events == ()
    assert begin(plan()).schema == SCHEMA


def test_looking_changes_nothing():
    """Asking for a state leaves the belief as it is and gives the same each time."""
    _, evidence = live(unlike(8, days=0.3))
    belief = fold(evidence)
    before = CODEC.dump_json(belief)

    one = state_at(belief, belief.at + 20 * MINUTE, plan())

    assert one == state_at(belief, belief.at + 20 * MINUTE, plan())
    assert CODEC.dump_json(belief) == before


def test_a_sump_without_sensors_is_carried_by_people():
    """Dipsticks and reported additions carry the volume, titrations the concentration."""
    bare = plan(signals={})
    evidence: list[Evidence] = [
        Check(at=BEGIN, id="d0", kind=CheckKind.DIPSTICK, value=320.0),
        Check(at=BEGIN, id="t0", kind=CheckKind.TITRATION, value=0.08),
        Addition(at=BEGIN + DAY, id="a1", water=20.0, concentrate=1.0),
        Check(at=BEGIN + 2 * DAY, id="d2", kind=CheckKind.DIPSTICK, value=310.0),
    ]
    belief = begin(bare)
    for item in evidence:
        belief = absorb(belief, item, bare)

    state = state_at(belief, BEGIN + 2 * DAY, bare)

    assert state.volume.value == pytest.approx(310.0 * 1.05, abs=8.0)
    assert state.added.water.value == pytest.approx(20.0, abs=1.0)
    assert state.lost.water.value == pytest.approx(30.0, abs=6.0)
    assert state.qualities[Signal.LEVEL] is Quality.ABSENT


def test_uncertainty_grows_while_nothing_is_heard():
    """The sd of the volume after a silent week is larger than before it."""
    _, evidence = live(unlike(9, days=1.0))
    belief = fold(evidence)
    later = absorb(belief, Service(at=belief.at + 7 * DAY, id="s", kind="prism-cleaned"), plan())

    assert (
        state_at(later, later.at, plan()).volume.sd
        > 1.2 * state_at(belief, belief.at, plan()).volume.sd
    )


def test_a_titration_tells_what_the_refractometer_cannot():
    """One titration a day takes the shared bias out: the sd of the concentration halves."""
    sds = []
    for checks in (False, True):
        _, evidence = live(unlike(10, days=3.0, checks=checks))
        belief = fold(evidence)
        sds.append(state_at(belief, belief.at, plan()).concentration.sd)

    assert sds[1] < 0.6 * sds[0]


def test_a_charge_begins_the_accounts_anew():
    """Evidence is off while charging; afterwards volume and totals are the charge's."""
    _, evidence = live(unlike(11, days=0.5))
    belief = fold(evidence)
    at = belief.at + MINUTE
    for stage, minutes, amounts in (
        ("begun", 0, (None, None)),
        ("filled", 120, (368.0, 32.0)),
        ("done", 180, (None, None)),
    ):
        entry = Charge(
            at=at + minutes * MINUTE, id=stage, stage=stage, water=amounts[0],
            concentrate=amounts[1],
        )  # fmt: skip
        belief = absorb(belief, entry, plan())
        if stage == "begun":
            assert state_at(belief, belief.at, plan()).charging
            for k in range(30):
                hanging = Reading(at + (k + 1) * MINUTE, Signal.LEVEL, 3.0)
                belief = absorb(belief, hanging, plan())

    state = state_at(belief, belief.at, plan())

    assert not state.charging
    assert state.volume.value == pytest.approx(400.0, abs=10.0)
    assert state.concentration.value == pytest.approx(0.08, abs=0.004)
    assert state.lost.since == at + 180 * MINUTE
    assert state.lost.water.value == pytest.approx(0.0, abs=0.2)
    assert state.events[-1].kind == "charge"


def test_holdup_is_learned_from_pump_starts():
    """After two days of starts and stops a holdup that was not told is known to 3 L."""
    unknown = plan(holdup=None)
    _, evidence = live(unlike(12, days=2.0, holdup=28.0))
    belief = begin(unknown)
    for item in evidence:
        belief = absorb(belief, item, unknown)

    holdup = state_at(belief, belief.at, unknown).holdup

    assert holdup.value == pytest.approx(28.0, abs=max(3.0 * holdup.sd, 1.0))
    assert holdup.sd < 3.0


def test_states_are_told_at_the_moment_asked_for():
    """The volume goes on falling between the last slot and the moment asked for."""
    _, evidence = live(unlike(13, days=1.2))
    belief = fold(evidence)

    near, far = (state_at(belief, belief.at + k * HOUR, plan()).volume.value for k in (0, 10))

    assert far < near


def _anything(dice: random.Random, at: int, number: int) -> Evidence:
    """One piece of evidence of any kind, sound or wild."""
    level = dice.choice((300.0 + dice.gauss(0.0, 3.0), 300.0, 0.0, dice.uniform(0.0, 900.0), 1e6))
    return dice.choice(
        (
            Reading(at, Signal.LEVEL, level),
            Reading(at, Signal.LEVEL, 300.0 + dice.gauss(0.0, 2.0)),
            Reading(at, Signal.BRIX, dice.choice((6.4, 0.0, dice.uniform(0.0, 60.0)))),
            Reading(at, Signal.RUNNING, float(dice.random() < 0.5)),
            Reading(at, Signal.TEMPERATURE, dice.uniform(-20.0, 90.0)),
            Addition(at=at, id=f"a{number}", water=dice.choice((0.0, 500.0)), concentrate=1.0),
            Drain(at=at, id=f"d{number}", volume=dice.uniform(0.0, 600.0)),
            Drain(at=at, id=f"e{number}", everything=True),
            Charge(at=at, id=f"c{number}", stage=dice.choice(("begun", "filled", "done"))),
            Check(at=at, id=f"k{number}", kind=dice.choice(tuple(CheckKind)), value=0.3),
            Service(at=at, id=f"s{number}", kind="skimmed"),
            Delivery(at=at, setpoint="x", water=dice.uniform(0, 50), concentrate=1, finished=True),
        )
    )


@pytest.mark.parametrize("seed", range(6))
def test_whatever_comes_the_answer_is_finite_and_storable(seed):
    """No order of sound and wild evidence brings an error, an infinity or a negative sd."""
    dice, belief, at = random.Random(seed), begin(plan()), BEGIN
    for number in range(300):
        at += dice.choice((0, 1_000, MINUTE, MINUTE, HOUR, 3 * DAY))
        belief = absorb(belief, _anything(dice, at, number), plan())
        state = state_at(belief, belief.at, plan())
        for estimate in (state.volume, state.concentration, state.losses.water, state.holdup):
            assert estimate is None or (math.isfinite(estimate.value) and 0 <= estimate.sd < 1e12)

    assert CODEC.validate_json(CODEC.dump_json(belief)) == belief


@pytest.mark.parametrize("interval", [20_000, MINUTE, 2 * MINUTE])
def test_the_first_estimates_come_within_two_intervals_and_a_minute(interval):
    """Volume and concentration are told soon after the first readings, with wide sds."""
    belief, first = begin(plan()), None
    evidence = [Reading(BEGIN, Signal.RUNNING, 1.0)]
    for at in range(BEGIN, BEGIN + 8 * MINUTE, interval):
        evidence += [Reading(at, Signal.LEVEL, 285.0), Reading(at, Signal.BRIX, 6.5)]
    for item in evidence:
        belief = absorb(belief, item, plan())
        state = state_at(belief, belief.at, plan())
        if first is None and state.volume is not None and state.concentration is not None:
            first = belief.at
            volume, concentration = state.volume, state.concentration

    # Pumps that were just heard of may just have started: the level waits until they filled up.
    assert first - BEGIN <= 80_000 + MINUTE + 2 * interval
    assert abs(volume.value - (285.0 * 1.05 + 35.0)) < 2.0 * volume.sd
    assert abs(concentration.value - 0.08) < 2.0 * concentration.sd


@pytest.mark.parametrize("seed", range(4))
def test_what_moves_at_the_very_beginning_is_no_event(seed):
    """Holdup that drains back, or a pouring that goes on, when listening begins is no event."""
    dice = random.Random(seed)
    belief = begin(plan())
    belief = absorb(belief, Reading(BEGIN, Signal.RUNNING, 0.0), plan())
    for k in range(240):
        back = 35.0 * (1.0 - 2.0 ** (-k / 6.0)) if seed % 2 else 20.0 * (k > 3)
        depth = (290.0 + back) / 1.05 + dice.gauss(0.0, 1.0)
        belief = absorb(belief, Reading(BEGIN + k * MINUTE // 2, Signal.LEVEL, depth), plan())
    state = state_at(belief, belief.at, plan())

    assert [event for event in state.events if event.kind != "withdrawn"] == []
    assert abs(state.volume.value - (290.0 + back)) < 2.0 * state.volume.sd
    assert abs(state.lost.water.value) < 2.0 * state.lost.water.sd + 1.0


def test_another_shape_of_the_belief_has_another_version():
    """Whoever changes what a belief holds also raises `SCHEMA`, so that no old one is restored."""
    shape = json.dumps(CODEC.json_schema(mode="serialization"), sort_keys=True)

    assert {SCHEMA: hashlib.sha256(_undescribed(shape)).hexdigest()[:16]} == SHAPES


def _undescribed(shape: str) -> bytes:
    """A JSON schema without what is only said for people."""

    def plain(node: object) -> object:
        if isinstance(node, dict):
            return {k: plain(v) for k, v in node.items() if k != "description"}
        return [plain(v) for v in node] if isinstance(node, list) else node

    return json.dumps(plain(json.loads(shape)), sort_keys=True).encode()


def test_usual_intervals_are_learned_and_pauses_count_little():
    """Level once a minute and Brix every five: known after some dozens, also past a weekend."""
    belief, at = begin(plan()), BEGIN
    for n in range(300):
        at += MINUTE
        belief = absorb(belief, Reading(at, Signal.LEVEL, 300.0 + n % 3), plan())
        if n % 5 == 0:
            belief = absorb(belief, Reading(at, Signal.BRIX, 6.4 + 0.1 * (n % 2)), plan())
    known = state_at(belief, at, plan()).intervals
    later = absorb(belief, Reading(at + 2 * DAY, Signal.LEVEL, 300.0), plan())

    assert known[Signal.LEVEL] == pytest.approx(60.0, rel=0.02)
    assert known[Signal.BRIX] == pytest.approx(300.0, rel=0.02)
    assert state_at(later, later.at, plan()).intervals[Signal.LEVEL] < 90.0
    assert set(state_at(begin(plan()), BEGIN, plan()).intervals) == set()
