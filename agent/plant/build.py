"""From the models of a checked plant file to the plant, every unit converted."""

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from advisor.plan import Fluid, Levels, Station, SumpPlan, Supply, Vessel
from advisor.units import fraction_from_percent
from advisor.words import DAY
from agent.plant.build_alarms import alarm_plan, alarm_plans, check_intervals
from agent.plant.build_notify import rule
from agent.plant.build_signals import bindings, signal_plans
from agent.plant.checks import split_url
from agent.plant.material_models import (
    ConcentrateModel,
    DrumModel,
    PremixModel,
    ProportionerModel,
    SupplyModel,
    VesselModel,
    WaterModel,
)
from agent.plant.models import BrokerSection, HistorianSection, PlantModel, StoreSection
from agent.plant.operation_checks import operation_settings
from agent.plant.page_checks import split_listen
from agent.plant.page_model import PageSection
from agent.plant.plant import BrokerSettings, HistorianSettings, Keeping, PageSettings, Plant
from agent.plant.sump_models import LevelsModel, StationModel, SumpModel
from agent.plant.tanks import tank

_PORTS: Mapping[str, int] = {"mqtt": 1883, "mqtts": 8883}
"""Registered with IANA as mqtt and secure-mqtt."""


def build(model: PlantModel, folder: Path) -> Plant:
    """Convert a plant file whose models and checks have found nothing wrong.

    Parameters
    ----------
    model : PlantModel
        What stands in the file.
    folder : Path
        Where it stands: paths in it are relative to this.
    """
    plant = model.plant
    fluids = {concentrate.id: _fluid(concentrate) for concentrate in model.concentrate}
    supplies = {supply.id: _supply(supply) for supply in model.supply}
    vessels = {vessel.id: _vessel(vessel) for vessel in model.vessel}
    kept = model.store or StoreSection()
    return Plant(
        id=plant.id,
        name=plant.name or plant.id,
        units=plant.units,
        timezone=plant.timezone,
        prefix=model.broker.prefix or f"millpond/{plant.id}",
        broker=_broker(model.broker, plant.id, folder),
        store=folder / (kept.path or f"{plant.id}.db"),
        sumps=MappingProxyType(
            {sump.id: _sump(sump, model, fluids, supplies, vessels) for sump in model.sump}
        ),
        bindings=tuple(binding for sump in model.sump for binding in bindings(sump)),
        supplies=MappingProxyType(supplies),
        vessels=MappingProxyType(vessels),
        lateness_ms=round(plant.lateness_s * 1000),
        backlog_max_ms=round(plant.backlog_max_d * DAY),
        historian=None if model.historian is None else _historian(model.historian, folder),
        keeping=Keeping(
            raw=round(kept.raw_days * DAY),
            minutes=round(kept.minute_days * DAY),
            hours=round(kept.hour_days * DAY),
            records=round(kept.record_days * DAY),
        ),
        page=None if model.page is None else _page(model.page, plant.name or plant.id, folder),
        operation=operation_settings(model.operation),
        alarms=MappingProxyType({key: alarm_plan(key, a) for key, a in model.alarms.items()}),
        notify=tuple(map(rule, model.notify)),
    )


def _historian(model: HistorianSection, folder: Path) -> HistorianSettings:
    """How to reach the historian."""
    return HistorianSettings(
        url=model.url.rstrip("/"),
        org=model.org,
        bucket=model.bucket,
        ca_file=None if model.ca_file is None else folder / model.ca_file,
    )


def _broker(model: BrokerSection, plant: str, folder: Path) -> BrokerSettings:
    """How to reach the broker."""
    split = split_url(model.url)
    if split is None or split[0].hostname is None:
        raise ValueError("the broker's address was not checked")
    parts, port = split
    files = (model.ca_file, model.cert_file, model.key_file)
    ca_file, cert_file, key_file = (None if name is None else folder / name for name in files)
    return BrokerSettings(
        host=parts.hostname or "",
        port=_PORTS[parts.scheme] if port is None else port,
        tls=parts.scheme == "mqtts",
        ca_file=ca_file,
        cert_file=cert_file,
        key_file=key_file,
        client_id=model.client_id or f"millpond-{plant}",
    )


def _page(model: PageSection, title: str, folder: Path) -> PageSettings:
    """Where the page listens, and for whom."""
    address = split_listen(model.listen)
    if address is None:
        raise ValueError("the page's address was not checked")
    users, cert_file, key_file = (
        None if name is None else folder / name
        for name in (model.users, model.cert_file, model.key_file)
    )
    return PageSettings(
        host=address[0],
        port=address[1],
        title=model.title or title,
        hosts=tuple(model.hosts),
        language=model.language,
        users=users,
        session_ms=round(model.session_h * 3_600_000),
        cert_file=cert_file,
        key_file=key_file,
    )


