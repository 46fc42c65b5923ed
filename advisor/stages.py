"""One stage of a longer piece of work: what to do, and what to beware of while doing it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stage:
    """A stage to tick."""

    name: str
    """One or two words, such as ``skim``; of one sequence no two are the same."""
    text: str
    cautions: tuple[str, ...] = ()
    """Fitting this stage."""
