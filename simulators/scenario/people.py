"""Who pours, looks, measures and reports, and how well; the station that pours by itself."""

from datetime import time
from typing import Annotated, Literal

from pydantic import Field

from simulators.scenario.base import Moment, NotNegative, Positive, Share, Spec
from simulators.scenario.shop import ClockTime


class Operators(Spec):
    """People who top up by eye."""

    name: str = "shift"
    looks_share: Share = 0.9
    """Share of shift starts at which somebody looks into the sump."""
    below_mm: NotNegative = 25.0
    """Tops up when the fluid seems to stand so far below the target depth. [mm]"""
    eye_mm: NotNegative = 6.0
    """Spread of that look. [mm]"""
    fills_to_mm: float = 0.0
    """Fills to so far above the target depth, as the eye has it. [mm]"""
    most_l: Positive = 60.0
    """Never pours more at a time. [L]"""
    water_share: Share = 0.4
    """Share of top-ups with plain water."""
    strength_pct: NotNegative = 5.0
    """Of the mix otherwise, as they believe. [%]"""
    strength_error: NotNegative = 0.1
    """Spread of the true strength about that, relative."""
    bucket_l: Positive | None = 10.0
    """What a bucket holds as they fill it; absent: a hose. [L]"""
    hose_l_min: Positive = 12.0
    bucket_min: Positive = 1.5
    """From one bucket to the next. [min]"""
    at_start_share: Share = 0.2
    """Share of top-ups that begin within two minutes of the pumps' start."""
    metered: bool = False
    """What they pour goes through the make-up meters."""
    reports_share: Share = 0.0
    """Share of top-ups that are reported."""
    report_delay_min: NotNegative = 10.0
    """Mean. [min]"""
    report_error: NotNegative = 0.05
    """Spread of the reported volume about the true one, relative."""
    twice_share: Share = 0.0
    """Share of reports sent twice: by a slip with the same id, or by two people under two ids."""
    typing_share: Share = 0.0
    """Share of reports with a wrong digit, corrected later by one that replaces it."""
    follow_share: Share = 0.0
    """Share of advised top-ups that are carried out as advised, where advice is heard."""
    only_advised: bool = False
    """Tops up on advice alone."""


CheckName = Literal[
    "refractometer", "titration", "dipstick", "ph", "chloride", "hardness", "tramp-oil"
]


class CheckRound(Spec):
    """A measurement that somebody makes again and again."""

    kind: CheckName
    weekdays: tuple[int, ...] = (2,)
    """Monday is 0."""
    at: ClockTime = time(10, 0)
    sd: NotNegative | None = None
    """Error of the method, in the unit of the check; a usual one where absent."""
    unit: str | None = None
    sample: Literal["as-is", "settled", "filtered"] = "as-is"
    missed_share: Share = 0.1
    delay_min: NotNegative = 20.0
    """From measurement to report, mean. [min]"""
    by: str = "lab"


class PrismRound(Spec):
    """Somebody cleans the prism or skims the oil, again and again."""

    every_days: Positive = 7.0
    at: ClockTime
    reported_share: Share = 1.0


StationFault = Literal[
    "half-delivered",
    "never-finished",
    "wrong-strength",
    "drum-empty",
    "silent",
    "rebooted",
    "reported-twice",
    "clock",
]


class StationTrouble(Spec):
    """From this moment the next dose, or all until the end, goes wrong in this way."""

    kind: StationFault
    begin: Moment
    end: Moment | None = None
    """Absent: only the next dose."""
    size: Annotated[float, Field(allow_inf_nan=False)] = 0.5
    """Of wrong strength: true over set; of a clock: seconds ahead."""


class Station(Spec):
    """A dosing unit at the sump."""

    automatic: bool = True
    max_dose_l: Positive = 40.0
    max_day_l: Positive = 120.0
    l_min: Positive = 6.0
    """Flow of the water line. [L/min]"""
    meter_error: NotNegative = 0.01
    """Spread of each meter's gain, drawn for each seed."""
    resolution_l: Positive = 0.05
    report_s: Positive = 30.0
    looked_after_h: NotNegative | None = 4.0
    """So long after an alarm about it somebody has looked and resets it; absent: nobody. [h]"""
    trouble: tuple[StationTrouble, ...] = ()
