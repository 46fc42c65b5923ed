"""SenML: a pack of records to resolved records, as RFC 8428 says and not more kindly.

References
----------
.. [1] C. Jennings et al., "Sensor Measurement Lists (SenML)", RFC 8428, 2018.
.. [2] C. Bormann, "SenML Features and Versions", RFC 9100, 2021.
"""

import binascii
import re
from base64 import urlsafe_b64decode
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import NamedTuple, TypeAlias, TypedDict, cast

from advisor.words import Instant
from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.refusals import shown

ABSOLUTE_FROM = 2.0**28
"""Times from here on are Unix times, smaller ones are relative to now (RFC 8428, 4.5.3). [s]"""

_LAST_SECOND = 253_402_300_799.0
"""9999-12-31T23:59:59Z: what can be written as RFC 3339. [s]"""

_BASE_VERSION = 10
_SECONDARY_UNITS = 1 << 4
"""Feature code 4 of RFC 9100: secondary units may be used, and are understood here."""
_UNDERSTOOD = _BASE_VERSION | _SECONDARY_UNITS

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_BASE64URL = re.compile(r"[A-Za-z0-9_\-]*={0,2}")

Value: TypeAlias = float | str | bool | bytes


class Record(NamedTuple):
    """A resolved record: no base field, no relative time."""

    name: str
    unit: str | None
    at: Instant
    value: Value | None
    sum: float | None = None
    """Value integrated over time, in `unit` times seconds."""
    relative: bool = False
    """`at` was told against now, which is the time of arrival."""


class _Fields(TypedDict, total=False):
    """Fields of a record as they stand, once their types are checked (RFC 8428, table 1)."""

    bn: str
    bt: float
    bu: str
    bv: float
    bs: float
    bver: float
    n: str
    u: str
    v: float
    vs: str
    vb: bool
    vd: str
    s: float
    t: float
    ut: float


@dataclass(slots=True)
class _Base:
    """Base fields in effect: each holds from its record to the next of its kind."""

    name: str = ""
    time: float = 0.0
    unit: str | None = None
    value: float = 0.0
    sum: float | None = None
    versions: set[float] = field(default_factory=set)


def resolve(pack: object, now: Instant) -> list[Record]:
    """Resolve a pack: base fields applied, times absolute, records in chronological order.

    Parameters
    ----------
    pack : object
        The JSON document, its numbers floats.
    now : Instant
        What relative times refer to: the arrival of the pack. [ms]

    Returns
    -------
    list of Record
        Records of one time stay in the pack's order.

    Raises
    ------
    PayloadError
        If it is no SenML, or of a version or with a mandatory field that is not understood: then
        nothing of the pack may be used.

    Examples
    --------
    >>> pack = [{"bn": "mill-07:", "bt": 1772431200.0, "n": "level", "u": "m", "v": 0.4125}]
    >>> record, = resolve(pack, now=0)
    >>> record.name, record.at, record.value, record.unit
    ('mill-07:level', 1772431200000, 0.4125, 'm')
    """
    if not isinstance(pack, list) or not pack:
        raise _error(f"the document is {shown(pack)}; expected an array of records")
    base = _Base()
    records = [
        _resolve_one(record, base, now, f"record {place} of {len(pack)}")
        for place, record in enumerate(pack, start=1)
    ]
    return sorted(records, key=lambda record: record.at)


def _resolve_one(found: object, base: _Base, now: Instant, where: str) -> Record:
    """Resolve one record; base fields that it has stay in effect for those after it."""
    record = _fields(found, where)
    _take_base(record, base, where)
    value, total = _value_and_sum(record, base, where)
    at, relative = _time(base.time + record.get("t", 0.0), now, where)
    return Record(
        name=_full_name(base.name + record.get("n", ""), where),
        unit=record.get("u", base.unit),
        at=at,
        value=value,
        sum=total,
        relative=relative,
    )


def _is_number(found: object) -> bool:
    """Whether it is a number that a double can hold."""
    return isinstance(found, float) and isfinite(found)


def _is_text(found: object) -> bool:
    """Whether it is a string."""
    return isinstance(found, str)


def _is_truth(found: object) -> bool:
    """Whether it is true or false."""
    return isinstance(found, bool)


_KINDS: Mapping[str, tuple[Callable[[object], bool], str]] = {
    **dict.fromkeys(("bt", "bv", "bs", "bver", "v", "s", "t", "ut"), (_is_number, "a number")),
    **dict.fromkeys(("bn", "bu", "n", "u", "vs", "vd"), (_is_text, "a string")),
    "vb": (_is_truth, "true or false"),
}
"""Labels of RFC 8428, table 1 and section 12.2; others are passed over."""


