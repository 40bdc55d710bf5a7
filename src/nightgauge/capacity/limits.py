"""The limits of a vessel at one way of working: the rate that each part can take, and how that was reckoned."""

import math
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

from nightgauge.capacity.work import Loads, Point
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
from nightgauge.physics.retention import (
    effective_volume_m3,
    liquid_capacity_m3_per_day,
    required_min,
    retention_min,
)
from nightgauge.physics.settling import (
    OIL_DROP_IN_WATER_M,
    WATER_DROP_IN_OIL_M,
    Layer,
    largest_pad_m,
    layer,
    settling_rate_m3_per_day,
    smallest_drop_m,
)
from nightgauge.physics.valve import flow_m3_per_day, liquid_head_kpa
from nightgauge.units import to_display

_DECIMALS = {"in": 1, "psig": 1, "psi": 1}
_THICK_CP = 10.0  # from here on two digits are whole numbers


@dataclass(frozen=True)
class Limit:
    """One limit: whose rate it is of, how much, and in words how it was reckoned or what is missing."""

    name: str
    phase: str
    rate_m3_per_day: float | None
    basis: str


@dataclass(frozen=True)
class Drops:
    """Drops of the other liquid on their way out of a layer."""

    size_m: float
    density_difference_kg_m3: float
    viscosity_cp: float
    """Of the layer's liquid, without emulsion."""

    @property
    def velocity_m_per_s(self) -> float:
        """Return how fast they cross the layer."""
        return settling_velocity_m_per_s(self.size_m, self.density_difference_kg_m3, self.viscosity_cp)


