"""The fixed numbers of all vessels side by side, as the plant's steps need them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.errors import ProgrammerError
from nightgauge.physics.geometry import Shell, shell
from nightgauge.simulate.plan import DAY_S, VesselPlan

Array = npt.NDArray[np.float64]

GRAVITY_KPA_PER_M = 9.80665
"""Pressure of a metre of liquid of specific gravity 1. [kPa/m]"""
_GPM_M3_PER_S = 0.003785411784 / 60.0
_PSI_KPA = 6.894757293168361
_TABLE = 4097  # points of volume to level; straight lines between them are right to 0.1 mm away from the ends
_WEIR = 1.84  # m^0.5/s, sharp-crested weir by Francis, q = 1.84 b h^1.5


def vessel_shell(vessel: VesselPlan) -> Shell:
    """Return the inside of a vessel; a plan without dimensions cannot be simulated."""
    s = vessel.settings
    found = shell(s.inside_diameter_m, s.length_m, s.heads, s.orientation)
    if found is None:
        raise ProgrammerError(f"plan of {vessel.id}: diameter, length, heads and orientation are all needed")
    return found


@dataclass(frozen=True)
class Statics:
    """One number per vessel each; the table has one row per vessel."""

    total_m3: Array
    level_table: Array
    """Levels at evenly spaced volumes from 0 to the total, flattened row by row. [m]"""
    points: int
    height_m: Array
    weir_m: Array
    weir_m3_per_s: Array
    """Flow over the weir at a head of 1 m."""
    start_water_m3: Array
    start_oil_m3: Array
    water_gravity: Array
    oil_gravity: Array
    outlet_m: Array
    cv: Array
    water_valve: Array
    """Flow per Cv and per square root of kPa. [m3/s]"""
    is_snap: npt.NDArray[np.bool_]
    stroke_s: Array
    nozzle_m: Array
    water_downstream_kpag: Array
    water_loss: Array
    """Line loss per squared flow. [kPa/(m3/s)^2]"""
    oil_droop_kpa: Array
    oil_capacity: Array
    oil_gas_ratio: Array
    gas_droop_kpa: Array
    gas_capacity: Array
    line_pack_m3: Array
    inflow_per_kpa: Array
    oil_holds_kpag: Array
    cut_floor: Array
    cut_short: Array
    cut_minutes: Array
    oiw_floor: Array
    oiw_short: Array
    oiw_minutes: Array
    temperature_c: Array
    atmosphere_kpa: Array


def statics(vessels: tuple[VesselPlan, ...]) -> Statics:
    """Return the vessels' numbers as arrays."""
    shells = [vessel_shell(v) for v in vessels]
    totals = [s.total_volume_m3 for s in shells]
    tables = [s.level_m(np.linspace(0.0, t, _TABLE)) for s, t in zip(shells, totals, strict=True)]
    weirs = [_weir_m(v) for v in vessels]
    start_levels = [0.5 * (v.physics.opens_at_m + v.physics.closes_at_m) for v in vessels]
    water = [s.volume_m3(level) for s, level in zip(shells, start_levels, strict=True)]
    liquid = [s.volume_m3(w) for s, w in zip(shells, weirs, strict=True)]

    def per(pick: Callable[[VesselPlan], float]) -> Array:
        return np.array([pick(v) for v in vessels], dtype=np.float64)

    water_gravity = per(lambda v: v.settings.water_specific_gravity or 1.0)
    rated = per(lambda v: v.physics.cv) * _valve(water_gravity) * np.sqrt(np.maximum(per(_rated_drop_kpa), 1.0))
    return Statics(
        total_m3=np.array(totals),
        level_table=np.concatenate(tables),
        points=_TABLE,
        height_m=np.array([s.height_m for s in shells]),
        weir_m=np.array(weirs),
        weir_m3_per_s=_WEIR * 0.6 * np.array([s.inside_diameter_m for s in shells]),  # weir over 0.6 of the diameter
        start_water_m3=np.array(water),
        start_oil_m3=np.array(liquid) - np.array(water),
        water_gravity=water_gravity,
        oil_gravity=per(lambda v: 141.5 / (131.5 + (v.settings.oil_gravity_degapi or 30.0))),
        outlet_m=per(lambda v: v.settings.water_dump[0].elevation_m or 0.0),
        cv=per(lambda v: v.physics.cv),
        water_valve=_valve(water_gravity),
        is_snap=np.array([v.is_snap for v in vessels]),
        stroke_s=per(lambda v: v.physics.stroke_s),
        nozzle_m=per(lambda v: v.physics.nozzle_m),
        water_downstream_kpag=per(lambda v: v.physics.water_downstream_kpag),
        water_loss=per(lambda v: v.physics.water_line_loss_kpa) / rated**2,
        oil_droop_kpa=per(lambda v: v.physics.oil_droop_kpa),
        oil_capacity=per(lambda v: v.physics.oil_capacity_m3_per_day) / DAY_S,
        oil_gas_ratio=per(lambda v: v.physics.oil_gas_ratio),
        gas_droop_kpa=per(lambda v: v.physics.gas_droop_kpa),
        gas_capacity=per(lambda v: v.physics.gas_capacity_m3_per_day) / DAY_S,
        line_pack_m3=per(lambda v: v.physics.line_pack_m3),
        inflow_per_kpa=per(lambda v: v.physics.inflow_per_kpa),
        oil_holds_kpag=per(lambda v: v.physics.oil_holds_kpag),
        cut_floor=per(lambda v: v.physics.cut_floor),
        cut_short=per(lambda v: v.physics.cut_short),
        cut_minutes=per(lambda v: v.physics.cut_minutes),
        oiw_floor=per(lambda v: v.physics.oil_in_water_floor_mg_l),
        oiw_short=per(lambda v: v.physics.oil_in_water_short_mg_l),
        oiw_minutes=per(lambda v: v.physics.oil_in_water_minutes),
        temperature_c=per(lambda v: v.physics.temperature_c),
        atmosphere_kpa=per(lambda v: v.physics.atmosphere_kpa),
    )


def _weir_m(vessel: VesselPlan) -> float:
    level = vessel.settings.normal_oil_level_m
    if level is None:
        raise ProgrammerError(f"plan of {vessel.id}: normal_oil_level is needed, the oil leaves over it")
    return level


def _valve(gravity: Array) -> Array:
    """Return flow per Cv and square root of kPa: Q [gpm] = Cv sqrt(dp [psi] / SG)."""
    return np.asarray(_GPM_M3_PER_S / np.sqrt(_PSI_KPA * gravity))


def _rated_drop_kpa(vessel: VesselPlan) -> float:
    return vessel.physics.oil_holds_kpag - vessel.physics.water_downstream_kpag
