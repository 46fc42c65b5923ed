"""The truth behind a scenario's words: errors drawn for a seed."""

import math
from dataclasses import dataclass

from simulators.draws import Draws
from simulators.fluid import Body
from simulators.scenario.load import Scenario
from simulators.scenario.sump import SumpSpec
from simulators.sensors.brix import Optics
from simulators.tank import Tank

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """One machine as it truly is."""

    body: Body
    optics: Optics
    drawing: Tank
    area_factor: float
    depth: float
    """At the beginning, everything drained back. [mm]"""
    strength: float
    """At the beginning. [1]"""


def draw_machine(spec: SumpSpec, scenario: Scenario, seed: int) -> Drawn:
    """Draw what the plant file does not know: area, holdup, factor, where it begins."""
    draws = Draws.named(seed, spec.id, "machine")
    area = 1.0 + spec.area_error * draws.between(-1.0, 1.0)
    side = 1.0 if draws.chance(0.5) else -1.0
    holdup = spec.holdup_l * (1.0 + side * spec.holdup_error)
    fluid = scenario.fluid(spec.concentrate)
    factor = fluid.refractometer_factor * (1.0 + fluid.factor_error * draws.between(-1.0, 1.0))
    depth = spec.start_depth_mm or spec.level_mm.target + draws.between(-12.0, 2.0)
    strength = spec.start_pct or fluid.target_pct * (1.0 + draws.between(-0.06, 0.06))
    return Drawn(
        body=_body(spec, scenario, area, holdup),
        optics=Optics(factor, scenario.water.brix, spec.machine.oil_brix_per_l),
        drawing=Tank(spec.tank),
        area_factor=area,
        depth=depth,
        strength=strength / 100.0,
    )


def _body(spec: SumpSpec, scenario: Scenario, area: float, holdup: float) -> Body:
    """Fill in what the equations need, in their units."""
    machine = spec.machine
    return Body(
        tank=Tank(spec.tank, area, spec.sludge_l),
        brim=spec.level_mm.brim,
        holdup=holdup,
        pump=machine.pump_l_min / 60.0,
        pump_heat=machine.pump_kw * 1e3,
        cut_heat=machine.cut_kw * 1e3,
        cut_evaporates=machine.cut_evaporates,
        cooling=machine.cooling_w_per_k,
        open_share=machine.open_share,
        air_speed=machine.air_m_s,
        spray_area=machine.spray_m2,
        spray_speed=machine.spray_m_s,
        evaporation=machine.evaporation,
        evaporation_factor=machine.evaporation_factor,
        carry_off=machine.carry_off_l_per_h / 3600.0,
        lumps=machine.lumps_share,
        bins=machine.bins_share,
        depletion=-math.log1p(-machine.depletion_pct_per_day / 100.0) / DAY_S,
        oil_rate=oil_while_running(spec, scenario) / DAY_S,
        fill_s=machine.fill_s,
        drain_s=machine.drain_min * 60.0,
        drain_slow_s=machine.drain_slow_min * 60.0,
        drain_slow_share=machine.drain_slow_share,
        return_share=machine.return_share,
        water_hardness=scenario.water.hardness_mg_l,
        water_chloride=scenario.water.chloride_mg_l,
        water_celsius=scenario.water.celsius,
    )


def oil_while_running(spec: SumpSpec, scenario: Scenario) -> float:
    """Tramp oil that comes in over 24 h of running, so that a day of work brings what it is to.

    [L/d]; none where nobody works.
    """
    hours = (spec.work or scenario.work).running_h
    return spec.machine.tramp_oil_l_per_day * 24.0 / hours if hours > 0.0 else 0.0
