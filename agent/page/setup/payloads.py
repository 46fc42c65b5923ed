"""A payload taken apart, to pick a value from: a number, JSON members, SenML records."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from advisor.words import Instant
from agent.decode.bare import number
from agent.decode.json_payload import parse
from agent.decode.problem import PayloadError
from agent.decode.senml import resolve
from agent.refusals import excerpt, printable

LEAVES_MAX = 300
DEPTH_MAX = 12
TEXT_SHOWN = 80

Form: TypeAlias = Literal["bare", "json", "senml", "other", "too-long"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One value of a payload, or a member that holds others."""

    key: str
    """As it stands in its object or array; printable."""
    depth: int
    shown: str
    """The value, printable and short; empty of a member that holds others."""
    pointer: str | None = None
    """JSON pointer to it."""
    name: str | None = None
    """Name of its SenML records."""
    is_value: bool = False
    """Whether it may be a reading: a number, a truth, a word."""
    is_number: bool = False


@dataclass(frozen=True, slots=True)
class Payload:
    """A payload as a person sees it."""

    form: Form
    pieces: tuple[Piece, ...]
    text: str
    """Its beginning, escaped."""
    trouble: str = ""
    """Why it cannot be taken apart."""
    is_cut: bool = False
    """There is more in it than is shown."""


def take_apart(payload: bytes, size: int, now: Instant) -> Payload:
    """Take a payload apart, whatever it is. [ms]"""
    text = excerpt(payload)
    if size > len(payload):
        return Payload("too-long", (), text, f"{size} B")
    bare = _bare(payload, text)
    if bare is not None:
        return bare
    try:
        document = parse(payload)
    except PayloadError as error:
        return Payload("other", (), text, error.detail)
    if isinstance(document, list):
        pack = _pack(document, text, now)
        if pack is not None:
            return pack
    pieces: list[Piece] = []
    is_cut = _walk(document, "", "", 0, pieces)
    return Payload("json", tuple(pieces), text, is_cut=is_cut)


def _bare(payload: bytes, text: str) -> Payload | None:
    """A payload that is a number or a single word and nothing else."""
    try:
        value = number(payload)
    except PayloadError:
        word = payload.decode("utf-8", "replace").strip()
        if not (0 < len(word) <= 32 and word.isprintable() and word[0].isalpha()):
            return None
        return Payload("bare", (Piece("", 0, word, is_value=True),), text)
    return Payload("bare", (Piece("", 0, f"{value:.12g}", is_value=True, is_number=True),), text)


def _pack(document: list[object], text: str, now: Instant) -> Payload | None:
    """Records of a SenML pack, one a name; `None` where it is some other array."""
    try:
        records = resolve(document, now)
    except PayloadError:
        return None
    by_name = {record.name: record for record in records}
    pieces = [
        Piece(
            printable(name, TEXT_SHOWN),
            0,
            f"{_shown(record.value)} {record.unit or ''}".strip(),
            name=name,
            is_value=record.value is not None and not isinstance(record.value, bytes),
            is_number=isinstance(record.value, float),
        )
        for name, record in by_name.items()
    ]
    return Payload("senml", tuple(pieces[:LEAVES_MAX]), text, is_cut=len(pieces) > LEAVES_MAX)


def _walk(found: object, key: str, pointer: str, depth: int, pieces: list[Piece]) -> bool:
    """List a document from the outside in; whether something was left out."""
    if len(pieces) >= LEAVES_MAX or depth > DEPTH_MAX:
        return True
    shown_key = printable(key, TEXT_SHOWN)
    if not isinstance(found, dict | list):
        is_value = isinstance(found, float | bool | str)
        number_like = isinstance(found, float) and not isinstance(found, bool)
        pieces.append(
            Piece(
                shown_key,
                depth,
                _shown(found),
                pointer=pointer,
                is_value=is_value,
                is_number=number_like,
            )
        )
        return False
    if depth or key:
        pieces.append(Piece(shown_key, depth, "", pointer=pointer))
    members = found.items() if isinstance(found, dict) else enumerate(found)
    inner = [
        _walk(member, str(name), f"{pointer}/{_escaped(str(name))}", depth + 1, pieces)
        for name, member in list(members)[: LEAVES_MAX + 1]
    ]
    return any(inner)


def _escaped(name: str) -> str:
    """A name as a JSON pointer writes it (RFC 6901, section 3)."""
    return name.replace("~", "~0").replace("/", "~1")


def _shown(value: object) -> str:
    """A value, short and printable."""
    match value:
        case bool():
            return "true" if value else "false"
        case float():
            return f"{value:.12g}"
        case None:
            return "null"
        case bytes():
            return f"{len(value)} B"
        case _:
            return printable(str(value), TEXT_SHOWN)
