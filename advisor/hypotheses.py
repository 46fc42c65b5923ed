r"""Steps that nobody told of: what each would have done to the filter, had it begun at a moment.

For every suspected beginning the bank carries, through the same predictions and gains as the
filter, the effect of one litre of water, one litre of concentrate, one millimetre of level error
and one degree of Brix error. Against the filter's whitened surprises these give, at any time, the
likelihood ratio of each step against none, its most likely size, and the correction that makes the
filter what it would be had it known: the generalised likelihood ratio test of Willsky and Jones.

References
----------
.. [1] A. S. Willsky and H. L. Jones, "A generalized likelihood ratio approach to the detection and
   estimation of jumps in linear systems", IEEE Trans. Automatic Control 21 (1976) 108-112.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from advisor import states as s
from advisor.filter_step import Matrix, Vector, pack, unpack
from advisor.words import Instant

WAYS = 6
"""Rows of one beginning: water, concentrate, level error, Brix error, and rates of loss of water
and of concentrate. [1]"""
RATES = 4
"""The first of the rates among them. [1]"""
RECENT = 8
"""Places for the newest slots. [1]"""
STARTS = 2
"""Places for the newest pump starts: what was poured then shows when the pumps stop. [1]"""
BEGINNINGS = RECENT + STARTS
"""Beginnings that are suspected at the same time. [1]"""
ROWS = WAYS * BEGINNINGS
_SIGNATURES = ROWS * s.SIZE
_SCORES = 2 * ROWS + 2 * BEGINNINGS

Kind: TypeAlias = Literal["addition", "drain", "level", "brix", "leak", "ingress"]


@dataclass(frozen=True, slots=True)
class Expected:
    """How often a step of a kind happens, and how large it then is."""

    per_day: float
    size: float
    """Its expectation and spread. [L], [mm], [°Brix], [L/d]"""
    strength: float = 0.0
    strength_sd: float = 0.0
    """Of an addition. [1]"""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The likeliest step."""

    kind: Kind
    place: int
    """Of its beginning in the bank."""
    odds: float
    """Logarithm of the posterior odds of this step against none. [1]"""
    size: Vector
    """Water and concentrate [L] or their rates [L/d], or the instrument's step [mm], [°Brix]."""
    spread: Matrix
    """Covariance of `size`."""


class Bank:
    """Suspected beginnings with their signatures; unpacked beside the filter, changed in place."""

    __slots__ = ("begun", "cross", "info", "rows", "scores")

    def __init__(self, packed: bytes, begun: tuple[Instant, ...]) -> None:
        self.begun = list(begun)
        flat = unpack(packed) if packed else np.zeros(_SIGNATURES + _SCORES)
        self.rows: Matrix = flat[:_SIGNATURES].reshape(ROWS, s.SIZE)
        self.scores: Vector = flat[_SIGNATURES : _SIGNATURES + ROWS]
        rest = flat[_SIGNATURES + ROWS :]
        self.info: Vector = rest[: WAYS * BEGINNINGS]
        self.cross: Matrix = rest[WAYS * BEGINNINGS :].reshape(BEGINNINGS, 2)

    def stirred(self) -> float:
        """Give the largest squared z of any single row: a bound on what a step can explain. [1]"""
        ratio = self.scores * self.scores / np.maximum(self.info, 1e-12)
        return float(ratio[self._used()].max(initial=0.0))

    def _used(self) -> Vector:
        """Give which rows belong to a beginning in use."""
        return np.repeat(np.array(self.begun) >= 0, WAYS)

    def packed(self) -> bytes:
        """Give the bank as a plain value again."""
        return pack(np.concatenate((self.rows.ravel(), self.scores, self.info, self.cross.ravel())))

    def clear(self) -> None:
        """Suspect nothing of the past any more."""
        self.begun = [-1] * BEGINNINGS

    def begin(self, at: Instant, *, at_start: bool) -> None:
        """Suspect a beginning at this moment; the oldest of its sort gives way. [ms]"""
        places = range(RECENT, BEGINNINGS) if at_start else range(RECENT)
        place = min(places, key=self.begun.__getitem__)
        self.begun[place] = at
        first = WAYS * place
        self.rows[first : first + WAYS] = _UNITS
        self.scores[first : first + WAYS] = 0.0
        self.info[first : first + WAYS] = 0.0
        self.cross[place] = 0.0

    def move(self, block: Matrix, decay: Vector) -> None:
        """Carry the signatures through a prediction of the filter."""
        m = len(block)
        self.rows[:, :m] = self.rows[:, :m] @ block.T
        self.rows *= decay

    def learn(
        self, places: list[int], weights: Vector, gain: Vector, surprise: float, variance: float
    ) -> None:
        """Carry the signatures through an update of the filter, and score its surprise."""
        seen = self.rows[:, places] @ weights
        self.rows -= np.multiply.outer(seen, gain)
        told = seen / variance
        self.scores += told * surprise
        self.info += told * seen
        self.cross[:, 0] += told[0::WAYS] * seen[1::WAYS]
        self.cross[:, 1] += told[RATES::WAYS] * seen[RATES + 1 :: WAYS]