@dataclass(frozen=True)
class Reckoner:
    """Reckons the limits of one vessel at one point with the settings in force at a time."""

    vessel: Vessel
    field: Field
    point: Point
    loads: Loads
    until: datetime

    def at(self, *, interface_m: float | None = None, pressure_kpag: float | None = None) -> "Reckoner":
        """Return the same vessel at another interface or pressure; None leaves as it is."""
        interface = self.point.interface_m if interface_m is None else interface_m
        pressure = self.point.pressure_kpag if pressure_kpag is None else pressure_kpag
        return replace(self, point=replace(self.point, interface_m=interface, pressure_kpag=pressure))

    def high(self, phase: str) -> float | None:
        """Return the high load of a phase. [m3/day]"""
        load = self.loads.get(phase)
        return None if load is None else load.high

    def used(self, limit: Limit) -> float | None:
        """Return the share of a limit that the high load takes; None where either is unknown or nothing passes."""
        load = self.high(limit.phase)
        return load / limit.rate_m3_per_day if load is not None and limit.rate_m3_per_day else None

    def used_most(self) -> tuple[Limit, float] | None:
        """Return the limit that the loads use most, and how much of it."""
        known = [(limit, used) for limit in self.limits() if (used := self.used(limit)) is not None]
        return max(known, key=lambda one: one[1], default=None)

    def retention_used(self, phase: str) -> float | None:
        """Return the share of a phase's volume that the high load needs to stay as long as required."""
        return self.used(self._retention(phase))

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
        temperature = math.nan if self.point.temperature_c is None else self.point.temperature_c
        required = required_min(self._by_bottle_test(phase), self.vessel.oil_gravity_degapi, temperature)
        return None if math.isnan(required) else required

    def _by_bottle_test(self, phase: str) -> float | None:
        vessel = self.vessel
        return vessel.required_water_retention_min if phase == "water" else vessel.required_oil_retention_min

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
        source = "published table" if self._by_bottle_test(phase) is None else "bottle test"
        held = f"{self.said(volume, 'volume')} held, {required:.3g} min required by {source}"
        return Limit(name, phase, rate, held)

    def _missing_of_volume(self, phase: str) -> str:
        if self.shell is None:
            return "inside_diameter, length, heads and orientation"
        if self.point.interface_m is None:
            return "an interface level or normal_interface"
        return "an oil level or normal_oil_level" if phase == "oil" else "its levels"

    def drops(self, phase: str) -> Drops | None:
        """Return the drops that have to leave a liquid, None where the liquids are not known well enough."""
        gravity, temperature = self.vessel.oil_gravity_degapi, self.point.temperature_c
        if gravity is None or temperature is None:
            return None
        difference = water_density_kg_m3(temperature, self.water_gravity) - oil_density_kg_m3(gravity, temperature)
        if phase == "oil":
            return Drops(WATER_DROP_IN_OIL_M, difference, dead_oil_viscosity_cp(gravity, temperature))
        return Drops(OIL_DROP_IN_WATER_M, difference, water_viscosity_cp(temperature))

    def _settling(self, phase: str) -> Limit:
        """Return the rate of a liquid above which drops of the other of the stated size no longer leave it."""
        name = f"{phase} settling"
        ends, drops = self._levels(phase), self.drops(phase)
        if self.shell is None or ends is None:
            return Limit(name, phase, None, f"needs {self._missing_of_volume(phase)}")
        if drops is None:
            return Limit(name, phase, None, "needs oil_gravity and temperature")
        through = layer(self.shell, *ends, self.vessel.settling_length_m, self.vessel.solids_depth_m)
        rate = settling_rate_m3_per_day(through, drops.velocity_m_per_s)
        if math.isnan(rate):
            return Limit(
                name, phase, None, "needs a layer with a depth, and a temperature that its viscosity is known at"
            )
        other = "water" if phase == "oil" else "oil"
        thick = f"{drops.viscosity_cp:{'.2g' if drops.viscosity_cp < _THICK_CP else ',.0f'}} cP"
        basis = (
            f"{other} drops of {drops.size_m * 1e6:.0f} um cross it in time, {thick} without "
            f"emulsion and even flow: at most this{self._settling_at_load(phase, through, drops)}"
        )
        return Limit(name, phase, rate, basis)

    def _settling_at_load(self, phase: str, through: Layer[float], drops: Drops) -> str:
        """Say how deep the layer may be and which drops still settle at the high load."""
        load = self.high(phase)
        if not load or through.volume_m3 <= 0.0:
            return ""
        deepest = largest_pad_m(retention_min(through.volume_m3, load), drops.velocity_m_per_s)
        finest = smallest_drop_m(through, load, drops.density_difference_kg_m3, drops.viscosity_cp)
        return (
            f"; at the high load {self.said(deepest, 'length')} of it could be crossed, it is "
            f"{self.said(through.depth_m, 'length')}, and drops from {finest * 1e6:.0f} um up settle"
        )

    def gas_rate_m3_per_day(self, inside: Shell, surface_m: float) -> float | None:
        """Return the gas rate that a vessel of these dimensions takes; None where gas or liquid are not known."""
        vessel, point = self.vessel, self.point
        gravity, oil, extractor = vessel.gas_specific_gravity, vessel.oil_gravity_degapi, vessel.mist_extractor
        if gravity is None or oil is None or extractor is None:
            return None
        if point.pressure_kpag is None or point.temperature_c is None:
            return None
        gas = Gas(gravity, point.pressure_kpag + self.field.atmospheric_pressure_kpa, point.temperature_c)
        liquid = oil_density_kg_m3(oil, point.temperature_c)
        rate = gas_capacity_m3_per_day(inside, surface_m, gas, liquid, mist_extractor=extractor)
        return None if math.isnan(rate) else rate

    def _gas(self) -> Limit:
        vessel, point = self.vessel, self.point
        surface = point.interface_m if vessel.is_two_phase else point.oil_level_m
        rate = None if self.shell is None or surface is None else self.gas_rate_m3_per_day(self.shell, surface)
        if rate is None:
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
            return Limit("gas", "gas", None, f"needs {', '.join(missing) or 'a gas lighter than the liquid'}")
        at = self.said(point.pressure_kpag or 0.0, "pressure")
        return Limit("gas", "gas", rate, f"at {at}, {'with' if vessel.mist_extractor else 'without'} mist extractor")

    def _water_dump(self) -> Limit:
        drop, cv = self.dump_drop_kpa(), self.dump.cv
        if cv is None:
            return Limit("water dump", "water", None, "needs cv of the water dump")
        if drop is None:
            return Limit("water dump", "water", None, "needs pressure, interface and downstream_pressure")
        rate = flow_m3_per_day(cv, drop, self.water_gravity)
        wide = "fully" if self.dump.action == "throttling" else "all day"
        return Limit("water dump", "water", rate, self._passed(f"Cv {cv:g} open {wide} at", drop))

    def oil_valve_drop_kpa(self) -> float | None:
        """Return the pressure drop over the oil valve, without the liquid's head."""
        point = self.point
        if point.pressure_kpag is None or point.oil_downstream_kpag is None:
            return None
        return point.pressure_kpag - point.oil_downstream_kpag

    def _oil_valve(self) -> Limit:
        drop, cv, gravity = self.oil_valve_drop_kpa(), self.oil_valve.cv, self.vessel.oil_gravity_degapi
        if cv is None:
            return Limit("oil valve", "oil", None, "needs cv of the oil valve")
        if drop is None or gravity is None:
            return Limit("oil valve", "oil", None, "needs pressure, downstream_pressure and oil_gravity")
        rate = flow_m3_per_day(cv, drop, oil_specific_gravity(gravity))
        basis = f"{self._passed(f'Cv {cv:g} open fully at', drop)}, liquid head left out"
        return Limit("oil valve", "oil", rate, basis)

    def _passed(self, opened: str, drop_kpa: float) -> str:
        if drop_kpa > 0.0:
            return f"{opened} {self.said(drop_kpa, 'pressure difference')}"
        short = self.said(-drop_kpa, "pressure difference")
        return f"passes nothing: the pressure behind it is {short} above that before it"
