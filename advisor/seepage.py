r"""A leak of a few litres a day: a sequential test on what a sump loses while its pumps stand.

At rest a sump loses little: some evaporation, and nothing on chips and parts. So a leak too small
to show beside a day's losses shows at night and over weekends, as a steady fall of the level that
was not there before. Each stretch of rest gives a rate with an sd, by regression. Page's test sums
the log likelihood ratios of a leak of `SOUGHT` against what is usual:

.. math:: S \leftarrow \max\left(0,\; S + \frac{\delta (x - \delta / 2)}{\sigma^2}\right)

and calls it from `CALLED` on. Without a leak the mean number of stretches until then is at least
:math:`e^{CALLED}`, that is `RARELY`: with one or two stretches a day once in a year or two, for
normal scatter; no single stretch says more than `MOST_SAID`. Evaporation may grow too; a leak takes
concentrate along and evaporation does not, so that the loss of concentrate must have grown as well.

References
----------
.. [1] E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115.
.. [2] G. Lorden, "Procedures for reacting to a change in distribution", Ann. Math. Statist. 42
   (1971) 1897-1908: the bound on the mean time between false alarms.
"""

import math
from typing import NamedTuple

from advisor.words import HOUR, MINUTE, Instant, days_between

SOUGHT = 0.0125
"""Leak that is looked for, of the volume aimed for. [1/d]"""
CALLED = 6.5
"""Sum of log likelihood ratios from which on it is called a leak. [1]"""
KEPT = 0.5 * CALLED
"""... and under which it is over. [1]"""
MOST_SAID = 2.5
"""Log likelihood ratio of one stretch, at most: it takes three of them. [1]"""
MOST = CALLED + 2.0
"""The sum grows no further, so that it comes down within days once a leak is mended. [1]"""
RARELY = math.exp(CALLED)
"""Least mean number of stretches until one is called falsely: 665. [1]"""
SETTLED: Instant = 45 * MINUTE
"""After a stop it takes so long until all has drained back, common practice. [ms]"""
LONGEST: Instant = 8 * HOUR
SHORTEST: Instant = 3 * HOUR
"""Lengths of one stretch. [ms]"""
LEAST_SLOTS = 6
CORRELATED = 3.0
"""Foam and swell make three slots as good as one, common practice. [1]"""
GAP: Instant = HOUR
"""Without readings for so long a stretch ends. [ms]"""
VARIES = 0.3
"""Sd of what is usual from one stretch to the next, of itself: weather, warmth. [1]"""
VARIES_LEAST = 0.0025
"""... and at least, of the volume aimed for. [1/d]"""
TAKEN_ALONG = 0.4
"""So much of the concentrate in a leak must show, for it to be no evaporation. [1]"""
LEARNED = 3
"""Stretches from which on it is known what is usual. [1]"""
BELIEVED = 3.0
"""For so many stretches the sd that was expected counts beside the one found. [1]"""
CLIP = 2.5
"""A stretch tells at most so many sds of how much stretches differ: a leak is no scatter. [1]"""
REMEMBERED = 20.0
"""Over so many stretches is averaged. [1]"""


class Rest(NamedTuple):
    """Sums for a line through the volumes of one stretch of rest."""

    begin: Instant = -1
    """-1: none. [ms]"""
    last: Instant = -1
    slots: int = 0
    first: float = 0.0
    """Volume at the beginning; the sums are of what is less since. [L]"""
    t: float = 0.0
    """[d]"""
    y: float = 0.0
    """[L]"""
    tt: float = 0.0
    ty: float = 0.0
    yy: float = 0.0


NO_REST = Rest()


class Seepage(NamedTuple):
    """What is lost at rest: as usual, and what speaks for a leak."""

    rest: Rest = NO_REST
    stretches: int = 0
    usual: float = 0.0
    """[L/d]"""
    scatter: float = 0.0
    """Mean square of what stretches differ from it. [L²/d²]"""
    score: float = 0.0
    """Of Page's test. [1]"""
    since: Instant = -1
    """When the present suspicion began; -1: there is none. [ms]"""
    concentrate: float = 0.0
    """Loss of concentrate before it began. [L/d]"""
    rate: float = 0.0
    """What was lost at rest beyond the usual, in the mean since then. [L/d]"""


