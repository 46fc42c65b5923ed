"""The shop around the sumps: names, climate, working hours, concentrates, water, network."""

from datetime import time
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from simulators.scenario.base import Id, Moment, NotNegative, Positive, Share, Spec


class Plant(Spec):
    """Names that go into the plant file."""

    id: Id = "shop"
    name: str = ""
    units: Literal["metric", "us"] = "metric"
    timezone: str = "Europe/Dublin"


class Climate(Spec):
    """Air in the hall."""

    mean_c: float = 21.0
    """Over the scenario. [°C]"""
    day_swing_c: NotNegative = 2.0
    """Half the difference between afternoon and night. [°C]"""
    weather_c: NotNegative = 1.5
    """Spread of the slow changes from day to day. [°C]"""
    weather_h: Positive = 36.0
    """How long such weather lasts. [h]"""
    trend_c_per_day: float = 0.0
    """Steady warming over the scenario. [°C/d]"""
    season_c: float = 0.0
    """Half the difference between summer (end of July) and winter. [°C]"""
    machines_c: float = 2.0
    """Warmer by so much while people work. [°C]"""
    humidity_pct: Annotated[float, Field(gt=0.0, lt=100.0)] = 45.0
    """Mean relative humidity at the mean temperature. [%]"""
    humidity_spread_pct: NotNegative = 6.0
    """Spread of the water in the air from day to day, as humidity at the mean. [%]"""


def _clock(value: object) -> object:
    """Read ``"06:00"``; midnight at the end of a day is ``"24:00"``."""
    if value == "24:00":
        return time.max
    return time.fromisoformat(value) if isinstance(value, str) else value


ClockTime = Annotated[time, BeforeValidator(_clock)]
Span = tuple[ClockTime, ClockTime]


class Shutdown(Spec):
    """Nobody works, the pumps stand."""

    begin: Moment
    end: Moment


class Work(Spec):
    """When a machine runs and cuts."""

    shifts: tuple[Span, ...] = (
        (time(6, 0), time(14, 0)),
        (time(14, 0), time(22, 0)),
    )
    """In the order of the day; one that ends before it begins goes over midnight."""
    weekdays: tuple[int, ...] = (0, 1, 2, 3, 4)
    """Days on which shifts begin, Monday is 0."""
    breaks: tuple[Span, ...] = ((time(9, 30), time(9, 50)), (time(18, 0), time(18, 20)))
    pumps_in_breaks: bool = False
    """The pumps go on in breaks."""
    late_min: NotNegative = 6.0
    """Spread of starts and stops about the clock. [min]"""
    cut_min: Positive = 9.0
    """Mean length of a part's cutting. [min]"""
    load_min: Positive = 3.0
    """Mean time between parts, pumps going. [min]"""
    stops_per_day: NotNegative = 1.0
    """Unplanned stops of the machine, pumps off, in a day of work."""
    stop_min: Positive = 15.0
    """Mean length of such a stop. [min]"""
    shutdown: tuple[Shutdown, ...] = ()

    @property
    def running_h(self) -> float:
        """Time that the pumps are to run in a day of work: shifts, less breaks without them. [h]"""
        shifts = sum(_hours(span) for span in self.shifts)
        pauses = 0.0 if self.pumps_in_breaks else sum(_hours(span) for span in self.breaks)
        return max(shifts - pauses, 0.0)


def _hours(span: Span) -> float:
    """Length of a span, which may go over midnight. [h]"""
    begin, end = (clock.hour + clock.minute / 60.0 for clock in span)
    if span[1] == time.max:
        end = 24.0
    return end - begin if end > begin else end - begin + 24.0


class Concentrate(Spec):
    """A concentrate as the plant file describes it."""

    id: Id
    refractometer_factor: Positive
    """By the data sheet. [%/°Brix]"""
    band_pct: tuple[float, float]
    target_pct: Positive
    premix_max_pct: Positive = 20.0
    weak_mix_pct: NotNegative = 0.0
    factor_error: Share = 0.05
    """The true factor is off the data sheet by up to so much, drawn for each seed."""


class Water(Spec):
    """Make-up water, which also is what runs in by itself."""

    hardness_mg_l: NotNegative = 180.0
    """As CaCO3. [mg/L]"""
    chloride_mg_l: NotNegative = 25.0
    brix: Annotated[float, Field(ge=0.0, le=0.5)] = 0.1
    """What a refractometer reads in it. [°Brix]"""
    celsius: float = 14.0


class Vessel(Spec):
    """What people pour from; goes into the plant file as it is."""

    id: Id = "bucket"
    volume_l: Positive = 12.0
    graduation_l: Positive = 0.5
    carry_fill: Share = 0.8


class Outage(Spec):
    """The network is away."""

    begin: Moment
    end: Moment
    buffered: bool = True
    """A gateway keeps what comes and sends it afterwards; otherwise it is lost."""


class Network(Spec):
    """How messages travel."""

    latency_s: NotNegative = 0.3
    """Mean. [s]"""
    late_share: Share = 0.0
    """Share of messages that take much longer."""
    late_s: NotNegative = 120.0
    """Mean time that these take. [s]"""
    duplicate_share: Share = 0.0
    """Share of messages that come twice."""
    outage: tuple[Outage, ...] = ()
