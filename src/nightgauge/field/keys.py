"""Every key of field.toml as data: its dimension, whether it is required, what it may say, its bounds."""

import math
from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "flag", "number", "texts", "time", "quantity"]


@dataclass(frozen=True)
class Bounds:
    """What a value can be at all, in the unit used inside; outside lies a slip of the pen, not an odd setting."""

    says: str
    least: float = -math.inf
    most: float = math.inf
    is_least_allowed: bool = True

    def hold(self, value: float) -> bool:
        """Return whether the value lies within."""
        above = value >= self.least if self.is_least_allowed else value > self.least
        return above and value <= self.most


ANY = Bounds("any finite value")
POSITIVE = Bounds("more than 0", least=0.0, is_least_allowed=False)
NOT_NEGATIVE = Bounds("0 or more", least=0.0)
# By the ISO 2533 atmosphere 45 kPa is the air at 6.3 km, above any road; 110 kPa is beyond the Dead Sea shore.
ATMOSPHERE = Bounds("between 45 and 110 kPa absolute", 45.0, 110.0)
# Water is no liquid above its critical point of 374 degC (IAPWS R7-97); no natural brine is one below -60 degC.
LIQUID_WATER = Bounds("between -60 and 374 degC, where water or brine is liquid", -60.0, 374.0)
# 0 degAPI is a bitumen heavier than water, 150 degAPI (0.50 of water) a liquid propane. Definition: 141.5/SG - 131.5.
OIL_GRAVITY = Bounds("between 0 and 150 degAPI", 0.0, 150.0)
# A meter that is off by more than a fifth is broken, not corrected (common practice, no source).
METER_FACTOR = Bounds("between 0.8 and 1.2", 0.8, 1.2)
# Relative to water: the heaviest clear brine is zinc bromide at 2.3 (common practice, no source).
WATER_GRAVITY = Bounds("between 0.9 and 2.5 (relative to water at 60 degF)", 0.9, 2.5)
SHARE = Bounds("between 0 and 100 %", 0.0, 1.0)
POSITIVE_SHARE = Bounds("more than 0 and at most 100 %", 0.0, 1.0, is_least_allowed=False)
# Faraday's law gives pure aluminium 2980 A h/kg, more than any other anode material; below 50 none would be sold.
ANODE_CAPACITY = Bounds("between 50 and 2980 A h/kg", 50.0, 2980.0)
# Relative to air: hydrogen is 0.0696, hexane vapour 3.0 (molar masses 2.016 and 86.18 over 28.96).
GAS_GRAVITY = Bounds("between 0.069 and 3 (relative to air)", 0.069, 3.0)

# The valve page shows a week of samples beside those of the four weeks before it.
KEPT = Bounds("35 days or more", 35 * 86400.0)


@dataclass(frozen=True)
class Key:
    """One key of one table."""

    name: str
    attribute: str
    """Field of the frozen object it fills."""
    kind: Kind = "text"
    dimension: str = ""
    """Of a quantity: a name in `units.DIMENSIONS`."""
    choices: tuple[str, ...] = ()
    bounds: Bounds = ANY
    is_required: bool = False
    example: str = ""

    @property
    def expected(self) -> str:
        """Return what is accepted, in words."""
        if self.choices:
            return "one of " + ", ".join(f'"{choice}"' for choice in self.choices)
        if self.dimension == "fraction":
            return 'a share like "8 %" or 0.08'
        words = {
            "text": "a text",
            "flag": "true or false",
            "number": "a number without a unit",
            "texts": "a list of texts",
            "time": 'a time like "2026-05-02" or "2026-05-02T06:00"',
            "quantity": f"a {self.dimension} with its unit",
        }[self.kind]
        return f"{words}, like {self.example}" if self.example else words


def _quantity(
    name: str, attribute: str, dimension: str, example: str, bounds: Bounds = ANY, *, is_required: bool = False
) -> Key:
    return Key(name, attribute, "quantity", dimension, bounds=bounds, is_required=is_required, example=f'"{example}"')


FIELD = (
    Key("name", "name", is_required=True, example='"Quillet Bench"'),
    Key("time_zone", "time_zone", is_required=True, example='"America/Denver"'),
    Key("display_units", "display_units", choices=("oilfield", "metric")),
    _quantity("atmospheric_pressure", "atmospheric_pressure_kpa", "pressure", "12.3 psi", ATMOSPHERE),
    Key("tags", "tags", is_required=True, example='"tags.csv"'),
    Key("streams", "streams", "texts", is_required=True, example='["streams/**/*.csv*"]'),
    Key("database", "database", example='"nightgauge.duckdb"'),
    Key("reports", "reports", example='"reports"'),
    Key("samples", "samples", choices=("duckdb", "lake")),
    Key("lake", "lake", example='"lake"'),
    _quantity("keep_samples", "keep_samples_s", "duration", "400 days", KEPT),
    Key("quality_codes", "quality_codes", choices=("opc_classic", "opc_ua")),
    Key("time_format", "time_format", example='"%d.%m.%Y %H:%M:%S"'),
    Key("as_of", "as_of", "time"),
    Key("ignore", "ignore", "texts", example='["*.SPARE"]'),
    Key("tests", "tests", example='"tests.csv"'),
    Key("routing", "routing", example='"routing.csv"'),
    Key("gauges", "gauges", example='"gauges.csv"'),
    Key("inspections", "inspections", example='"inspections.csv"'),
)
"""The last four name lists beside field.toml; without the key a list of the example's name is read where it lies."""

