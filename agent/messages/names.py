"""Names of the alarms and of what they are about, as they stand in topics and bodies."""

from typing import Literal, TypeAlias

SumpAlarmName: TypeAlias = Literal[
    "level-low",
    "level-high",
    "concentration-low",
    "concentration-high",
    "water-loss-high",
    "mix-loss-high",
    "concentrate-loss-high",
    "water-gain",
    "sensor-drift",
    "sensor-fault",
    "signal-stale",
    "advice-open",
    "delivery-differs",
    "wrong-concentrate",
    "ph-out-of-band",
    "conductivity-out-of-band",
    "hardness-high",
    "chloride-high",
    "stagnant",
    "check-overdue",
    "nitrite-high",
    "bacteria-high",
    "tramp-oil-high",
]
"""About one sump: `PREFIX/SUMP/alarm/NAME`."""

PlantAlarmName: TypeAlias = Literal["feed-lost", "historian-behind"]
"""About the whole plant: `PREFIX/alarm/NAME`."""

SupplyAlarmName: TypeAlias = Literal["stock-low", "expired"]
"""About one supply: `PREFIX/supply/SUPPLY/alarm/NAME`."""

AlarmName: TypeAlias = SumpAlarmName | PlantAlarmName | SupplyAlarmName
"""Every alarm."""

WHOLE_PLANT = ""
"""What an alarm is about: the whole plant. A sump is named by its id, a supply as in topics."""

_SUPPLY = "supply/"


def about_supply(supply: str) -> str:
    """What an alarm of a supply is about.

    >>> about_supply("drum-1")
    'supply/drum-1'
    """
    return _SUPPLY + supply


def supply_in(about: str) -> str | None:
    """Supply that an alarm is about, if it is about one."""
    return about.removeprefix(_SUPPLY) if about.startswith(_SUPPLY) else None


def sump_in(about: str) -> str | None:
    """Sump that an alarm is about, if it is about one."""
    return about if about and not about.startswith(_SUPPLY) else None


def topic_under(plant_prefix: str, about: str) -> str:
    """Topic under which the agent speaks of a sump, a supply or the plant.

    >>> topic_under("millpond/north", "mill-07"), topic_under("millpond/north", WHOLE_PLANT)
    ('millpond/north/mill-07', 'millpond/north')
    """
    return f"{plant_prefix}/{about}" if about else plant_prefix