_UNITS = np.zeros((WAYS, s.SIZE))
_UNITS[0, s.V] = 1.0
_UNITS[1, s.V] = _UNITS[1, s.C] = 1.0
_UNITS[2, s.SHIFT] = 1.0
_UNITS[3, s.FILM] = 1.0
_UNITS[4, s.WATER_REST] = 1.0
_UNITS[5, s.CONCENTRATE_REST] = 1.0


def weigh_addition(bank: Bank, told: Expected, days: float) -> Verdict | None:
    r"""Give the likeliest beginning of an addition.

    With score :math:`d`, information :math:`J` and the prior's expectation :math:`\mu` and
    precision :math:`\Pi`, the logarithm of the Bayes factor is
    :math:`\tfrac12 (d + \Pi\mu)^T (J + \Pi)^{-1} (d + \Pi\mu) - \tfrac12 \mu^T\Pi\mu
    + \tfrac12 \log(|\Pi| / |J + \Pi|)`.

    Parameters
    ----------
    bank : Bank
        Suspected beginnings. [L]
    told : Expected
        How often and how large. [L], [1]
    days : float
        Time that one beginning stands for. [d]
    """
    a, b, c = bank.info[0::WAYS], bank.cross[:, 0], bank.info[1::WAYS]
    x, y = bank.scores[0::WAYS], bank.scores[1::WAYS]
    size, w = told.size, told.strength
    likely = np.maximum(x / np.maximum(a, 1e-9), size)
    along, across = 1.0 / size**2, 1.0 / (likely * told.strength_sd) ** 2
    # Precision in (water, concentrate) of volume and strength, each with its own spread.
    pa = along + across * w * w
    pb = along - across * w * (1.0 - w)
    pc = along + across * (1.0 - w) ** 2
    mx, my = size * (1.0 - w), size * w
    u, v = x + pa * mx + pb * my, y + pb * mx + pc * my
    qa, qb, qc = a + pa, b + pb, c + pc
    det = qa * qc - qb * qb
    gain = (qc * u * u - 2.0 * qb * u * v + qa * v * v) / det
    prior = mx * (pa * mx + pb * my) + my * (pb * mx + pc * my)
    odds = 0.5 * (gain - prior + np.log((pa * pc - pb * pb) / det)) + math.log(told.per_day * days)
    k = _best(bank, odds)
    if k is None:
        return None
    spread = np.array(((qc[k], -qb[k]), (-qb[k], qa[k]))) / det[k]
    return Verdict("addition", k, float(odds[k]), spread @ np.array((u[k], v[k])), spread)


_USED: dict[Kind, Callable[[Vector], Vector]] = {
    "drain": lambda line: line[:2],
    "leak": lambda line: line[RATES:],
    "ingress": lambda line: line[RATES:],
    "level": lambda line: line[2:3],
    "brix": lambda line: line[3:4],
}
"""The part of a direction that an amount is told of."""


def weigh_line(
    bank: Bank, kind: Kind, direction: tuple[float, ...], told: Expected, days: float
) -> Verdict | None:
    """Give the likeliest beginning of a step along one direction of the ways.

    `told.size` is the spread about nothing; `days` the time that one beginning stands for. [d]
    """
    line = np.array(direction)
    scores = bank.scores.reshape(BEGINNINGS, WAYS) @ line
    info = bank.info.reshape(BEGINNINGS, WAYS) @ (line * line)
    info += 2.0 * line[0] * line[1] * bank.cross[:, 0]
    info += 2.0 * line[RATES] * line[RATES + 1] * bank.cross[:, 1]
    precision = 1.0 / told.size**2
    whole = info + precision
    odds = 0.5 * (scores * scores / whole + np.log(precision / whole))
    odds += math.log(told.per_day * days)
    k = _best(bank, odds)
    if k is None:
        return None
    size, variance = scores[k] / whole[k], 1.0 / whole[k]
    used = _USED[kind](line)
    return Verdict(kind, k, float(odds[k]), used * size, np.outer(used, used) * variance)


def _best(bank: Bank, odds: Vector) -> int | None:
    """Give the likeliest of the beginnings in use."""
    used = [(odds[k], k) for k, at in enumerate(bank.begun) if at >= 0]
    return max(used)[1] if used else None
