"""The limits of a vessel at one way of working: the rate that each part can take, and how that was reckoned."""

import math
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from nightgauge.capacity.work import Point
from nightgauge.field.settings import BackPressureValve, Field, Vessel, WaterDump
from nightgauge.physics.gas import Gas, gas_capacity_m3_per_day
from nightgauge.physics.geometry import Shell, shell
from nightgauge.physics.liquids import (
    dead_oil_viscosity_cp,
    oil_density_kg_m3,
    oil_specific_gravity,
    settling_velocity_m_per_s,
    water_density_kg_m3,
    water_viscosity_cp,
)
from nightgauge.physics.retention import effective_volume_m3, liquid_capacity_m3_per_day, required_retention_min
from nightgauge.physics.settling import OIL_DROP_IN_WATER_M, WATER_DROP_IN_OIL_M, layer, settling_rate_m3_per_day
from nightgauge.physics.valve import flow_m3_per_day, liquid_head_kpa
from nightgauge.units import to_display

_DECIMALS = {"in": 1, "psig": 1, "psi": 1}


@dataclass(frozen=True)
class Limit:
    """One limit: whose rate it is of, how much, and in words how it was reckoned or what is missing."""

    name: str
    phase: str
    rate_m3_per_day: float | None
    basis: str


@dataclass(frozen=True)
class Reckoner:
    """Reckons the limits of one vessel at one point with the settings in force at a time."""

    vessel: Vessel
    field: Field
    point: Point
    until: datetime

    def limits(self) -> tuple[Limit, ...]:
        """Return all limits; in a vessel of one liquid none of an oil layer."""
        liquids = ("water",) if self.vessel.is_two_phase else ("water", "oil")
        settling = () if self.vessel.is_two_phase else tuple(self._settling(phase) for phase in liquids)
        retention = tuple(self._retention(phase) for phase in liquids)
        return (*retention, *settling, self._gas(), self._water_dump(), self._oil_valve())

    def said(self, value: float, dimension: str) -> str:
        """Return an inside value in the field's display unit."""
        shown, unit = to_display(value, dimension, self.field.display_units)
        return f"{shown:,.{_DECIMALS.get(unit, 0)}f} {unit}"

    @cached_property
    def shell(self) -> Shell | None:
        """Return the vessel's inside, None where its dimensions are not known."""
        vessel = self.vessel
        return shell(vessel.inside_diameter_m, vessel.length_m, vessel.heads, vessel.orientation)

    @property
    def dump(self) -> WaterDump:
        """Return the settings of the water dump."""
        return self.vessel.water_dump_at(self.until)

    @property
    def oil_valve(self) -> BackPressureValve:
        """Return the settings of the oil valve."""
        return self.vessel.oil_valve_at(self.until)

    @property
    def water_gravity(self) -> float:
        """Return the water's specific gravity, fresh water's where it is not set."""
        return self.vessel.water_specific_gravity or 1.0

    def volume_m3(self, phase: str) -> float | None:
        """Return the volume in which a phase settles, None where its levels or the vessel are not known."""
        ends = self._levels(phase)
        if self.shell is None or ends is None:
            return None
        settling = (self.vessel.settling_length_m, self.vessel.solids_depth_m)
        return float(effective_volume_m3(self.shell, *ends, *settling))

    def required_min(self, phase: str) -> float | None:
        """Return the retention required: by bottle test, else by the published table."""
        vessel = self.vessel
        own = vessel.required_water_retention_min if phase == "water" else vessel.required_oil_retention_min
        if own is not None or vessel.oil_gravity_degapi is None:
            return own
        temperature = math.nan if self.point.temperature_c is None else self.point.temperature_c
        required = float(required_retention_min(vessel.oil_gravity_degapi, temperature).lower)
        return None if math.isnan(required) else required

    def dump_drop_kpa(self) -> float | None:
        """Return the pressure drop over the water dump with its interface where it stands."""
        point = self.point
        if point.interface_m is None or point.pressure_kpag is None or point.water_downstream_kpag is None:
            return None
        head = liquid_head_kpa(point.interface_m - (self.dump.elevation_m or 0.0), self.water_gravity)
        return float(point.pressure_kpag + head - point.water_downstream_kpag)

    def _levels(self, phase: str) -> tuple[float, float] | None:
        interface, surface = self.point.interface_m, self.point.oil_level_m
        if interface is None:
            return None
        if phase == "water":
            return 0.0, interface
        return None if surface is None else (interface, surface)

    def _retention(self, phase: str) -> Limit:
        name = f"{phase} retention"
        volume, required = self.volume_m3(phase), self.required_min(phase)
        if volume is None:
            return Limit(name, phase, None, f"needs {self._missing_of_volume(phase)}")
        if required is None:
            return Limit(name, phase, None, f"needs required_retention of {phase}, or oil_gravity and temperature")
        rate = float(liquid_capacity_m3_per_day(volume, required))
        source = "bottle test" if self._is_bottle_tested(phase) else "published table"
        held = f"{self.said(volume, 'volume')} held, {required:.3g} min required by {source}"
        return Limit(name, phase, rate, held)

    def _is_bottle_tested(self, phase: str) -> bool:
        vessel = self.vessel
        own = vessel.required_water_retention_min if phase == "water" else vessel.required_oil_retention_min
        return own is not None

    def _missing_of_volume(self, phase: str) -> str:
        if self.shell is None:
            return "inside_diameter, length, heads and orientation"
        if self.point.interface_m is None:
            return "an interface level or normal_interface"
        return "an oil level or normal_oil_level" if phase == "oil" else "its levels"

    def _settling(self, phase: str) -> Limit:
        """Return the rate of a liquid above which drops of the other of the stated size no longer leave it."""
        name = f"{phase} settling"
        ends, gravity, temperature = self._levels(phase), self.vessel.oil_gravity_degapi, self.point.temperature_c
        if self.shell is None or ends is None:
            return Limit(name, phase, None, f"needs {self._missing_of_volume(phase)}")
        if gravity is None or temperature is None:
            return Limit(name, phase, None, "needs oil_gravity and temperature")
        lighter = float(oil_density_kg_m3(gravity, temperature))
        heavier = float(water_density_kg_m3(temperature, self.water_gravity))
        is_oil = phase == "oil"
        viscosity = float(dead_oil_viscosity_cp(gravity, temperature) if is_oil else water_viscosity_cp(temperature))
        drop_m = WATER_DROP_IN_OIL_M if is_oil else OIL_DROP_IN_WATER_M
        velocity = settling_velocity_m_per_s(drop_m, heavier - lighter, viscosity)
        settling = (self.vessel.settling_length_m, self.vessel.solids_depth_m)
        rate = float(settling_rate_m3_per_day(layer(self.shell, *ends, *settling), velocity))
        drops = f"{'water' if is_oil else 'oil'} drops of {drop_m * 1e6:.0f} um"
        basis = f"{drops} cross the layer in time, {viscosity:.2g} cP and even flow: at most this"
        return Limit(name, phase, None if math.isnan(rate) else rate, basis)

    def _gas(self) -> Limit:
        vessel, point = self.vessel, self.point
        surface = point.interface_m if vessel.is_two_phase else point.oil_level_m
        missing = [
            word
            for word, value in (
                ("dimensions", self.shell), ("an oil level or normal_oil_level", surface),
                ("gas_specific_gravity", vessel.gas_specific_gravity), ("oil_gravity", vessel.oil_gravity_degapi),
                ("mist_extractor", vessel.mist_extractor), ("a pressure", point.pressure_kpag),
                ("temperature", point.temperature_c),
            )
            if value is None
        ]  # fmt: skip
        if missing or self.shell is None or surface is None:
            return Limit("gas", "gas", None, f"needs {', '.join(missing)}")
        pressure, temperature = point.pressure_kpag or 0.0, point.temperature_c or 0.0
        gas = Gas(vessel.gas_specific_gravity or 0.0, pressure + self.field.atmospheric_pressure_kpa, temperature)
        liquid = float(oil_density_kg_m3(vessel.oil_gravity_degapi or 0.0, temperature))
        extractor = bool(vessel.mist_extractor)
        rate = float(gas_capacity_m3_per_day(self.shell, surface, gas, liquid, mist_extractor=extractor))
        basis = f"at {self.said(pressure, 'pressure')}, {'with' if extractor else 'without'} mist extractor"
        return Limit("gas", "gas", rate, basis)

    def _water_dump(self) -> Limit:
        drop, cv = self.dump_drop_kpa(), self.dump.cv
        if cv is None:
            return Limit("water dump", "water", None, "needs cv of the water dump")
        if drop is None:
            return Limit("water dump", "water", None, "needs pressure, interface and downstream_pressure")
        rate = float(flow_m3_per_day(cv, drop, self.water_gravity))
        return Limit("water dump", "water", rate, f"Cv {cv:g} open all day at {self.said(drop, 'pressure difference')}")

    def _oil_valve(self) -> Limit:
        point, valve = self.point, self.oil_valve
        gravity = self.vessel.oil_gravity_degapi
        if valve.cv is None:
            return Limit("oil valve", "oil", None, "needs cv of the oil valve")
        if point.pressure_kpag is None or point.oil_downstream_kpag is None or gravity is None:
            return Limit("oil valve", "oil", None, "needs pressure, downstream_pressure and oil_gravity")
        drop = point.pressure_kpag - point.oil_downstream_kpag
        rate = float(flow_m3_per_day(valve.cv, drop, float(oil_specific_gravity(gravity))))
        basis = f"Cv {valve.cv:g} wide open at {self.said(drop, 'pressure difference')}, liquid head left out"
        return Limit("oil valve", "oil", rate, basis)