VESSEL = (
    Key("id", "id", is_required=True, example='"QB-101"'),
    Key("name", "name"),
    Key(
        "service",
        "service",
        choices=("free-water knockout", "test vessel", "heater treater", "separator", "scrubber"),
        is_required=True,
    ),
    Key("orientation", "orientation", choices=("horizontal", "vertical")),
    _quantity("inside_diameter", "inside_diameter_m", "length", "8 ft", POSITIVE),
    _quantity("length", "length_m", "length", "20 ft", POSITIVE),
    Key("heads", "heads", choices=("2:1 ellipsoidal", "hemispherical", "torispherical", "flat")),
    _quantity("normal_interface", "normal_interface_m", "length", "44 in", POSITIVE),
    _quantity("normal_oil_level", "normal_oil_level_m", "length", "66 in", POSITIVE),
    _quantity("max_working_pressure", "max_working_pressure_kpag", "pressure", "125 psig", POSITIVE),
    Key("mist_extractor", "mist_extractor", "flag"),
    _quantity("baffle_at", "baffle_at_m", "length", "10 ft", NOT_NEGATIVE),
    _quantity("settling_length", "settling_length_m", "length", "16 ft", POSITIVE),
    _quantity("solids_depth", "solids_depth_m", "length", "2 in", NOT_NEGATIVE),
    _quantity("oil_gravity", "oil_gravity_degapi", "gravity", "27 degAPI", OIL_GRAVITY),
    Key("water_specific_gravity", "water_specific_gravity", "number", bounds=WATER_GRAVITY, example="1.08"),
    Key("gas_specific_gravity", "gas_specific_gravity", "number", bounds=GAS_GRAVITY, example="0.75"),
    _quantity("temperature", "temperature_c", "temperature", "95 degF", LIQUID_WATER),
    Key("oil_meter_factor", "oil_meter_factor", "number", bounds=METER_FACTOR, example="1.002"),
    Key("oil_shrinkage", "oil_shrinkage", "number", bounds=POSITIVE_SHARE, example="0.985"),
)

REQUIRED_RETENTION = (
    _quantity("water", "required_water_retention_min", "duration", "8 min", POSITIVE),
    _quantity("oil", "required_oil_retention_min", "duration", "10 min", POSITIVE),
)
"""Read as seconds, kept as minutes."""

WATER_DUMP = (
    Key("action", "action", choices=("snap", "throttling")),
    _quantity("opens_at", "opens_at_m", "length", "46 in", POSITIVE),
    _quantity("closes_at", "closes_at_m", "length", "42 in", NOT_NEGATIVE),
    _quantity("holds", "holds_m", "length", "44 in", POSITIVE),
    _quantity("band", "band_m", "length", "4 in", POSITIVE),
    Key("cv", "cv", "number", bounds=POSITIVE, example="90"),
    _quantity("downstream_pressure", "downstream_pressure_kpag", "pressure", "15 psig"),
    _quantity("elevation", "elevation_m", "length", "0 in"),
    Key("valid_from", "valid_from", "time"),
)

BACK_PRESSURE_VALVE = (
    _quantity("holds", "holds_kpag", "pressure", "45 psig", NOT_NEGATIVE),
    _quantity("needs", "needs_kpag", "pressure", "38 psig", NOT_NEGATIVE),
    Key("kind", "kind", choices=("spring", "weight")),
    _quantity("downcomer", "downcomer_m", "length", "6 ft", NOT_NEGATIVE),
    Key("valid_from", "valid_from", "time"),
)

OIL_VALVE = (
    *BACK_PRESSURE_VALVE,
    Key("cv", "cv", "number", bounds=POSITIVE, example="90"),
    _quantity("downstream_pressure", "downstream_pressure_kpag", "pressure", "15 psig"),
)

WELL = (
    Key("id", "id", is_required=True, example='"QB-W12"'),
    Key("vessel", "vessel", example='"QB-101"'),
    Key("lift", "lift"),
    _quantity(
        "productivity_index",
        "productivity_index_m3_per_day_per_kpa",
        "productivity index",
        "6 bbl/day/psi",
        POSITIVE,
    ),
    _quantity(
        "pump_curve_slope", "pump_curve_slope_kpa_day_per_m3", "pump curve slope", "0.4 psi*day/bbl", NOT_NEGATIVE
    ),
    _quantity("water_cut", "water_cut_fraction", "fraction", "82 %", SHARE),
)

HEATING = (
    _quantity("to", "to_c", "temperature", "140 degF", LIQUID_WATER, is_required=True),
    _quantity("efficiency", "efficiency", "fraction", "70 %", POSITIVE_SHARE, is_required=True),
)

ANODE = (
    Key("id", "id", is_required=True, example='"A1"'),
    Key("vessel", "vessel", is_required=True, example='"QB-101"'),
    Key("material", "material", choices=("magnesium", "zinc", "aluminium"), is_required=True),
    _quantity("mass", "mass_kg", "mass", "32 lb", POSITIVE),
    Key("tag", "tag", example='"QB101_AI_1"'),
    Key("installed", "installed_utc", "time"),
    _quantity("utilisation", "utilisation", "fraction", "85 %", POSITIVE_SHARE),
    Key("capacity", "capacity_ah_per_kg", "number", bounds=ANODE_CAPACITY, example="1100"),
)
"""`capacity` is in ampere-hours per kilogram."""

TANK = (Key("id", "id", is_required=True, example='"T-1"'),)

PRICES = (Key("currency", "currency", is_required=True, example='"USD"'),)

OUTAGE = (
    Key("vessel", "vessel", is_required=True, example='"QB-101"'),
    Key("from", "from_utc", "time", is_required=True),
    Key("to", "to_utc", "time", is_required=True),
    Key("note", "note"),
)
