"""Small plants for the tests of the simulator."""

import json
import tomllib
from collections.abc import Iterable
from typing import Any

from simulators.fluid import Body
from simulators.instants import HOUR, SECOND
from simulators.payloads import Message
from simulators.physics import Sump
from simulators.scenario.load import merged, scenario_from
from simulators.scenario.sump import BoxSpec
from simulators.shop_floor import ShopFloor
from simulators.tank import Tank

BOX = BoxSpec(length_mm=1500.0, width_mm=700.0, height_mm=420.0)

BASE = tomllib.loads("""
title = "A test's own plant"
days = 1
step_s = 10

[work]
late_min = 0
stops_per_day = 0

[[concentrate]]
id = "semi-a"
refractometer_factor = 1.25
band_pct = [6.0, 10.0]
target_pct = 8.0
factor_error = 0.0

[each]
concentrate = "semi-a"
tank = { shape = "box", length_mm = 1500, width_mm = 700, height_mm = 420 }
level_mm = { low = 180, target = 330, brim = 400 }
holdup_l = 30
holdup_error = 0.0
area_error = 0.0
oil_l = 0.0
start_depth_mm = 330
start_pct = 8.0

[each.machine]
tramp_oil_l_per_day = 0.0

[each.signals.level]
sd_mm = 0.0
resolution = 0.001
wave_mm = 0.0
foam_mm = 0.0
wander_mm = 0.0
offset_mm = 0.0

[each.signals.brix]
sd_brix = 0.0
resolution = 0.001
wander_brix = 0.0
offset_brix = 0.0
bubble_share = 0.0
temperature_brix_per_k = 0.0

[each.signals.running]

[water]
brix = 0.0

[network]
latency_s = 0.1

[[sump]]
id = "m1"
""")
"""A mill with faultless instruments and nobody about."""


def plant(toml: str = "", seed: int = 1) -> ShopFloor:
    """The base plant with changes, given as TOML."""
    changes: dict[str, Any] = tomllib.loads(toml)
    return ShopFloor(scenario_from(merged(BASE, changes), "test"), seed)


def run(floor: ShopFloor, hours: float) -> list[Message]:
    """Go on for some hours: all messages."""
    end = floor.now + round(hours * HOUR)
    messages: list[Message] = []
    while floor.now < end:
        messages += floor.step()
    return messages


def said(messages: Iterable[Message], topic_end: str) -> list[dict[str, Any]]:
    """Bodies of the JSON messages whose topic ends so."""
    return [json.loads(m.payload) for m in messages if m.topic.endswith(topic_end)]


def values(messages: Iterable[Message], signal: str) -> list[float]:
    """Readings of a signal in the default form."""
    return [float(body["value"]) for body in said(messages, f"/{signal}")]


def a_body(**changes: Any) -> Body:
    """The body of a middling mill."""
    known: dict[str, Any] = {
        "tank": Tank(BOX), "brim": 400.0, "holdup": 30.0, "pump": 1.2, "pump_heat": 1000.0,
        "cut_heat": 2000.0, "cut_evaporates": 0.1, "cooling": 120.0, "open_share": 0.4,
        "air_speed": 0.1, "spray_area": 0.8, "spray_speed": 0.4, "evaporation": "vapour-pressure",
        "evaporation_factor": 1.0, "carry_off": 1e-4, "lumps": 0.5, "bins": 0.6,
        "depletion": 5e-8, "oil_rate": 1e-5, "fill_s": 20.0, "drain_s": 150.0,
        "drain_slow_s": 720.0, "drain_slow_share": 0.25, "return_share": 0.5,
        "water_hardness": 180.0, "water_chloride": 25.0, "water_celsius": 14.0,
    }  # fmt: skip
    return Body(**(known | changes))


def a_sump(step_s: float = 10.0, depth: float = 330.0, **changes: Any) -> Sump:
    """A mill's sump at rest, 8 %."""
    return Sump(a_body(**changes), step_s, depth, 0.08)


def ms(seconds: float) -> int:
    """Seconds as moments have them. [ms]"""
    return round(seconds * SECOND)
