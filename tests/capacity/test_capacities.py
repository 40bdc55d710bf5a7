"""What a vessel can take against what it sees: worked numbers, invariants, what is missing."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from nightgauge.capacity import Added, Change, capacities, what_if, what_would_give_more
from nightgauge.errors import SettingError
from nightgauge.field.settings import BackPressureValve, Field, Vessel, WaterDump, Well
from nightgauge.vocabulary.frames import SIGNAL_HOURS, VESSEL_DAYS, WELL_TESTS

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


def test_retention_capacity_is_the_load_at_which_retention_is_what_is_required() -> None:
    # 10 ft x 30 ft with 2:1 heads, interface 3 ft, oil 6 ft: 8000 bbl/day of water stay 20.872372 min and 2000 bbl/day
    # of oil 127.554912 min (t = 1440 V / Q with the partial volumes of the ellipsoidal-head formula).
    found = capacities(VESSEL, FIELD, days(), NO_HOURS, UNTIL)
    water, oil = limit(found, "water retention"), limit(found, "oil retention")
    assert number(water, "capacity_m3_per_day") / BBL_M3 == pytest.approx(8000 * 20.872372 / 10.0, rel=1e-7)
    assert number(water, "used_fraction") == pytest.approx(10.0 / 20.872372, rel=1e-7)
    assert number(oil, "capacity_m3_per_day") / BBL_M3 == pytest.approx(2000 * 127.554912 / 15.0, rel=1e-7)


def test_a_dump_valve_open_all_day_passes_what_its_coefficient_says() -> None:
    # Q = Cv sqrt(dP / SG) in gpm and psi: 21 sqrt(40 / 1.07) gpm is 4402.208 bbl/day. Interface and outlet are level
    # here, so there is no head, and 45 - 5 psi is the drop.
    found = limit(capacities(VESSEL, FIELD, days(), NO_HOURS, UNTIL), "water dump")
    assert number(found, "capacity_m3_per_day") / BBL_M3 == pytest.approx(4402.208, rel=1e-6)
    assert found["binds"] is True  # 8000 bbl/day of it
    oil = limit(capacities(VESSEL, FIELD, days(), NO_HOURS, UNTIL), "oil valve")
    # 30 degAPI is 141.5 / 161.5 = 0.87616 of water; 12 sqrt(40 / 0.87616) gpm x 1440 / 42 bbl/day per gpm
    assert number(oil, "capacity_m3_per_day") / BBL_M3 == pytest.approx(
        12 * (40 / 0.876161) ** 0.5 * 1440 / 42, rel=1e-5
    )


def test_levels_and_pressures_that_were_read_go_before_settings() -> None:
    hours = SIGNAL_HOURS.build(
        pl.DataFrame(
            {
                "vessel": ["V"] * 3,
                "signal": ["interface_level"] * 3,
                "hour_utc": [UNTIL - timedelta(hours=at) for at in (3, 2, 1)],
                "mean": [1.2, 1.3, 1.4],
            }
        ).with_columns(pl.col("hour_utc").cast(SIGNAL_HOURS.schema["hour_utc"]))
    )
    set_there = replace(VESSEL, normal_interface_m=1.3)
    read = capacities(VESSEL, FIELD, days(), hours, UNTIL)
    assert_frame_equal(read, capacities(set_there, FIELD, days(), NO_HOURS, UNTIL))


def test_the_load_is_told_by_its_median_its_high_end_and_its_worst_day() -> None:
    loads = [float(at) for at in range(1, 29)]
    frame = days().with_columns(water_load_m3_per_day=pl.Series(loads))
    row = limit(capacities(VESSEL, FIELD, frame, NO_HOURS, UNTIL), "water retention")
    # 1 to 28: median 14.5, 90th percentile by linear interpolation 1 + 0.9 x 27 = 25.3
    assert (row["median_load_m3_per_day"], row["high_load_m3_per_day"]) == (14.5, pytest.approx(25.3))
    assert (row["worst_load_m3_per_day"], row["worst_day"]) == (28.0, date(2026, 5, 28))


def test_days_older_than_four_weeks_do_not_count() -> None:
    late = capacities(VESSEL, FIELD, days(), NO_HOURS, UNTIL + timedelta(days=60))
    assert late["median_load_m3_per_day"].null_count() == late.height


@pytest.mark.parametrize(
    ("changed", "name", "missing"),
    [
        ({"inside_diameter_m": None}, "water retention", "inside_diameter"),
        ({"normal_oil_level_m": None}, "oil retention", "normal_oil_level"),
        ({"oil_gravity_degapi": None, "required_oil_retention_min": None}, "oil retention", "required_retention"),
        ({"temperature_c": None}, "oil settling", "temperature"),
        ({"mist_extractor": None}, "gas", "mist_extractor"),
        ({"water_dump": ()}, "water dump", "cv"),
        ({"oil_valve": (BackPressureValve(45.0),)}, "oil valve", "cv"),
    ],
)
def test_a_limit_that_cannot_be_reckoned_says_what_it_needs(
    changed: dict[str, object], name: str, missing: str
) -> None:
    row = limit(capacities(replace(VESSEL, **changed), FIELD, days(), NO_HOURS, UNTIL), name)  # type: ignore[arg-type]
    assert row["capacity_m3_per_day"] is None
    assert row["basis"].startswith("needs ")  # type: ignore[attr-defined]
    assert missing in str(row["basis"])


def test_a_vessel_of_one_liquid_has_no_oil_layer() -> None:
    single = replace(VESSEL, normal_interface_m=None)
    names = set(capacities(single, FIELD, days(), NO_HOURS, UNTIL)["limit"])
    assert names == {"water retention", "gas", "water dump", "oil valve"}


LEVEL = st.floats(0.1, 1.7)


@given(LEVEL, LEVEL)
def test_a_higher_interface_gives_water_room_and_takes_it_from_the_oil(one: float, other: float) -> None:
    low, high = sorted((one, other))
    below, above = (
        what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, Change(interface_m=level)).after for level in (low, high)
    )
    for name, sign in (("water retention", 1), ("water dump", 1), ("oil retention", -1)):
        rise = number(limit(above, name), "capacity_m3_per_day") - number(limit(below, name), "capacity_m3_per_day")
        assert sign * rise >= -1e-9


@given(st.floats(0.1, 10.0))
def test_the_share_used_goes_with_the_load(factor: float) -> None:
    change = Change(water_rate_m3_per_day=8000 * BBL_M3 * factor)
    outlook = what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, change)
    before, after = (number(limit(one, "water retention"), "used_fraction") for one in (outlook.before, outlook.after))
    assert after == pytest.approx(factor * before)


def test_no_change_changes_nothing_and_a_well_adds_to_each_load() -> None:
    same = what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, Change())
    assert_frame_equal(same.before, same.after)
    more = what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, Change(added=(Added("W9", 100.0, 7.0),)))
    rise = more.after.select(pl.col("worst_load_m3_per_day") - more.before["worst_load_m3_per_day"]).to_series()
    by_phase = dict(zip(more.after["phase"], rise, strict=True))
    assert (by_phase["water"], by_phase["oil"]) == (pytest.approx(100.0), pytest.approx(7.0))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (Change(pressure_kpag=130 * PSI_KPA), r"130\.0 psig is above its working pressure of 125\.0 psig"),
        (Change(interface_m=2.0), "does not lie between the bottom and 72.0 in"),
        (Change(interface_m=0.0), "an interface at 0.0 in does not lie"),
    ],
)
def test_what_cannot_be_is_refused(change: Change, said: str) -> None:
    with pytest.raises(SettingError, match=said):
        what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, change)


def more(frame: pl.DataFrame, tests: pl.DataFrame | None = None) -> str:
    told = what_would_give_more(VESSEL, FIELD, frame, NO_HOURS, UNTIL, WELL_TESTS.empty() if tests is None else tests)
    return "\n".join(told)


def test_the_interface_that_is_advised_shares_the_vessel_evenly() -> None:
    told = re.search(
        r"Interface up from 36\.0 in to ([0-9.]+) in: water and oil would each use (\d+)%", more(days(16000))
    )
    assert told is not None
    change = Change(interface_m=float(told[1]) * 0.0254)
    after = what_if(VESSEL, FIELD, days(16000), NO_HOURS, UNTIL, change).after
    water, oil = (number(limit(after, f"{name} retention"), "used_fraction") for name in ("water", "oil"))
    assert water == pytest.approx(oil, abs=0.01)  # the level is told to a tenth of an inch
    assert round(100 * water) == pytest.approx(float(told[2]), abs=1)


def test_the_trim_that_is_advised_is_open_half_the_day() -> None:
    told = re.search(r"A dump trim of Cv (\d+) \(now 21\)", more(days()))
    assert told is not None
    # 21 passes 4402.208 bbl/day; half the day at 8000 needs 16000 / 4402.208 of it.
    assert float(told[1]) == pytest.approx(21 * 16000 / 4402.208, abs=0.5)


Tests = Callable[..., pl.DataFrame]


def test_the_well_that_is_named_is_the_smallest_whose_going_is_enough() -> None:
    # 20000 bbl/day on a water retention limit of 16698: 3302 are too many.
    tests = WELL_TESTS.build(
        {
            "well": ["W1", "W1", "W2", "W3"], "vessel": ["T"] * 4, "state": ["accepted"] * 4,
            "start_utc": [UNTIL - timedelta(days=at) for at in (9, 2, 3, 4)],
            "water_m3_per_day": [rate * BBL_M3 for rate in (100.0, 3400.0, 6000.0, 3310.0)],
        }
    )  # fmt: skip
    assert "W1 alone, 3,400 bbl/day by its latest test, would do" in more(days(20000), tests)  # W3 is another vessel's
    assert "no single well of it brings as much" in more(
        days(20000), tests.filter(pl.col("start_utc") < UNTIL - timedelta(days=8))
    )
    assert "not known without their tests" in more(days(20000))


def test_a_vessel_with_room_is_left_in_peace() -> None:
    assert more(days(800, 500)) == ""
