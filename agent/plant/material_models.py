"""Concentrates, what they and the water come from, and what people pour with."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from agent.plant.fields import Amount, Id, Litres, Name, Percent, Positive, Section, UnitName

Strength: TypeAlias = Annotated[float, Field(allow_inf_nan=False, gt=0.0, lt=100.0)]
"""Of a mix that holds both water and concentrate, in % of the mix."""

Band: TypeAlias = Annotated[list[Positive], Field(min_length=2, max_length=2)]
"""Lowest and highest that is allowed."""

PhBand: TypeAlias = Annotated[
    list[Annotated[float, Field(allow_inf_nan=False, gt=0.0, lt=14.0)]],
    Field(min_length=2, max_length=2),
]


_REORDER = "what is left when it is to be ordered; absent: a fifth of the full content [L]"


class ConcentrateModel(Section):
    """A concentrate and the rules for the fluid made of it; from its data sheet."""

    id: Id = Field(description="id of the concentrate")
    name: Name = Field(default="", description="what stands on the drum")
    refractometer_factor: Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=20.0)] = Field(
        description="concentration in % of the mix per degree Brix"
    )
    band_pct: Band = Field(description="lowest and highest concentration allowed, % of the mix")
    target_pct: Strength = Field(description="concentration aimed for, % of the mix")
    premix_max_pct: Strength = Field(
        default=20.0, description="strongest mix that may be made outside the sump, % of the mix"
    )
    weak_mix_pct: Percent = Field(
        default=0.0,
        description="mix used in place of plain water, % of the mix; 0: plain water may be added",
    )
    price_per_l: Amount | None = Field(default=None, description="price of a litre")
    disposal_per_l: Amount | None = Field(
        default=None, description="cost of getting rid of a litre of used fluid"
    )
    density: Annotated[float, Field(allow_inf_nan=False, ge=0.5, le=2.0)] | None = Field(
        default=None, description="density of the concentrate at 20 °C [kg/L]"
    )
    ph_band: PhBand | None = Field(
        default=None, description="lowest and highest pH of the fluid in use"
    )
    conductivity_band_ms_cm: Band | None = Field(
        default=None, description="lowest and highest conductivity of the fluid in use [mS/cm]"
    )
    hardness_limit_mg_l: Positive | None = Field(
        default=None, description="hardness that the fluid stands, as CaCO3 [mg/L]"
    )
    chloride_limit_mg_l: Positive | None = Field(
        default=None, description="chloride that the fluid stands [mg/L]"
    )
    circulate_min: Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=1440.0)] = Field(
        default=30.0, description="how long the pumps run until a mix is mixed [min]"
    )
    turnovers: Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=100.0)] | None = Field(
        default=None,
        description="how often the pumps turn the fluid over until it is mixed; with pump_l_min",
    )


class WaterModel(Section):
    """A water line or tank."""

    kind: Literal["water"] = Field(description="water")
    id: Id = Field(description="id of the supply")
    name: Name = Field(default="", description="what people call it")
    hardness_mg_l: Amount | None = Field(default=None, description="hardness, as CaCO3 [mg/L]")
    chloride_mg_l: Amount | None = Field(default=None, description="chloride [mg/L]")
    nitrate_mg_l: Amount | None = Field(default=None, description="nitrate, as NO3 [mg/L]")


class DrumModel(Section):
    """Concentrate as it is delivered."""

    kind: Literal["drum"] = Field(description="concentrate, undiluted")
    id: Id = Field(description="id of the supply")
    name: Name = Field(default="", description="what people call it")
    concentrate: Id = Field(description="id of the concentrate in it")
    volume_l: Litres | None = Field(default=None, description="content when full [L]")
    reorder_l: Amount | None = Field(default=None, description=_REORDER)


class PremixModel(Section):
    """A stock of ready mix, such as a tote."""

    kind: Literal["premix"] = Field(description="a mix made beforehand")
    id: Id = Field(description="id of the supply")
    name: Name = Field(default="", description="what people call it")
    concentrate: Id = Field(description="id of the concentrate in it")
    strength_pct: Strength = Field(description="its strength, % of the mix")
    volume_l: Litres | None = Field(default=None, description="content when full [L]")
    reorder_l: Amount | None = Field(default=None, description=_REORDER)


class ProportionerModel(Section):
    """A device on a water line that draws concentrate into the water at a set strength."""

    kind: Literal["proportioner"] = Field(description="mixes while it is drawn")
    id: Id = Field(description="id of the supply")
    name: Name = Field(default="", description="what people call it")
    concentrate: Id = Field(description="id of the concentrate that it draws")
    settings_pct: Annotated[list[Percent], Field(min_length=1, max_length=1000)] | None = Field(
        default=None, description="strengths that it can be set to, % of the mix"
    )
    dial_pct: Band | None = Field(
        default=None,
        description="in place of settings: lowest and highest strength of its dial, % of the mix",
    )
    dial_step_pct: Positive = Field(
        default=0.5, description="distance of the marks on the dial, % of the mix"
    )


SupplyModel: TypeAlias = Annotated[
    WaterModel | DrumModel | PremixModel | ProportionerModel, Field(discriminator="kind")
]
"""Where water, concentrate or a mix comes from."""


class VesselModel(Section):
    """A bucket, a can: what people pour with."""

    id: Id = Field(description="id of the vessel")
    name: Name = Field(default="", description="what people call it")
    volume_l: Litres = Field(description="content when full [L]")
    graduation_l: Litres = Field(default=0.1, description="distance of its marks [L]")
    graduation_unit: UnitName = Field(default="L", description="unit in which its marks are read")
    carry_fill: Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=1.0)] = Field(
        default=0.8, description="part of its content that is carried without spilling"
    )
