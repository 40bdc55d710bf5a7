"""A vessel of 10 ft by 30 ft whose figures can be worked out by hand, and four weeks of one load."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl

from nightgauge.field.settings import BackPressureValve, Field, Vessel, WaterDump, Well
from nightgauge.vocabulary.frames import SIGNAL_HOURS, VESSEL_DAYS

BBL_M3, FOOT_M, PSI_KPA = 0.158987294928, 0.3048, 6.894757293168361
UNTIL = datetime(2026, 5, 29, tzinfo=UTC)

VESSEL = Vessel(
    id="V", service="free-water knockout", orientation="horizontal", inside_diameter_m=10 * FOOT_M,
    length_m=30 * FOOT_M, heads="2:1 ellipsoidal", normal_interface_m=3 * FOOT_M, normal_oil_level_m=6 * FOOT_M,
    max_working_pressure_kpag=125 * PSI_KPA, mist_extractor=True, oil_gravity_degapi=30.0, water_specific_gravity=1.07,
    gas_specific_gravity=0.75, temperature_c=40.0, required_water_retention_min=10.0, required_oil_retention_min=15.0,
    water_dump=(WaterDump("snap", cv=21.0, downstream_pressure_kpag=5 * PSI_KPA, elevation_m=3 * FOOT_M),),
    oil_valve=(BackPressureValve(45 * PSI_KPA, cv=12.0, downstream_pressure_kpag=5 * PSI_KPA),),
)  # fmt: skip
FIELD = Field(
    Path("field.toml"), "F", "UTC", (), (), (VESSEL,), wells=(Well("W1", "V"), Well("W2", "V"), Well("W3", "X"))
)
NO_HOURS = SIGNAL_HOURS.empty()


def days(water_bbl: float | None = 8000.0, oil_bbl: float | None = 2000.0, **columns: object) -> pl.DataFrame:
    """Four weeks of the same load."""
    first = date(2026, 5, 1)
    loads = {
        f"{name}_load_m3_per_day": None if rate is None else rate * BBL_M3
        for name, rate in (("water", water_bbl), ("oil", oil_bbl))
    }
    return VESSEL_DAYS.build(
        pl.DataFrame({"vessel": ["V"] * 28, "day": [first + timedelta(days=at) for at in range(28)]}).with_columns(
            **{name: pl.lit(value) for name, value in (loads | columns).items()}
        )
    )


def limit(frame: pl.DataFrame, name: str) -> dict[str, object]:
    (row,) = frame.filter(pl.col("limit") == name).iter_rows(named=True)
    return row


def number(row: dict[str, object], column: str) -> float:
    value = row[column]
    assert isinstance(value, float)
    return value
