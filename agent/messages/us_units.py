"""Sentences as a plant with US units reads them; numbers beside them are metric, as ever."""

import re
from dataclasses import replace

from advisor.effects import AlarmReport, Effect, PublishAdvice, PublishAlarm
from advisor.units import GALLON
from agent.quantities import for_people

INCH = 25.4
"""Exact, NIST Handbook 44, appendix C. [mm]"""

_AMOUNT = re.compile(r"(?<![\w.,])(-?\d+(?:\.\d+)?) (mm/d|mm|L/d(?:ay)?|L/h|L)(?![\w/²³])")


_BESIDE = re.compile(r"(gal|fl oz) \(\d+(?:\.\d+)? L\)")
"""Litres beside what is read off a vessel's marks."""


def read_in_us_units(effect: Effect) -> Effect:
    """What is told, with its sentences in US customary units.

    Cautions stay as they are: what they quote is metric.
    """
    if isinstance(effect, PublishAlarm):
        return PublishAlarm(in_us_units(effect.alarm))
    if isinstance(effect, PublishAdvice):
        why = tuple([us_text(_BESIDE.sub(r"\1", reason)) for reason in effect.advice.why])
        return PublishAdvice(replace(effect.advice, why=why))
    return effect


def in_us_units(report: AlarmReport) -> AlarmReport:
    """The same alarm with its sentences in US customary units; value, limit and unit stay."""
    return replace(
        report,
        cause=us_text(report.cause),
        consequence=us_text(report.consequence),
        action=us_text(report.action),
    )


def us_text(text: str) -> str:
    """Write lengths, volumes and rates in a sentence in US customary units.

    Temperatures stay: a sentence does not say whether it means a difference.

    >>> us_text("the fluid stands at 171 mm (sd 2 mm), 12.5 L/d of water are lost")
    'the fluid stands at 6.73 in (sd 0.0787 in), 3.3 gal/d of water are lost'
    >>> us_text("2 L of concentrate poured; 8.2 °Brix, 5 mg/L")
    '68 fl oz of concentrate poured; 8.2 °Brix, 5 mg/L'
    """
    return _AMOUNT.sub(_converted, text)


def _converted(match: "re.Match[str]") -> str:
    """One amount."""
    value, unit = float(match[1]), match[2]
    if unit == "L":
        return for_people(value, "us")
    length, _, per = unit.partition("/")
    size, name = (INCH, "in") if length == "mm" else (GALLON, "gal")
    return f"{value / size:.3g} {name}" + (f"/{per}" if per else "")
