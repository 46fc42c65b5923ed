"""Which published event is which true one, and how soon and how well it was told.

The rule: a published event can be a true one of the same direction (in: addition or charge; out:
drain) if it is said to have begun no earlier than half an hour before the first drop and no later
than half an hour after the last. Of all pairs that can be, the one whose beginnings lie closest is
taken first, then the next among what is left: each event of either side is used once. What is left
on the published side is false; so is an event that was published and withdrawn again, unless a true
one was there under another id. Emptying the sump is part of the charge that follows: it may be told
or not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from simulators.instants import MINUTE
from simulators.score.published import EventWord, Word
from simulators.score.told import Happening, Witness

TOLERANCE = 30 * MINUTE
_LEAST_L, _LEAST_SHARE = 10.0, 0.03
_SETTLED = 1.5
"""A strength counts as told once its sd is at most so much times the last one's."""


@dataclass(slots=True)
class Story:
    """All accounts of one published event."""

    id: str
    words: list[EventWord]

    @property
    def last(self) -> EventWord:
        """The newest account that is not a withdrawal, or the withdrawal if there is no other."""
        kept = [word for word in self.words if word.kind != "withdrawn"]
        return kept[-1] if kept else self.words[-1]

    @property
    def withdrawn(self) -> bool:
        """Whether it was taken back in the end."""
        return self.words[-1].kind == "withdrawn"

    @property
    def inflow(self) -> bool:
        """Whether something came in."""
        return self.last.kind != "drain"


@dataclass(frozen=True, slots=True)
class Found:
    """A true event, and what became of it. Delays in minutes, None where it was not told."""

    event: Happening
    large: bool
    told: bool
    source: str | None = None
    delay: float | None = None
    """From the first drop to the first account."""
    strength_delay: float | None = None
    """From the pumps running after the last drop to the first account of a settled strength."""
    volume: Word | None = None
    """Error and sd of the last account. [L]"""
    strength: Word | None = None
    """Error and sd. [1]"""


@dataclass(frozen=True, slots=True)
class Matched:
    """True events with what became of them, and the published ones that were none."""

    found: list[Found]
    false: list[Story]
    published: int
    """Ids, without those that repeat a true event and were withdrawn."""


def stories(words: Sequence[EventWord]) -> list[Story]:
    """Accounts by id, in the order of their first publication."""
    told: dict[str, Story] = {}
    for word in words:
        told.setdefault(word.id, Story(word.id, [])).words.append(word)
    return list(told.values())


def match(witness: Witness, words: Sequence[EventWord]) -> Matched:
    """Match what was published with what was true."""
    told = stories(words)
    standing = [story for story in told if not story.withdrawn]
    pairs = _pairs(witness.happenings, standing)
    used = {id(story) for story in pairs.values()}
    false = [story for story in standing if id(story) not in used]
    false += [
        story
        for story in told
        if story.withdrawn and not any(_can_be(event, story) for event in witness.happenings)
    ]
    least = max(_LEAST_L, _LEAST_SHARE * witness.brim)
    found = [
        _found(witness, event, pairs.get(i), large=event.volume >= least - 1e-6)
        for i, event in enumerate(witness.happenings)
        if not (event.all and i not in pairs)
    ]
    taken_back_false = sum(1 for story in false if story.withdrawn)
    return Matched(found, false, len(standing) + taken_back_false)


def _can_be(event: Happening, story: Story) -> bool:
    """Whether a published event can be this true one."""
    at = story.last.at
    if not event.at - TOLERANCE <= at <= event.until + TOLERANCE:
        return False
    return event.inflow == story.inflow


def _pairs(events: Sequence[Happening], told: Sequence[Story]) -> dict[int, Story]:
    """Closest beginnings first, each used once."""
    possible = sorted(
        (abs(story.last.at - event.at), i, j)
        for i, event in enumerate(events)
        for j, story in enumerate(told)
        if _can_be(event, story)
    )
    pairs: dict[int, Story] = {}
    used: set[int] = set()
    for _, i, j in possible:
        if i not in pairs and j not in used:
            pairs[i] = told[j]
            used.add(j)
    return pairs


def _found(witness: Witness, event: Happening, story: Story | None, *, large: bool) -> Found:
    """What became of one true event."""
    if story is None:
        return Found(event, large, told=False)
    last = story.last
    return Found(
        event=event,
        large=large,
        told=True,
        source=last.source,
        delay=max(story.words[0].clock - event.at, 0) / MINUTE,
        strength_delay=_strength_delay(witness, event, story),
        volume=_error(last.volume, event.volume),
        strength=_error(last.strength, event.strength) if event.inflow else None,
    )


def _error(word: Word | None, true: float) -> Word | None:
    """Error and sd of an estimate, in its unit."""
    return None if word is None else (word[0] - true, word[1])


def _strength_delay(witness: Witness, event: Happening, story: Story) -> float | None:
    """Minutes from the pumps running with all of it in to a settled strength."""
    told = [word for word in story.words if word.strength is not None]
    if not event.inflow or not told or told[-1].strength is None:
        return None
    good = _SETTLED * told[-1].strength[1]
    first = next(w for w in told if w.strength is not None and w.strength[1] <= good)
    running = witness.minutes["running"]
    place = witness.place(event.until)
    while place < len(running) and not running[place]:
        place += 1
    runs = max(witness.begin + (place + 1) * MINUTE, event.until)
    return max(first.clock - runs, 0) / MINUTE
