"""Entries in words, as the records of a sump show them."""

from typing import Literal, TypeAlias, assert_never

from advisor.plan import SumpPlan
from advisor.words import Addition, Charge, Check, CheckKind, Delivery, Drain, Entry, Service
from agent.page.speech import Speech

EntryKind: TypeAlias = Literal["addition", "drain", "charge", "check", "service", "delivery"]

UNITS = {
    CheckKind.PH: "",
    CheckKind.DIP_SLIDE: "CFU/mL",
    CheckKind.HARDNESS: "mg/L",
    CheckKind.NITRITE: "mg/L",
    CheckKind.CHLORIDE: "mg/L",
    CheckKind.CONDUCTIVITY: "mS/cm",
    CheckKind.LOOK: "",
}
"""Of checks that are told as they were entered."""


def entry_kind(entry: Entry) -> EntryKind:
    """Name of the form that such an entry is made with."""
    match entry:
        case Addition():
            return "addition"
        case Drain():
            return "drain"
        case Charge():
            return "charge"
        case Check():
            return "check"
        case Service():
            return "service"
        case Delivery():
            return "delivery"
        case _:
            assert_never(entry)


def entry_text(entry: Entry, plan: SumpPlan, say: Speech) -> str:
    """One entry in a line."""
    t = say.text
    match entry:
        case Addition():
            return t("entry.addition", mix=poured(entry.water, entry.concentrate, say))
        case Drain():
            return _drained(entry, say)
        case Charge():
            mix = poured(entry.water or 0.0, entry.concentrate or 0.0, say)
            return t(f"entry.charge.{entry.stage}", mix=mix)
        case Check():
            return t("entry.check", kind=t(f"check.{entry.kind}"), value=measured(entry, plan, say))
        case Service():
            name = t(f"service.{entry.kind}")
            return t("entry.noted", kind=name, note=entry.note) if entry.note else name
        case Delivery():
            return t("entry.delivery", mix=poured(entry.water, entry.concentrate, say))
        case _:
            assert_never(entry)


def poured(water: float, concentrate: float, say: Speech) -> str:
    """Water and concentrate, as one measures them out. [L]"""
    if water > 0.0 and concentrate > 0.0:
        return say.text("do.mix", water=say.pour(water), concentrate=say.pour(concentrate))
    if concentrate > 0.0:
        return say.text("do.concentrate_only", concentrate=say.pour(concentrate))
    return say.text("do.water_only", water=say.pour(water))


def measured(check: Check, plan: SumpPlan, say: Speech) -> str:
    """What a check found, with its unit."""
    value = check.value
    match check.kind:
        case CheckKind.REFRACTOMETER:
            share = say.percent(value * plan.fluid.refractometer_factor / 100.0)
            return f"{say.brix(value)} ({share})"
        case CheckKind.TITRATION | CheckKind.TRAMP_OIL:
            return say.percent(value)
        case CheckKind.DIPSTICK:
            return say.depth(value)
        case CheckKind.LOOK:
            return say.text(
                "look.good" if value < 0.34 else "look.fair" if value < 0.67 else "look.bad"
            )
        case _:
            return f"{say.short(value)} {UNITS[check.kind]}".strip()


def _drained(drain: Drain, say: Speech) -> str:
    """What was taken out."""
    t = say.text
    to = f" → {drain.to}" if drain.to else ""
    if drain.everything:
        return t("entry.drain.all") + to
    if drain.to_level is not None:
        return t("entry.drain.to", depth=say.depth(drain.to_level)) + to
    return t("entry.drain.some", volume=say.pour(drain.volume or 0.0)) + to
