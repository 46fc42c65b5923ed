"""Sentences of the computation, in the language of whoever reads them.

The computation says why in English, with its numbers in it. A language has its own wording of each
such sentence, with the places that differ left open; a text of several sentences is taken apart.
What has no wording stays English, and is marked as English for whoever reads it aloud.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from markupsafe import Markup, escape

from agent.page.catalogue import FOLDER, NATIVE
from agent.page.speech import SURE_SDS, Speech

_PLACE = re.compile(r"\{(\w+)\}")
_SD = re.compile(
    r"(?P<value>-?\d+(?:\.\d+)?) (?P<unit>%|mm|in|L|gal|fl oz|°Brix)(?:/d)? "
    r"\(sd (?P<sd>\d+(?:\.\d+)?) (?P=unit)\)"
)
"""An amount with its sd behind it."""
_POURING = re.compile(r"(?:\d+ times: )?[\d.]+ \S+.* of (?:water|concentrate|mix|premix).*\.?")
_END = re.compile(r"(?<=[.:!]) ")
"""Where one sentence may end and the next begin."""
LONGEST = 4000
"""Longer texts are not taken apart. [characters]"""


@dataclass(frozen=True, slots=True)
class Wording:
    """One sentence of a language: how the English one is known, and what stands for it."""

    known: "re.Pattern[str]"
    said: str


@dataclass(frozen=True, slots=True)
class Wordings:
    """All that a language has."""

    words: Mapping[str, str]
    fixed: Mapping[str, str]
    """Sentences without places."""
    open: tuple[Wording, ...]


@cache
def wordings(language: str) -> Wordings | None:
    """The wordings of a language; nothing where sentences stay as they are."""
    path = FOLDER / f"said.{language}.toml"
    if language == NATIVE or not path.exists():
        return None
    tables = tomllib.loads(path.read_text("utf-8"))
    sentences: Mapping[str, str] = tables["sentences"]
    return Wordings(
        words=tables["words"],
        fixed={english: own for english, own in sentences.items() if "{" not in english},
        open=tuple(
            Wording(_pattern(english), own) for english, own in sentences.items() if "{" in english
        ),
    )


def retold(sentence: str, say: Speech) -> Markup:
    """A sentence in the person's language, with spans in place of sds."""
    return _retold(sentence, say.text.language)


@lru_cache(maxsize=4096)
def _retold(sentence: str, language: str) -> Markup:
    """A sentence in a language; one that it has no wording of is marked as English."""
    with_spans = _SD.sub(_with_span, sentence)
    known = wordings(language)
    if known is None:
        return escape(with_spans)
    own = _of_text(with_spans, known)
    if own is None:
        return Markup('<span lang="en">{}</span>').format(with_spans)
    return escape(own)


def _with_span(match: "re.Match[str]") -> str:
    """An amount, and to either side where it almost surely is."""
    value, unit, sd = match["value"], match["unit"], match["sd"]
    digits = len(sd.partition(".")[2])
    return f"{value} ± {SURE_SDS * float(sd):.{digits}f} {unit}"


def _pattern(english: str) -> "re.Pattern[str]":
    """By what a sentence with open places is known."""
    parts, seen = [], set()
    for place, part in enumerate(_PLACE.split(english)):
        if place % 2 == 0:
            parts.append(re.escape(part))
        elif part in seen:
            parts.append(f"(?P={part})")
        else:
            seen.add(part)
            parts.append(f"(?P<{part}>.+?)")
    return re.compile("".join(parts), re.DOTALL)


def _of_text(text: str, known: Wordings) -> str | None:
    """A text of one sentence or several; nothing where one of them has no wording."""
    if len(text) > LONGEST:
        return None
    whole = _of_sentence(text, known)
    if whole is not None:
        return whole
    for match in reversed(list(_END.finditer(text))):
        first = _of_sentence(text[: match.start()], known)
        if first is not None:
            rest = _of_text(text[match.end() :], known)
            return None if rest is None else f"{first} {rest}"
    return None


def _of_sentence(sentence: str, known: Wordings) -> str | None:
    """One sentence."""
    if sentence in known.fixed:
        return known.fixed[sentence]
    if _POURING.fullmatch(sentence):
        return _poured(sentence)
    for wording in known.open:
        match = wording.known.fullmatch(sentence)
        if match is not None:
            found = {name: _of_part(part, known) for name, part in match.groupdict().items()}
            return wording.said.format_map(found)
    return None


def _of_part(part: str, known: Wordings) -> str:
    """What stands in an open place: a known word, a sentence of its own, or numbers and names."""
    if part in known.words:
        return known.words[part]
    own = _of_sentence(part, known)
    return _numbers(part) if own is None else own


_POURED = (
    (r"^(\d+) times: ", r"\1-mal: "),
    (r"; then (\d+) times: ", r"; dann \1-mal: "),
    (r"; then ", "; dann "),
    (r", then ", ", dann "),
    (r" of concentrate into it", " Konzentrat hinein"),
    (r" of premix from (.+?) \((.+?)\) into it", r" Vormischung aus \1 (\2) hinein"),
    (r" of premix from ", " Vormischung aus "),
    (r" of mix from (.+?), set to ", r" Mischung aus \1, eingestellt auf "),
    (r" of concentrate", " Konzentrat"),
    (r" of water", " Wasser"),
)


def _poured(sentence: str) -> str:
    """How something is poured, batch by batch."""
    for english, own in _POURED:
        sentence = re.sub(english, own, sentence)
    return _numbers(sentence)


def _numbers(text: str) -> str:
    """Numbers as they are written where a comma stands before decimals."""
    return re.sub(r"(?<=\d)\.(?=\d)", ",", text).replace(" and ", " und ")