DRY = Seepage()


def take_volume(rest: Rest, at: Instant, volume: float) -> Rest:
    """Take in the volume of a slot at rest. [ms], [L]"""
    if rest.begin < 0 or at - rest.last > GAP:
        return Rest(at, at, 1, volume)
    t, y = days_between(rest.begin, at), rest.first - volume
    return Rest(
        rest.begin,
        at,
        rest.slots + 1,
        rest.first,
        rest.t + t,
        rest.y + y,
        rest.tt + t * t,
        rest.ty + t * y,
        rest.yy + y * y,
    )


def rate_of(rest: Rest) -> tuple[float, float] | None:
    """Give the loss of a stretch and its variance; `None`: too short. [L/d], [L²/d²]

    The line's standard error, with a variance `CORRELATED` times that of independent slots.
    """
    if rest.last - rest.begin < SHORTEST or rest.slots < LEAST_SLOTS:
        return None
    spread = rest.tt - rest.t * rest.t / rest.slots
    along = rest.ty - rest.t * rest.y / rest.slots
    about = rest.yy - rest.y * rest.y / rest.slots - along * along / spread
    return along / spread, CORRELATED * max(about, 0.0) / (rest.slots - 2) / spread


def judge_stretch(
    seepage: Seepage, rate: tuple[float, float], target: float, concentrate: float
) -> Seepage:
    """Take in the loss of one stretch of rest and its variance. [L/d], [L²/d²]

    `target` is the volume aimed for [L], `concentrate` the present loss of concentrate [L/d].
    """
    loss, variance = rate
    usual, stretches = seepage.usual, seepage.stretches
    if stretches < LEARNED:
        mean = usual + (loss - usual) / (stretches + 1)
        return seepage._replace(usual=max(mean, 0.0), stretches=stretches + 1, rest=NO_REST)
    sought, varies = SOUGHT * target, max(VARIES * usual, VARIES_LEAST * target)
    more, seen = loss - usual, min(stretches - LEARNED, REMEMBERED)
    expected = variance + varies * varies
    variance = (BELIEVED * expected + seen * seepage.scatter) / (BELIEVED + seen)
    least = (VARIES_LEAST * target) ** 2
    variance = max(variance, least)
    step = min(sought * (more - sought / 2.0) / variance, MOST_SAID)
    score = min(max(seepage.score + step, 0.0), MOST)
    known = max(seepage.scatter, varies * varies, least)
    square = min(more * more, (CLIP if score <= 0.0 else 1.0) ** 2 * known)
    after = seepage._replace(
        rest=NO_REST,
        stretches=stretches + 1,
        scatter=seepage.scatter + (square - seepage.scatter) / (seen + 1.0),
        score=score,
    )
    if score <= 0.0:
        held = seepage.concentrate
        return after._replace(
            usual=max(usual + more / min(stretches + 1.0, REMEMBERED), 0.0),
            since=-1,
            concentrate=concentrate if held <= 0.0 else held + 0.3 * (concentrate - held),
            rate=0.0,
        )
    began = seepage.since < 0
    return after._replace(
        since=seepage.rest.begin if began else seepage.since,
        rate=more if began else seepage.rate + 0.3 * (more - seepage.rate),
    )


def close_rest(seepage: Seepage, target: float, concentrate: float) -> Seepage:
    """End a stretch of rest: judge it, or drop it where it was too short."""
    rate = rate_of(seepage.rest)
    if rate is None:
        return seepage if seepage.rest is NO_REST else seepage._replace(rest=NO_REST)
    return judge_stretch(seepage, rate, target, concentrate)


def is_called(seepage: Seepage, *, before: bool, strength: float, concentrate: float) -> bool:
    """Whether mix seeps away: loss at rest has grown, and the loss of concentrate with it.

    Parameters
    ----------
    seepage : Seepage
        What was lost at rest. [L/d]
    before : bool
        Whether it was called a leak already.
    strength : float
        Concentration. [1]
    concentrate : float
        Present loss of concentrate. [L/d]
    """
    if seepage.score < (KEPT if before else CALLED):
        return False
    return before or concentrate - seepage.concentrate > TAKEN_ALONG * strength * seepage.rate
