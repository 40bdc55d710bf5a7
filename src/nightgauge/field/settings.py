"""Frozen objects for a field, its vessels, controls, wells and tags. SI units; None where nothing is set."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Literal, TypeVar
from zoneinfo import ZoneInfo

from nightgauge.units import Conversion, System

Service = Literal["free-water knockout", "test vessel", "heater treater", "separator", "scrubber"]
Heads = Literal["2:1 ellipsoidal", "hemispherical", "torispherical", "flat"]


@dataclass(frozen=True)
class WaterDump:
    """The water dump as set from `valid_from` on."""

    action: Literal["snap", "throttling"] | None = None
    opens_at_m: float | None = None
    closes_at_m: float | None = None
    holds_m: float | None = None
    band_m: float | None = None
    cv: float | None = None
    """Rated flow coefficient. [gpm/psi^0.5]"""
    downstream_pressure_kpag: float | None = None
    elevation_m: float | None = None
    valid_from: datetime | None = None


@dataclass(frozen=True)
class BackPressureValve:
    """An oil or gas back-pressure valve as set from `valid_from` on."""

    holds_kpag: float | None = None
    needs_kpag: float | None = None
    """Pressure that is needed to move what leaves by it; what it holds above costs production."""
    kind: Literal["spring", "weight"] | None = None
    downcomer_m: float | None = None
    cv: float | None = None
    """Rated flow coefficient of an oil valve. [gpm/psi^0.5]"""
    downstream_pressure_kpag: float | None = None
    """After an oil valve, where no signal tells it."""
    valid_from: datetime | None = None


@dataclass(frozen=True)
class Heating:
    """The heater that a vessel's oil stream, and the water left in it, goes to next."""

    to_c: float
    efficiency: float
    """Share of the fuel's heat that reaches the stream."""


@dataclass(frozen=True)
class Vessel:
    """One vessel with its controls. Levels are above the lowest inside point."""

    id: str
    service: Service
    name: str | None = None
    orientation: Literal["horizontal", "vertical"] | None = None
    inside_diameter_m: float | None = None
    length_m: float | None = None
    heads: Heads | None = None
    normal_interface_m: float | None = None
    normal_oil_level_m: float | None = None
    max_working_pressure_kpag: float | None = None
    mist_extractor: bool | None = None
    baffle_at_m: float | None = None
    settling_length_m: float | None = None
    solids_depth_m: float | None = None
    oil_gravity_degapi: float | None = None
    water_specific_gravity: float | None = None
    gas_specific_gravity: float | None = None
    temperature_c: float | None = None
    required_water_retention_min: float | None = None
    required_oil_retention_min: float | None = None
    water_dump: tuple[WaterDump, ...] = ()
    """Dated settings, earliest first; empty where the vessel has no such control declared."""
    oil_valve: tuple[BackPressureValve, ...] = ()
    gas_valve: tuple[BackPressureValve, ...] = ()
    heating: Heating | None = None
    """Where its oil stream is heated next."""
    oil_meter_factor: float = 1.0
    oil_shrinkage: float = 1.0
    """Stock-tank volume per metered volume of oil at standard temperature."""
    limits: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """Thresholds set for this vessel: kind, name, value in the unit used inside."""

    @property
    def is_two_phase(self) -> bool:
        """Return whether the dump float rides on the oil level: an oil level is declared, and no interface."""
        return self.normal_interface_m is None and self.normal_oil_level_m is not None

    def water_dump_at(self, when: datetime) -> WaterDump:
        """Return the dump's settings in force at a time; the earliest known before any, all None if undeclared."""
        return _in_force(self.water_dump, when) or WaterDump()

    def oil_valve_at(self, when: datetime) -> BackPressureValve:
        """Return the oil valve's settings in force at a time."""
        return _in_force(self.oil_valve, when) or BackPressureValve()

    def gas_valve_at(self, when: datetime) -> BackPressureValve:
        """Return the gas valve's settings in force at a time."""
        return _in_force(self.gas_valve, when) or BackPressureValve()


_Dated = TypeVar("_Dated", WaterDump, BackPressureValve)


def _in_force(settings: tuple[_Dated, ...], when: datetime) -> _Dated | None:
    started = [s for s in settings if s.valid_from is None or s.valid_from <= when]
    return started[-1] if started else (settings[0] if settings else None)


@dataclass(frozen=True)
class Well:
    """One well and where its production normally goes."""

    id: str
    vessel: str | None = None
    lift: str | None = None
    productivity_index_m3_per_day_per_kpa: float | None = None
    pump_curve_slope_kpa_day_per_m3: float | None = None
    """How much pressure the pump loses per rate; its size, without sign."""
    water_cut_fraction: float | None = None
    """Used where no accepted test tells it."""


