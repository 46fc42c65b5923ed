"""The air in the hall: one for all sumps of a plant, looked at once a minute."""

import math

from simulators.draws import Draws
from simulators.evaporation import humidity_ratio, saturation_pressure, vapour_pressure
from simulators.instants import DAY, HOUR, MINUTE, SECOND, Calendar
from simulators.scenario.shop import Climate
from simulators.wander import Wander

_MIDSUMMER = 208  # day of the year with the warmest weather, end of July


class Hall:
    """Temperature and humidity of the air over the sumps.

    Daily and yearly swing, weather that lasts for days, a warmer hall while people work. The
    water in the air changes with the weather alone, so that relative humidity falls when the hall
    warms up, as it does.
    """

    def __init__(self, climate: Climate, calendar: Calendar, seed: int) -> None:
        self._climate = climate
        self._calendar = calendar
        memory = climate.weather_h * HOUR / SECOND
        self._weather = Wander(climate.weather_c, memory, Draws.named(seed, "weather"))
        mean = saturation_pressure(climate.mean_c)
        self._ratio = humidity_ratio(mean * climate.humidity_pct / 100.0)
        spread = humidity_ratio(mean * climate.humidity_spread_pct / 100.0)
        self._moisture = Wander(spread, memory, Draws.named(seed, "moisture"))
        self._first_day = calendar.first_day.timetuple().tm_yday
        self._people = 0.0
        self._minute = -1
        self.celsius = climate.mean_c
        self.vapour = mean * climate.humidity_pct / 100.0

    def look(self, now: int, working: bool) -> None:  # noqa: FBT001 - a state, not a switch
        """Bring `celsius` [°C] and `vapour` [Pa] to `now`."""
        minute = now // MINUTE
        if minute == self._minute:
            return
        self._minute = minute
        climate = self._climate
        self._people += ((1.0 if working else 0.0) - self._people) / 90.0
        days = (now - self._calendar.begin) / DAY
        hour = self._calendar.hour_of_day(now)
        season = math.cos(2.0 * math.pi * (self._first_day + days - _MIDSUMMER) / 365.25)
        self.celsius = (
            climate.mean_c
            + climate.day_swing_c * math.cos(2.0 * math.pi * (hour - 15.0) / 24.0)
            + climate.season_c * season
            + climate.trend_c_per_day * days
            + climate.machines_c * self._people
            + self._weather.at(now)
        )
        ratio = max(self._ratio + self._moisture.at(now), 0.15 * self._ratio)
        most = 0.95 * saturation_pressure(self.celsius)
        self.vapour = min(vapour_pressure(ratio), most)

    @property
    def humidity(self) -> float:
        """Relative humidity. [1]"""
        return self.vapour / saturation_pressure(self.celsius)
