"""How a reading looks on the wire: bare number, JSON with pointers, SenML."""

import json
from collections.abc import Callable
from dataclasses import dataclass

from simulators.instants import SECOND, rfc3339
from simulators.scenario.signals import SignalSpec

Encoder = Callable[[int, str], bytes]
"""Payload of a reading: its time [ms], its value as it is written."""

SENML_UNITS = {"m": "m", "L": "l", "l": "l", "m3": "m3", "Cel": "Cel", "degC": "Cel", "Pa": "Pa",
               "%": "/100", "pH": "pH", "S/m": "S/m", "%RH": "%RH"}  # fmt: skip
"""Names of RFC 8428 and RFC 8798; degrees Brix have none, so the plant file says them."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message as the broker gets it, at the moment when it arrives. [ms]"""

    at: int
    topic: str
    payload: bytes
    retain: bool = False


def encoder(spec: SignalSpec, sump: str, signal: str, unit: str) -> Encoder:
    """Make the payload writer of one signal."""
    if spec.form == "bare":
        return lambda _at, value: value.encode()
    if spec.form == "senml":
        return _senml(sump, signal, unit)
    return _json(spec, unit)


def _senml(sump: str, signal: str, unit: str) -> Encoder:
    """One record in a pack, with base name and base time."""
    head = json.dumps([{"bn": f"{sump}:", "bt": 0}])
    before = head[: -len("0}]")]
    middle = f', "n": "{signal}"'
    if unit in SENML_UNITS:
        middle += f', "u": "{SENML_UNITS[unit]}"'

    def encode(at: int, value: str) -> bytes:
        """Write true and false as vb, numbers as v."""
        key = "vb" if value in {"true", "false"} else "v"
        return f'{before}{at / SECOND:.3f}{middle}, "{key}": {value}}}]'.encode()

    return encode


def _json(spec: SignalSpec, unit: str) -> Encoder:
    """A document in which value, time and unit stand where the pointers say."""
    document: dict[str, object] = {}
    _put(document, spec.value_pointer, "\x00value")
    if spec.time_pointer is not None:
        _put(document, spec.time_pointer, "\x00time")
    if spec.unit_pointer is not None:
        _put(document, spec.unit_pointer, unit)
    text = json.dumps(document, ensure_ascii=False)
    value_mark, time_mark = json.dumps("\x00value"), json.dumps("\x00time")[1:-1]

    def encode(at: int, value: str) -> bytes:
        """Numbers stand bare, words in quotes."""
        shown = value if _bare(value) else json.dumps(value)
        return text.replace(value_mark, shown).replace(time_mark, rfc3339(at)).encode()

    return encode


def _bare(value: str) -> bool:
    """Whether JSON takes this text without quotes, as a number or a truth."""
    if value in {"true", "false", "null"}:
        return True
    try:
        float(value)
    except ValueError:
        return False
    return value[:1] in "-0123456789"  # JSON has neither nan nor inf


def _put(document: dict[str, object], pointer: str, value: object) -> None:
    """Set a value in nested objects along an RFC 6901 pointer."""
    *way, last = (
        step.replace("~1", "/").replace("~0", "~") for step in pointer.removeprefix("/").split("/")
    )
    place = document
    for step in way:
        inner = place.setdefault(step, {})
        if not isinstance(inner, dict):
            raise TypeError(f"{pointer!r} leads through a value")
        place = inner
    place[last] = value


def entry(body: dict[str, object]) -> bytes:
    """What people and stations say, as JSON."""
    return json.dumps(body, ensure_ascii=False).encode()