@dataclass(frozen=True)
class Anode:
    """One sacrificial anode."""

    id: str
    vessel: str
    material: Literal["magnesium", "zinc", "aluminium"]
    mass_kg: float | None = None
    """When it was put in."""
    tag: str | None = None
    """Tag of tags.csv that measures the current in its lead."""
    installed_utc: datetime | None = None
    utilisation: float | None = None
    """Share of the mass that can be used up; a stated value for its shape without it."""
    capacity_ah_per_kg: float | None = None
    """Practical capacity; a stated value for its material without it."""


@dataclass(frozen=True)
class Inspection:
    """One line of inspections.csv: what was left of an anode."""

    at_utc: datetime
    vessel: str
    anode: str
    mass_kg: float | None = None
    left_fraction: float | None = None
    note: str = ""


@dataclass(frozen=True)
class ScheduledTest:
    """One line of tests.csv: a well was tested on a vessel."""

    well: str
    vessel: str
    start_utc: datetime
    end_utc: datetime


@dataclass(frozen=True)
class Routing:
    """One line of routing.csv: from a time on a well flows to a vessel; nowhere without one."""

    at_utc: datetime
    well: str
    vessel: str | None


@dataclass(frozen=True)
class Tank:
    """A tank with its strapping: gauge and volume, both rising."""

    id: str
    gauge_m: tuple[float, ...]
    volume_m3: tuple[float, ...]


@dataclass(frozen=True)
class Gauge:
    """One line of gauges.csv: a tank gauged by hand before and after a well's run into it."""

    well: str
    tank: str
    start_utc: datetime
    end_utc: datetime
    opening_m: float
    closing_m: float
    water_cut_fraction: float | None = None


@dataclass(frozen=True)
class Prices:
    """What a unit is worth, where the user says so. None is no price."""

    currency: str
    oil_per_m3: float | None = None
    gas_per_m3: float | None = None
    """Standard conditions."""
    fuel_per_mj: float | None = None


@dataclass(frozen=True)
class Outage:
    """A vessel out of service: nothing is judged between the two times."""

    vessel: str
    from_utc: datetime
    to_utc: datetime
    note: str | None = None


@dataclass(frozen=True)
class TagRow:
    """One row of tags.csv."""

    tag: str
    vessel: str
    signal: str
    unit: str
    conversion: Conversion
    """Raw value to stored value: scale, offset, unit and the span of levels in % taken together."""
    max_gap_s: float
    states: Mapping[str, float] = field(default_factory=dict)
    """Text of the historian (as written) to number."""
    from_utc: datetime | None = None
    to_utc: datetime | None = None


@dataclass(frozen=True)
class Field:
    """A field folder, read and found to be right."""

    path: Path
    """The field.toml itself."""
    name: str
    time_zone: str
    tags: tuple[TagRow, ...]
    streams: tuple[str, ...]
    vessels: tuple[Vessel, ...]
    display_units: System = "oilfield"
    atmospheric_pressure_kpa: float = 101.325
    database: Path = Path("nightgauge.duckdb")
    """Absolute path of the database."""
    reports: Path = Path("reports")
    """Absolute path of the folder for pages."""
    samples: Literal["duckdb", "lake"] = "duckdb"
    """Where samples live: in the database, or as Parquet in a lake."""
    lake: str = "lake"
    """Absolute path of the lake's folder, or its address."""
    keep_samples_s: float | None = None
    """How long samples are kept; None keeps them for good."""
    quality_codes: Literal["opc_classic", "opc_ua"] = "opc_classic"
    time_format: str | None = None
    as_of: datetime | None = None
    ignore: tuple[str, ...] = ()
    wells: tuple[Well, ...] = ()
    outages: tuple[Outage, ...] = ()
    limits: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    anodes: tuple[Anode, ...] = ()
    inspections: tuple[Inspection, ...] = ()
    tests: tuple[ScheduledTest, ...] = ()
    routings: tuple[Routing, ...] = ()
    tanks: tuple[Tank, ...] = ()
    gauges: tuple[Gauge, ...] = ()
    prices: Prices | None = None

    @property
    def folder(self) -> Path:
        """Return the folder that field.toml stands in; globs are relative to it."""
        return self.path.parent

    @cached_property
    def zone(self) -> ZoneInfo:
        """Return the field's time zone."""
        return ZoneInfo(self.time_zone)

    def vessel(self, vessel_id: str) -> Vessel | None:
        """Return the vessel of this id, or None."""
        return next((v for v in self.vessels if v.id == vessel_id), None)

    def signals_of(self, vessel_id: str) -> frozenset[str]:
        """Return the signals that tags.csv gives this vessel."""
        return frozenset(row.signal for row in self.tags_of(vessel_id))

    def tags_of(self, vessel_id: str) -> tuple[TagRow, ...]:
        """Return the rows of tags.csv that are this vessel's, in their order."""
        return self._tags.get(vessel_id, ())

    @cached_property
    def _tags(self) -> Mapping[str, tuple[TagRow, ...]]:
        rows: dict[str, list[TagRow]] = {}
        for row in self.tags:
            rows.setdefault(row.vessel, []).append(row)
        return {vessel: tuple(found) for vessel, found in rows.items()}
