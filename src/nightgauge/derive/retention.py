"""How long water and oil stay, how long they should, and how full the vessel is with gas."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.plant import Plant
from nightgauge.derive.spans import Floats
from nightgauge.physics.gas import Gas, gas_capacity_m3_per_day
from nightgauge.physics.liquids import oil_density_kg_m3
from nightgauge.physics.retention import effective_volume_m3, required_min, retention_min


@dataclass(frozen=True)
class Means:
    """Time-weighted means over each period, NaN where not known."""

    interface_m: Floats
    oil_level_m: Floats
    temperature_c: Floats
    pressure_kpag: Floats
    gas_m3_per_day: Floats


def retention_columns(plant: Plant, means: Means, water_load: Floats, oil_load: Floats) -> dict[str, Floats]:
    """Return retention of both liquids, what is required, and the gas load against the gas capacity."""
    vessel = plant.vessel
    temperature = _or_set(means.temperature_c, vessel.temperature_c)
    is_two_phase = vessel.normal_interface_m is None and plant.track("interface_level") is None
    interface = _or_set(means.interface_m, vessel.normal_interface_m)
    surface = _or_set(means.oil_level_m, vessel.normal_oil_level_m)
    columns = _required(plant, temperature)
    if plant.shell is None:
        return columns
    settling = (vessel.settling_length_m, vessel.solids_depth_m)
    water = np.asarray(effective_volume_m3(plant.shell, np.zeros_like(interface), interface, *settling))
    columns["water_retention_min"] = np.asarray(retention_min(water, water_load))
    if not is_two_phase:
        oil = np.asarray(effective_volume_m3(plant.shell, interface, surface, *settling))
        columns["oil_retention_min"] = np.asarray(retention_min(oil, oil_load))
    capacity = _gas_capacity(plant, surface, means.pressure_kpag, temperature)
    with np.errstate(invalid="ignore", divide="ignore"):
        columns["gas_load_fraction"] = means.gas_m3_per_day / capacity
    return columns


def _or_set(seen: Floats, setting: float | None) -> Floats:
    return seen if setting is None else np.where(np.isnan(seen), setting, seen)


def _required(plant: Plant, temperature: Floats) -> dict[str, Floats]:
    vessel = plant.vessel
    by_test = {"water": vessel.required_water_retention_min, "oil": vessel.required_oil_retention_min}
    return {
        f"{liquid}_required_min": np.asarray(required_min(tested, vessel.oil_gravity_degapi, temperature))
        for liquid, tested in by_test.items()
    }


def _gas_capacity(plant: Plant, surface: Floats, pressure_kpag: Floats, temperature: Floats) -> Floats:
    """Return the gas capacity, NaN where something it needs is not known. [m3/day]"""
    vessel = plant.vessel
    needed = (vessel.gas_specific_gravity, vessel.oil_gravity_degapi, vessel.mist_extractor)
    if plant.shell is None or any(one is None for one in needed):
        return np.full(surface.shape, np.nan)
    gas = Gas(float(needed[0] or 0.0), pressure_kpag + plant.field.atmospheric_pressure_kpa, temperature)
    liquid = np.asarray(oil_density_kg_m3(float(needed[1] or 0.0), temperature))
    return np.asarray(gas_capacity_m3_per_day(plant.shell, surface, gas, liquid, mist_extractor=bool(needed[2])))