# --- what is poured ------------------------------------------------------------------------------


def _fluid(model: ConcentrateModel) -> Fluid:
    """Fluid of a concentrate."""
    ph_low, ph_high = model.ph_band or (None, None)
    conductivity_low, conductivity_high = model.conductivity_band_ms_cm or (None, None)
    return Fluid(
        id=model.id,
        name=model.name or model.id,
        refractometer_factor=model.refractometer_factor,
        band_low=fraction_from_percent(model.band_pct[0]),
        band_high=fraction_from_percent(model.band_pct[1]),
        target=fraction_from_percent(model.target_pct),
        premix_max=fraction_from_percent(model.premix_max_pct),
        weak_mix=fraction_from_percent(model.weak_mix_pct),
        price=model.price_per_l,
        disposal=model.disposal_per_l,
        density=model.density,
        ph_low=ph_low,
        ph_high=ph_high,
        conductivity_low=conductivity_low,
        conductivity_high=conductivity_high,
        hardness_limit=model.hardness_limit_mg_l,
        chloride_limit=model.chloride_limit_mg_l,
        circulate=model.circulate_min,
        turnovers=model.turnovers,
    )


def _supply(model: SupplyModel) -> Supply:
    """Supply of any kind."""
    match model:
        case WaterModel():
            return Supply(
                id=model.id,
                kind="water",
                hardness=model.hardness_mg_l,
                chloride=model.chloride_mg_l,
                nitrate=model.nitrate_mg_l,
                name=model.name,
            )
        case DrumModel():
            return Supply(
                id=model.id,
                kind="drum",
                fluid=model.concentrate,
                volume=model.volume_l,
                name=model.name,
                reorder=model.reorder_l,
            )
        case PremixModel():
            return Supply(
                id=model.id,
                kind="premix",
                fluid=model.concentrate,
                volume=model.volume_l,
                strength=fraction_from_percent(model.strength_pct),
                name=model.name,
                reorder=model.reorder_l,
            )
        case ProportionerModel():
            return Supply(
                id=model.id,
                kind="proportioner",
                fluid=model.concentrate,
                settings=_settings(model),
                name=model.name,
            )


def _settings(model: ProportionerModel) -> tuple[float, ...]:
    """Strengths that a proportioner can be set to, each mark of a dial one of them. [1]"""
    given = model.settings_pct or ()
    if model.dial_pct is not None:
        low, high = model.dial_pct
        marks = int((high - low) / model.dial_step_pct + 1e-9)
        given = [low + mark * model.dial_step_pct for mark in range(marks + 1)]
    return tuple(sorted({fraction_from_percent(setting) for setting in given}))


def _vessel(model: VesselModel) -> Vessel:
    """What is poured with."""
    return Vessel(
        id=model.id,
        volume=model.volume_l,
        graduation=model.graduation_l,
        carry_fill=model.carry_fill,
        graduation_unit=model.graduation_unit,
    )


# --- sumps ---------------------------------------------------------------------------------------


def _sump(
    model: SumpModel,
    whole: PlantModel,
    fluids: Mapping[str, Fluid],
    supplies: Mapping[str, Supply],
    vessels: Mapping[str, Vessel],
) -> SumpPlan:
    """Everything about one sump."""
    fluid = fluids[model.concentrate]
    used = supplies if model.supplies is None else {name: supplies[name] for name in model.supplies}
    carried = vessels if model.vessels is None else {name: vessels[name] for name in model.vessels}
    return SumpPlan(
        id=model.id,
        name=model.name or model.id,
        fluid=fluid,
        tank=tank(model.tank),
        levels=_levels(model.level_mm),
        holdup=model.holdup_l,
        signals=MappingProxyType(signal_plans(model)),
        vessels=tuple(carried.values()),
        supplies=tuple(s for s in used.values() if s.fluid in {None, fluid.id}),
        station=None if model.station is None else _station(model.station),
        pump_flow=model.pump_l_min,
        headroom=model.headroom_mm,
        margin_sd=model.margin_sd,
        alarms=MappingProxyType(alarm_plans(model.alarms, whole.alarms)),
        checks=MappingProxyType(check_intervals(model.checks, whole.checks)),
    )


def _levels(model: LevelsModel) -> Levels:
    """Depths, the top-up depth settled."""
    midway = (model.low + model.target) / 2.0
    return Levels(
        low=model.low,
        target=model.target,
        brim=model.brim,
        top_up=midway if model.top_up is None else model.top_up,
        low_running=model.low_running,
    )


def _station(model: StationModel) -> Station:
    """Dosing unit."""
    return Station(
        automatic=model.automatic,
        max_dose=model.max_dose_l,
        max_day=model.max_day_l,
        max_hour=model.max_hour_l,
        min_dose=model.min_dose_l,
        resolution=model.resolution_l,
        slowest=model.slowest_l_min,
    )
