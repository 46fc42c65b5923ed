"""What goes wrong: at the sump, and with its sensors."""

from typing import Literal

from pydantic import model_validator

from simulators.scenario.base import Moment, NotNegative, Positive, Spec
from simulators.scenario.signals import FiniteFloat, SignalName


class Disturbance(Spec):
    """Something that happens to the fluid."""

    kind: Literal[
        "leak",
        "ingress",
        "drain",
        "charge",
        "skim",
        "clean-prism",
        "clean-sump",
        "wrong-concentrate",
        "oil-spill",
        "carry-off",
        "top-up",
    ]
    begin: Moment
    end: Moment | None = None
    """Mended; absent: never within the scenario."""
    l_per_day: NotNegative = 0.0
    """Of a leak, an ingress or more carry-off, when it has grown. [L/d]"""
    grows_h: NotNegative = 0.0
    """Time that it takes to grow to that. [h]"""
    only_running: bool = False
    """Of a leak in a pressure line, a cooling coil: only while the pumps run."""
    volume_l: NotNegative = 0.0
    """Of a drain, an oil spill, a top-up or a concentrate poured by mistake. [L]"""
    strength_pct: NotNegative = 0.0
    """Of a top-up. [%]"""
    factor: Positive = 1.0
    """Of the wrong concentrate. [%/°Brix]"""
    share: NotNegative = 0.85
    """Of the oil afloat that skimming takes."""
    reported: bool = True

    @model_validator(mode="after")
    def _has_its_amount(self) -> "Disturbance":
        """A rate or a volume must be there where the kind needs one."""
        if self.kind in {"leak", "ingress", "carry-off"} and self.l_per_day == 0.0:
            raise ValueError(f"a {self.kind} needs l_per_day above 0")
        if self.kind in {"drain", "oil-spill", "wrong-concentrate", "top-up"} and not self.volume_l:
            raise ValueError(f"{self.kind} needs volume_l above 0")
        return self


class Fault(Spec):
    """A sensor, or its line, that misbehaves: once (`begin`) or again and again (`every_h`)."""

    signal: SignalName
    kind: Literal[
        "spike",
        "stuck",
        "step",
        "drift",
        "dropout",
        "unit",
        "noise",
        "garbage",
        "zero",
        "reset",
        "clock",
        "duplicate",
        "late",
    ]
    begin: Moment | None = None
    end: Moment | None = None
    every_h: Positive | None = None
    """Mean time between faults. [h]"""
    lasting_min: Positive = 10.0
    """Mean length of each. [min]"""
    size: FiniteFloat = 0.0
    """In the signal's unit: height of a spike or step, drift a day; [s] of clock, late."""

    @model_validator(mode="after")
    def _once_or_often(self) -> "Fault":
        """Either a moment or a mean interval says when."""
        if (self.begin is None) == (self.every_h is None):
            raise ValueError("a fault needs either begin or every_h")
        return self
