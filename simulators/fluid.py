"""The parts of a true sump: mix in one place, the book of flows, what is true of the body."""

from dataclasses import dataclass, fields

from simulators.tank import Tank


@dataclass(slots=True)
class Mix:
    """Water and concentrate in one place. [L]"""

    water: float = 0.0
    concentrate: float = 0.0

    @property
    def volume(self) -> float:
        """Both together. [L]"""
        return self.water + self.concentrate

    def give(self, volume: float) -> tuple[float, float]:
        """Take a volume [L] out, at most what is there: water and concentrate. [L]"""
        total = self.water + self.concentrate
        if total <= 0.0 or volume <= 0.0:
            return 0.0, 0.0
        share = volume / total
        if share >= 1.0:
            water, concentrate = self.water, self.concentrate
            self.water = self.concentrate = 0.0
            return water, concentrate
        water, concentrate = self.water * share, self.concentrate * share
        self.water -= water
        self.concentrate -= concentrate
        return water, concentrate

    def pour_into(self, other: "Mix", volume: float) -> None:
        """Move a volume [L] to another place."""
        water, concentrate = self.give(volume)
        other.water += water
        other.concentrate += concentrate


@dataclass(slots=True)
class Book:
    """What came in and went out since the beginning. [L], salts [mg]"""

    water_added: float = 0.0
    concentrate_added: float = 0.0
    ingress: float = 0.0
    evaporation: float = 0.0
    carry_off_water: float = 0.0
    carry_off_concentrate: float = 0.0
    depletion: float = 0.0
    leak_water: float = 0.0
    leak_concentrate: float = 0.0
    spilled_water: float = 0.0
    spilled_concentrate: float = 0.0
    drained_water: float = 0.0
    drained_concentrate: float = 0.0
    oil_in: float = 0.0
    oil_out: float = 0.0
    chloride_in: float = 0.0
    chloride_out: float = 0.0
    hardness_in: float = 0.0
    hardness_out: float = 0.0
    hardness_precipitated: float = 0.0

    def as_dict(self) -> dict[str, float]:
        """All entries by name."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """Unchanging truth about one sump and its machine, errors already drawn."""

    tank: Tank
    brim: float
    """Depth at which it spills. [mm]"""
    holdup: float
    """[L]"""
    pump: float
    """[L/s]"""
    pump_heat: float
    """[W]"""
    cut_heat: float
    """[W]"""
    cut_evaporates: float
    cooling: float
    """[W/K]"""
    open_share: float
    air_speed: float
    spray_area: float
    spray_speed: float
    evaporation: str
    evaporation_factor: float
    carry_off: float
    """While cutting. [L/s]"""
    lumps: float
    """Share of carry-off in lumps."""
    bins: float
    """Share of the lumps in chip bins."""
    depletion: float
    """[1/s]"""
    oil_rate: float
    """While running. [L/s]"""
    fill_s: float
    drain_s: float
    drain_slow_s: float
    drain_slow_share: float
    return_share: float
    water_hardness: float
    """Of make-up water. [mg/L]"""
    water_chloride: float
    """[mg/L]"""
    water_celsius: float


@dataclass(slots=True)
class Trouble:
    """What disturbs the sump at present. [L/s]"""

    leak: float = 0.0
    leak_running: float = 0.0
    ingress: float = 0.0
    ingress_running: float = 0.0
    carry_off: float = 0.0
    """While cutting, as mix, beyond the machine's own."""
