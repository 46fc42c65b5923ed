"""Tanks of the plant file as the computation knows them."""

from typing import assert_never

from advisor.geometry import Box, LyingCylinder, Table, Tank, UprightCylinder
from agent.plant.sump_models import (
    BoxModel,
    LyingCylinderModel,
    TableModel,
    TankModel,
    UprightCylinderModel,
)


def tank(model: TankModel) -> Tank:
    """Convert a tank of the plant file.

    Raises
    ------
    AdvisorError
        If no tank can be so.
    """
    match model:
        case BoxModel():
            return Box(length=model.length_mm, width=model.width_mm, height=model.height_mm)
        case UprightCylinderModel():
            return UprightCylinder(diameter=model.diameter_mm, height=model.height_mm)
        case LyingCylinderModel():
            return LyingCylinder(diameter=model.diameter_mm, length=model.length_mm)
        case TableModel():
            return Table(depth=tuple(model.depth_mm), volume=tuple(model.volume_l))
        case _:
            assert_never(model)
