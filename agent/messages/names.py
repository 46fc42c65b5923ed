"""Names of the alarms, as they stand in topics and bodies."""

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
]
"""About one sump: `PREFIX/SUMP/alarm/NAME`."""

PlantAlarmName: TypeAlias = Literal["feed-lost", "historian-behind"]
"""About the whole plant: `PREFIX/alarm/NAME`."""

SupplyAlarmName: TypeAlias = Literal["stock-low", "expired"]
"""About one supply: `PREFIX/supply/SUPPLY/alarm/NAME`."""

AlarmName: TypeAlias = SumpAlarmName
"""Alarms that a person can command through a sump's `alarm-command`."""
