"""Builders: a vessel whose oil valve holds too much, its wells, its days and the hours of its signals."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from nightgauge.field.settings import BackPressureValve, Field, Heating, Vessel
from nightgauge.vocabulary.frames import SIGNAL_HOURS, VESSEL_DAYS

PSI_KPA = 6.894757293168361
BARREL_M3 = 0.158987294928
"""42 US gallons of 231 cubic inches of 2.54 cm, exactly."""
MONDAY = date(2026, 5, 18)


@pytest.fixture(scope="session")
def make_vessel() -> Callable[..., Vessel]:
    def build(**over: object) -> Vessel:
        settings: dict[str, object] = {
            "service": "free-water knockout",
            "oil_valve": (BackPressureValve(holds_kpag=45 * PSI_KPA, needs_kpag=38 * PSI_KPA),),
            "heating": Heating(to_c=60.0, efficiency=0.5),
            "oil_gravity_degapi": 35.0,
            "temperature_c": 30.0,
        }
        return Vessel(id="V-1", **(settings | over))  # type: ignore[arg-type]

    return build


@pytest.fixture(scope="session")
def make_field() -> Callable[..., Field]:
    def build(**over: object) -> Field:
        settings: dict[str, object] = {
            "path": Path("field.toml"),
            "name": "Tarn Bottom",
            "time_zone": "America/Denver",
            "tags": (),
            "streams": (),
            "vessels": (),
        }
        return Field(**(settings | over))  # type: ignore[arg-type]

    return build


@pytest.fixture(scope="session")
def make_days() -> Callable[..., pl.DataFrame]:
    """Return a builder of VESSEL_DAYS of V-1 from Monday on: each column by its values, one a day."""

    def build(first: date = MONDAY, vessel: str = "V-1", **columns: list[float | None]) -> pl.DataFrame:
        (count,) = {len(values) for values in columns.values()}
        days = [first + timedelta(days=n) for n in range(count)]
        return VESSEL_DAYS.build(pl.DataFrame({"vessel": [vessel] * count, "day": days} | columns, strict=False))

    return build


@pytest.fixture(scope="session")
def make_hours() -> Callable[..., pl.DataFrame]:
    """Return a builder of SIGNAL_HOURS of V-1: means of each signal, one an hour from a time on."""

    def build(
        first: datetime = datetime(2026, 5, 18, 6, tzinfo=UTC), coverage: float = 1.0, **means: list[float | None]
    ) -> pl.DataFrame:
        parts = [
            pl.DataFrame({"mean": values}, schema={"mean": pl.Float64}).with_columns(
                pl.Series("hour_utc", [first + timedelta(hours=n) for n in range(len(values))]),
                vessel=pl.lit("V-1"),
                signal=pl.lit(signal),
                coverage=pl.lit(coverage),
            )
            for signal, values in means.items()
        ]
        return SIGNAL_HOURS.build(pl.concat(parts))

    return build
