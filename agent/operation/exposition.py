"""Numbers in Prometheus' text format, version 0.0.4: names, kinds, labels, values.

References
----------
.. [1] "Exposition formats" and "Metric and label naming", Prometheus documentation: one family
   after another, HELP and TYPE before its samples, base units, `_total` at the end of counters.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Literal, TypeAlias

Kind: TypeAlias = Literal["counter", "gauge"]
Labels: TypeAlias = Mapping[str, str]

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


@dataclass(frozen=True, slots=True)
class Family:
    """All samples of one name."""

    name: str
    kind: Kind
    about: str
    samples: tuple[tuple[Labels, float], ...]


def gauge(name: str, about: str, value: float | None) -> Family:
    """Something that goes up and down; `None`: not known, and left out."""
    return Family(name, "gauge", about, () if value is None else (({}, value),))


def counter(name: str, about: str, value: float) -> Family:
    """Something that only grows."""
    return Family(name, "counter", about, (({}, value),))


def exposed(families: Iterable[Family]) -> str:
    """Write families; what is no finite number is left out."""
    lines: list[str] = []
    for family in families:
        lines.append(f"# HELP {family.name} {_help(family.about)}")
        lines.append(f"# TYPE {family.name} {family.kind}")
        lines += [
            f"{family.name}{_labels(labels)} {value!r}"
            for labels, value in family.samples
            if isfinite(value)
        ]
    return "\n".join(lines) + "\n"


def _labels(labels: Labels) -> str:
    """Labels in braces, if there are some."""
    if not labels:
        return ""
    return "{" + ",".join(f'{name}="{_value(text)}"' for name, text in labels.items()) + "}"


def _value(text: str) -> str:
    """A label's value: backslash, quote and line feed are escaped."""
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _help(text: str) -> str:
    """A help text: backslash and line feed are escaped."""
    return text.replace("\\", "\\\\").replace("\n", "\\n")
