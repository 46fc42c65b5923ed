"""Every text of the page, by key and language; nothing that people read stands in the code."""

import string
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

FOLDER = Path(__file__).parent / "texts"
LANGUAGES: Mapping[str, str] = MappingProxyType({"en": "English", "de": "Deutsch"})
"""Each by its own name."""
NATIVE = "en"


class Catalogue:
    """The texts of one language.

    Parameters
    ----------
    language : str
        A key of `LANGUAGES`.
    texts : mapping of str to str
        By key, such as ``plant.title``.
    """

    def __init__(self, language: str, texts: Mapping[str, str]) -> None:
        self.language = language
        self.texts = texts

    def __call__(self, key: str, /, **values: object) -> str:
        """Text of a key, its places filled in.

        With a value `count`, the key's ``one`` or ``other`` is taken, as the number wants it.

        Raises
        ------
        KeyError
            If there is no such text: a mistake in the page.
        """
        if key not in self.texts and "count" in values:
            key = f"{key}.{'one' if values['count'] == 1 else 'other'}"
        text = self.texts[key]
        return text.format_map(values) if values else text

    def named(self, kind: str, name: str) -> str:
        """What people call a thing that a message names; of an unknown one, its own name."""
        return self.texts.get(f"{kind}.{name}", name)


@cache
def catalogue(language: str) -> Catalogue:
    """The texts of a language; of an unknown one, English."""
    known = language if language in LANGUAGES else NATIVE
    tables = tomllib.loads((FOLDER / f"{known}.toml").read_text("utf-8"))
    return Catalogue(known, MappingProxyType(dict(_flat(tables))))


def places(text: str) -> set[str]:
    """Names of the places that a text leaves open."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def preferred(accept: str, otherwise: str) -> str:
    """Pick the language that a browser asks for first, if it is one of ours.

    Examples
    --------
    >>> preferred("fr;q=0.9, de-AT;q=0.8, en;q=0.1", "en"), preferred("fr", "en")
    ('de', 'en')
    """
    ranked = []
    for place, part in enumerate(accept.split(",")[:20]):
        name, _, parameter = part.partition(";")
        weight = parameter.strip().removeprefix("q=") or "1"
        try:
            ranked.append((-float(weight), place, name.strip().partition("-")[0].lower()))
        except ValueError:
            continue
    return next((name for *_, name in sorted(ranked) if name in LANGUAGES), otherwise)


def _flat(table: Mapping[str, object], prefix: str = "") -> Iterator[tuple[str, str]]:
    """Texts of nested tables, by their keys joined with points."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", str(value)
