"""Cycles from the level alone against the valve's own count, on measurements made by others.

S. Vrachimis et al., "WaterSafe: A Water Network Benchmark for Fault Diagnosis Research", IFAC-PapersOnLine 55(6),
655-660, 2022, doi 10.1016/j.ifacol.2022.07.202 (open access data). Levels are mirrored: filling reads as dumping.
"""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from nightgauge.field.settings import Vessel, WaterDump
from nightgauge.vocabulary.frames import VESSEL_SAMPLES

_RECORD = Path(__file__).parents[2].parent / "shared" / "real" / "tanks" / "streams" / "tanks.csv"

pytestmark = [
    pytest.mark.real,
    pytest.mark.skipif(not _RECORD.exists(), reason="the tank measurements are not beside the checkout"),
]

TANKS = [("LS_A3", "VA_B4", 17, (0.244, 0.177)), ("LS_A4", "VA_B6", 14, (0.244, 0.176))]


def tank(name, trips):
    dump = () if trips is None else (WaterDump(action="snap", opens_at_m=trips[0], closes_at_m=trips[1]),)
    return Vessel(
        id=name,
        service="separator",
        orientation="vertical",
        inside_diameter_m=0.30,
        length_m=0.40,
        heads="flat",
        normal_interface_m=0.20,
        normal_oil_level_m=0.38,
        water_dump=dump,
    )


def record(signal, column, values):
    table = pl.read_csv(_RECORD, columns=["timestamp", column])
    return VESSEL_SAMPLES.build(
        table.select(
            pl.lit(signal).alias("signal"),
            pl.col("timestamp").str.to_datetime(time_zone="UTC").alias("time_utc"),
            values(pl.col(column).cast(pl.Float64)).alias("value"),
            pl.lit("good").alias("flag"),
            pl.lit(3600.0 if signal == "interface_level" else 86400.0).alias("max_gap_s"),
        ).with_columns(pl.lit(None, dtype=pl.String).alias("text_value"))
    )


def level_of(name):
    return record("interface_level", name, lambda cm: (40.0 - cm) / 100.0)


def valve_of(name):
    return record("water_dump_open", name, lambda state: state)


def test_the_valve_of_each_tank_opens_as_often_as_is_published(derive):
    for name, valve, openings, trips in TANKS:
        found = derive(valve_of(valve), tank(name, trips), hours=3, start=datetime(2021, 6, 1, tzinfo=UTC))
        assert found.cycles.height == openings


@pytest.mark.parametrize("trips_are_set", [True, False])
@pytest.mark.parametrize(("name", "valve", "openings", "trips"), TANKS)
def test_the_level_alone_tells_every_opening_of_the_valve(derive, name, valve, openings, trips, trips_are_set):
    start = datetime(2021, 6, 1, tzinfo=UTC)
    vessel = tank(name, trips if trips_are_set else None)
    by_level = derive(level_of(name), vessel, hours=3, start=start).cycles
    by_valve = derive(valve_of(valve), vessel, hours=3, start=start).cycles
    assert by_level.height == openings
    late_s = (by_level["opened_utc"] - by_valve["opened_utc"]).dt.total_seconds(fractional=True).to_numpy()
    # The level turns some 20 s after its valve, and slowly: a minute is less than half of the shortest dump.
    assert np.abs(late_s).max() < 60.0


def test_levels_at_opening_and_shutting_are_those_the_tanks_are_set_to(derive):
    start = datetime(2021, 6, 1, tzinfo=UTC)
    for name, valve, _, trips in TANKS:
        both = pl.concat([level_of(name), valve_of(valve)])
        found = derive(both, tank(name, trips), hours=3, start=start).cycles
        assert found["evidence"].unique().to_list() == ["switch"]
        assert found["opening_level_m"].median() == pytest.approx(trips[0], abs=0.003)
        # The level goes on by 5 mm after its valve was told to shut; the fill after it starts from there.
        assert found["closing_level_m"].median() == pytest.approx(trips[1], abs=0.006)