def _fields(record: object, where: str) -> _Fields:
    """Refuse a field of the wrong type, and one that must be understood and is not."""
    if not isinstance(record, dict):
        raise _error(f"{where} is {shown(record)}; expected an object")
    for label, found in record.items():
        kind = _KINDS.get(label)
        if kind is not None:
            fits, expected = kind
            if not fits(found):
                raise _error(f"{where}: {label} is {shown(found)}; expected {expected}")
        elif label.endswith("_"):
            raise _error(
                f"{where}: the field {shown(label)} must be understood (its label ends in '_') "
                "and is not known here"
            )
    return cast(_Fields, record)


def _take_base(record: _Fields, base: _Base, where: str) -> None:
    """Put the base fields of a record in effect."""
    base.name = record.get("bn", base.name)
    base.time = record.get("bt", base.time)
    base.unit = record.get("bu", base.unit)
    base.value = record.get("bv", base.value)
    base.sum = record.get("bs", base.sum)
    if "bver" in record:
        base.versions.add(record["bver"])
        _check_version(base.versions, where)


def _check_version(versions: set[float], where: str) -> None:
    """Refuse a version that is not understood, and two in one pack."""
    version = next(iter(versions))
    if len(versions) > 1:
        raise _error(f"{where}: bver differs from that of a record before; expected one version")
    if not (version.is_integer() and version > 0):
        raise _error(f"{where}: bver is {shown(version)}; expected a positive whole number")
    if version > _BASE_VERSION and version != _UNDERSTOOD:
        raise _error(
            f"{where}: bver is {shown(version)}; understood are up to {_BASE_VERSION}, "
            f"and {_UNDERSTOOD} (secondary units)"
        )


def _value_and_sum(record: _Fields, base: _Base, where: str) -> tuple[Value | None, float | None]:
    """Value and sum of a record, base values added; at least one of the two."""
    total = None
    if base.sum is not None or "s" in record:
        total = _finite((base.sum or 0.0) + record.get("s", 0.0), "sum", where)
    labels = [label for label in ("v", "vs", "vb", "vd") if label in record]
    if len(labels) > 1 or (not labels and total is None):
        found = " and ".join(labels) or "no value"
        raise _error(f"{where} has {found}; expected exactly one of v, vs, vb, vd")
    if "v" in record:
        return _finite(base.value + record["v"], "value", where), total
    if "vd" in record:
        return _octets(record["vd"], where), total
    return record.get("vs", record.get("vb")), total


def _finite(value: float, what: str, where: str) -> float:
    """Refuse a sum of base and own value that overflows."""
    if not isfinite(value):
        raise _error(f"{where}: base and own {what} add up to more than a number can hold")
    return value


def _octets(text: str, where: str) -> bytes:
    """Bytes of a data value: base64 with the URL-safe alphabet, its padding left out or not."""
    try:
        if _BASE64URL.fullmatch(text):
            return urlsafe_b64decode(text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4))
    except binascii.Error:
        pass
    raise _error(f"{where}: vd is {shown(text)}; expected base64url")


def _time(seconds: float, now: Instant, where: str) -> tuple[Instant, bool]:
    """Instant of a time as it adds up, and whether it was relative to now."""
    if not -_LAST_SECOND <= seconds <= _LAST_SECOND:
        raise PayloadError(
            Reason.TIME,
            f"{where}: the time adds up to {shown(seconds)} s; expected Unix time, "
            "or less than 2^28 s, relative to now",
        )
    if seconds >= ABSOLUTE_FROM:
        return round(seconds * 1000.0), False
    at = now + round(seconds * 1000.0)
    if at < 0:
        raise PayloadError(Reason.TIME, f"{where}: {shown(-seconds)} s before now is before 1970")
    return at, True


def _full_name(name: str, where: str) -> str:
    """Check a name, base and own together (RFC 8428, 4.5.1)."""
    if not name:
        raise _error(f"{where} has no name; expected bn, n or both")
    if _NAME.fullmatch(name) is None:
        raise _error(
            f"{where}: the name is {shown(name)}; expected letters, digits and - : . / _, "
            "a letter or digit first"
        )
    return name


def _error(detail: str) -> PayloadError:
    """Say what is wrong with a pack."""
    return PayloadError(Reason.SENML, detail)
