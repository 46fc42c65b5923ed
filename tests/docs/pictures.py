"""Pictures of the balance, by the code they explain: `python -m tests.docs.pictures DIR`.

What is estimated comes from the estimator itself, over a sump whose truth is known: that of its
tests, with equations and steps of its own (`tests/advisor/truth.py`).
"""

import sys
from functools import cache
from pathlib import Path

from advisor.estimate import absorb, begin, state_at
from advisor.geometry import Box, LyingCylinder, Tank, UprightCylinder, height, volume_at
from advisor.words import DAY, HOUR, Estimate, Reading, Signal, SumpState
from simulators.svg import Mark, Panel, Point, Series, chart
from tests.advisor.truth import BEGIN, Life, Truth, live, plan
from tests.docs.plotting import Way, plot

BLUE, ORANGE, GREEN, RED, GREY = "#1f4e79", "#d98e3f", "#2a7f62", "#b3261e", "#6b6b6b"
SEED, DAYS = 3, 6.0

VOLUME, STRENGTH, LOST = 300.0, 0.08, 60.0
"""What the first picture begins with, and how much of each comes or goes. [L], [1], [L]"""


def drawn() -> dict[str, str]:
    """Every picture by its path under `docs/`."""
    return {
        "pictures/moves.svg": moves(),
        "pictures/tanks.svg": tanks(),
        "pictures/estimate.svg": estimate(),
        "pictures/knowing.svg": knowing(),
    }


def moves() -> str:
    """Where volume and concentration go with each thing that happens to a sump."""
    steps = [LOST * i / 60 for i in range(61)]
    solute = VOLUME * STRENGTH

    def way(label: str, colour: str, water: float, mix: float, strength: float) -> Way:
        points = [
            (
                VOLUME + (water + mix) * s,
                100.0 * (solute + mix * s * strength) / (VOLUME + (water + mix) * s),
            )
            for s in steps
        ]
        return Way(label, points, colour)

    return plot(
        "60 L of each, from 300 L at 8 %",
        "volume [L]",
        "concentration [%]",
        [
            way("evaporation", RED, -1.0, 0.0, 0.0),
            way("carry-off, leak, drain", GREY, 0.0, -1.0, STRENGTH),
            way("water added", BLUE, 1.0, 0.0, 0.0),
            way("mix of 2 % added", GREEN, 0.0, 1.0, 0.02),
            way("mix of 8 % added", ORANGE, 0.0, 1.0, STRENGTH),
        ],
    )


def tanks() -> str:
    """How much a depth means in tanks of different shape."""
    shapes: list[tuple[str, str, Tank]] = [
        ("box", BLUE, Box(length=1100.0, width=600.0, height=450.0)),
        ("lying cylinder", ORANGE, LyingCylinder(diameter=450.0, length=1600.0)),
        ("upright cylinder", GREEN, UprightCylinder(diameter=720.0, height=450.0)),
    ]
    return plot(
        "Depth and volume of three tanks",
        "depth [mm]",
        "volume [L]",
        [
            Way(label, [(d, volume_at(tank, d)) for d in _depths(height(tank))], colour)
            for label, colour, tank in shapes
        ],
    )


def _depths(brim: float) -> list[float]:
    """Depths from floor to brim. [mm]"""
    return [brim * i / 60 for i in range(61)]


def estimate() -> str:
    """Readings of some days, and what the estimator makes of them beside the truth."""
    truth, readings, states = told()
    hours = [_day(at) for at in truth.hours]
    marks = [Mark(_day(at), GREEN, f"{water + c:.0f} L") for at, water, c in truth.poured]
    true_volume = list(zip(hours, truth.volume, strict=True))
    strengths = [100.0 * c / v for c, v in zip(truth.concentrate, truth.volume, strict=True)]
    true_strength = list(zip(hours, strengths, strict=True))
    brix = [(x, y * 1.25) for x, y in readings[Signal.BRIX]]
    volumes = [(at, state.volume, 1.0) for at, state in states]
    shown = [(at, state.concentration, 100.0) for at, state in states]
    return chart(
        "A mill over some days: what the sensors say, what is made of it, and what is true",
        [
            Panel("level [mm]", [Series("readings", readings[Signal.LEVEL], ORANGE, dots=True)]),
            Panel(
                "volume [L]; upright lines: somebody poured",
                [*_ends(volumes), Series("truth", true_volume, RED)],
                marks,
            ),
            Panel(
                "concentration [%]",
                [
                    Series("Brix x factor", brix, ORANGE, dots=True),
                    *_ends(shown),
                    Series("truth", true_strength, RED),
                ],
                marks,
            ),
        ],
    )


def knowing() -> str:
    """How well the mean loss since the beginning is known, as days go by."""
    _, _, states = told()
    water: list[Point] = []
    concentrate: list[Point] = []
    for at, state in states:
        days = _day(at)
        if state.lost is not None and days >= 0.5:
            water.append((days, 2.0 * state.lost.water.sd / days))
            concentrate.append((days, 2.0 * state.lost.concentrate.sd / days))
    return chart(
        "Mean loss since the beginning: almost surely (19 of 20) no further off than this",
        [
            Panel("water, ± [L/day]", [Series("water", water, BLUE)]),
            Panel("concentrate, ± [L/day]", [Series("concentrate", concentrate, GREEN)]),
        ],
    )


def _ends(told: "list[tuple[int, Estimate | None, float]]") -> list[Series]:
    """Lines two sds under and over an estimate, and the estimate."""
    known = [(_day(at), e.value * size, 2.0 * e.sd * size) for at, e, size in told if e is not None]
    return [
        Series("estimate", [(x, y) for x, y, _ in known], BLUE),
        Series("2 sd under", [(x, y - sd) for x, y, sd in known], "#8fb0cf"),
        Series("2 sd over", [(x, y + sd) for x, y, sd in known], "#8fb0cf"),
    ]


def _day(at: int) -> float:
    """Days since the beginning. [d]"""
    return (at - BEGIN) / DAY


@cache
def told() -> "tuple[Truth, dict[Signal, list[Point]], list[tuple[int, SumpState]]]":
    """Truth, readings and what the estimator told at every second hour."""
    told_of = plan()
    truth, evidence = live(Life(seed=SEED, days=DAYS, interval=5 * 60_000))
    belief = begin(told_of)
    readings: dict[Signal, list[Point]] = {Signal.LEVEL: [], Signal.BRIX: [], Signal.RUNNING: []}
    states: list[tuple[int, SumpState]] = []
    due = BEGIN + 2 * HOUR
    for piece in evidence:
        if piece.at >= due:
            states.append((due, state_at(belief, due, told_of)))
            due += 2 * HOUR
        belief = absorb(belief, piece, told_of)
        if isinstance(piece, Reading):
            readings[piece.signal].append((_day(piece.at), piece.value))
    return truth, readings, states


if __name__ == "__main__":
    for name, text in drawn().items():
        path = Path(sys.argv[1]) / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
