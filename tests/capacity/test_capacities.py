"""Capacity against load: worked examples, what is missing, what a change does."""

import math
import re
from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from nightgauge.capacity import Added, Change, capacities, limits, what_if, what_would_give_more
from nightgauge.errors import SettingError
from nightgauge.field.settings import BackPressureValve
from nightgauge.vocabulary.frames import SIGNAL_HOURS, WELL_TESTS

from .made import BBL_M3, FIELD, FOOT_M, NO_HOURS, PSI_KPA, UNTIL, VESSEL, days, limit, number


def test_retention_capacity_is_the_load_at_which_retention_is_what_is_required() -> None:
    # 10 ft x 30 ft with 2:1 heads, interface 3 ft, oil 6 ft: 8000 bbl/day of water stay 20.872372 min and 2000 bbl/day
    # of oil 127.554912 min (t = 1440 V / Q with the partial volumes of the ellipsoidal-head formula).
    found = capacities(VESSEL, FIELD, days(), NO_HOURS, UNTIL)
    water, oil = limit(found, "water retention"), limit(found, "oil retention")
    assert number(water, "capacity_m3_per_day") / BBL_M3 == pytest.approx(8000 * 20.872372 / 10.0, rel=1e-7)
    assert number(water, "used_fraction") == pytest.approx(10.0 / 20.872372, rel=1e-7)
    assert number(oil, "capacity_m3_per_day") / BBL_M3 == pytest.approx(2000 * 127.554912 / 15.0, rel=1e-7)


@pytest.mark.parametrize(
    ("diameter_ft", "length_ft", "load_bbl", "retention_min"),
    [(10, 30, 5000, 67.144986), (8, 20, 2000, 73.053744), (4, 10, 500, 36.526873)],
)
def test_vessels_half_full_of_water_take_what_their_retention_says(
    diameter_ft: int, length_ft: int, load_bbl: int, retention_min: float
) -> None:
    # Worked by hand: t = 1440 V / Q, V half of the shell and of the two 2:1 heads, pi D^2 L / 8 + pi D^3 / 24.
    inside = {"inside_diameter_m": diameter_ft * FOOT_M, "length_m": length_ft * FOOT_M}
    levels = {"normal_interface_m": diameter_ft / 2 * FOOT_M, "normal_oil_level_m": 0.75 * diameter_ft * FOOT_M}
    row = limit(
        capacities(replace(VESSEL, **inside, **levels), FIELD, days(load_bbl), NO_HOURS, UNTIL), "water retention"
    )
    assert number(row, "capacity_m3_per_day") / BBL_M3 == pytest.approx(load_bbl * retention_min / 10.0, rel=1e-7)


def test_the_deepest_oil_pad_is_that_of_the_worked_example(monkeypatch: pytest.MonkeyPatch) -> None:
    # Arnold and Stewart, Surface Production Operations 1, 3rd ed., three-phase example: oil of 30 degAPI and 10 cP,
    # held 10 min over water of 1.07, lets drops of 500 um cross 320 t dSG / mu = 62.1 in at most. Its 320 is
    # 0.00128 x 500^2 from 1.78e-6 ft/s, both rounded; with g and the density of water unrounded, 1.785688e-6, 62.08 in
    # become 62.08 x 1.785688e-6 x 720 / 0.00128 = 62.36 in, and 0.193839 for its dSG of 0.194 makes 62.31 in.
    monkeypatch.setattr(limits, "dead_oil_viscosity_cp", lambda *_: 10.0)
    at_60f = replace(VESSEL, temperature_c=(60 - 32) / 1.8)
    held = 1440 * 28.1661 / 10.0  # oil from 3 ft to 6 ft is 28.1661 m3; held for 10 min at this rate [m3/day]
    row = limit(capacities(at_60f, FIELD, days(8000, held / BBL_M3), NO_HOURS, UNTIL), "oil settling")
    told = re.search(r"at the high load ([0-9.]+) in of it could be crossed, it is ([0-9.]+) in", str(row["basis"]))
    assert told is not None
    assert float(told[1]) == pytest.approx(62.31, abs=0.06)  # told to a tenth
    assert float(told[1]) == pytest.approx(62.1, rel=0.005)  # the book's, with its roundings
    assert float(told[2]) == 36.0
    # A layer of 36 in that may be 62.31 in deep takes 62.31 / 36 of the rate.
    assert number(row, "used_fraction") == pytest.approx(36.0 / 62.31, rel=1e-3)


def test_the_finest_drop_that_settles_is_the_stated_one_where_the_limit_is_just_used() -> None:
    first = limit(capacities(VESSEL, FIELD, days(), NO_HOURS, UNTIL), "oil settling")
    just = days(8000, number(first, "capacity_m3_per_day") / BBL_M3)
    basis = str(limit(capacities(VESSEL, FIELD, just, NO_HOURS, UNTIL), "oil settling")["basis"])
    assert basis.endswith("36.0 in of it could be crossed, it is 36.0 in, and drops from 500 um up settle")


def test_a_valve_with_more_pressure_behind_it_than_before_passes_nothing_and_says_so() -> None:
    outlook = what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, Change(pressure_kpag=2 * PSI_KPA))
    row = limit(outlook.after, "water dump")
    assert row["capacity_m3_per_day"] == 0.0
    assert row["basis"] == "passes nothing: the pressure behind it is 3.0 psi above that before it"
    assert any(sentence.startswith("The water dump would pass nothing: ") for sentence in outlook.sentences)
    assert any(sentence.startswith("The oil valve would pass nothing: ") for sentence in outlook.sentences)


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


UNTIMED = settings(deadline=None)  # the first example waits for libraries to load
LEFT_OUT = (
    "inside_diameter_m", "length_m", "heads", "orientation", "normal_interface_m", "normal_oil_level_m",
    "mist_extractor", "oil_gravity_degapi", "water_specific_gravity", "gas_specific_gravity", "temperature_c",
    "required_water_retention_min", "required_oil_retention_min", "max_working_pressure_kpag",
)  # fmt: skip
RATES = st.sampled_from([None, 0.0, 1.0, 8000.0, 1e6])


@UNTIMED
@given(
    st.sets(st.sampled_from(LEFT_OUT), max_size=4),
    st.sampled_from(["horizontal", "vertical"]),
    st.sampled_from([0.1, 0.5, 1.8, 2.5, 5.0]),  # also above the oil and above the vessel: readings can be anything
    st.sampled_from([-30.0, 40.0, 200.0]),
    st.sampled_from([None, 0.1, 6.0]),
    RATES,
    RATES,
)
def test_whatever_is_left_out_there_is_a_number_or_what_is_missing(
    left_out: set[str], orientation: str, interface: float, temperature: float, settling: float | None,
    water: float | None, oil: float | None,
) -> None:  # fmt: skip
    known = {"orientation": orientation, "normal_interface_m": interface, "temperature_c": temperature}
    vessel = replace(VESSEL, **(known | dict.fromkeys(left_out)), settling_length_m=settling)  # type: ignore[arg-type]
    asked = (vessel, FIELD, days(water, oil, coverage_gas_rate=1.0, gas_m3=1e6), NO_HOURS, UNTIL)
    for row in capacities(*asked).iter_rows(named=True):
        capacity, used = row["capacity_m3_per_day"], row["used_fraction"]
        assert row["basis"].startswith("needs ") == (capacity is None)
        assert capacity is None or math.isfinite(capacity)
        assert used is None or math.isfinite(used)
        assert "nan" not in row["basis"]
    told = what_would_give_more(*asked, WELL_TESTS.empty()) + what_if(*asked, Change(pressure_kpag=200.0)).sentences
    assert not re.search(r"\b(nan|inf|None)\b", "\n".join(told))


def test_a_vessel_of_one_liquid_has_no_oil_layer() -> None:
    single = replace(VESSEL, normal_interface_m=None)
    names = set(capacities(single, FIELD, days(), NO_HOURS, UNTIL)["limit"])
    assert names == {"water retention", "gas", "water dump", "oil valve"}


LEVEL = st.floats(0.1, 1.7)


@UNTIMED
@given(LEVEL, LEVEL)
def test_a_higher_interface_gives_water_room_and_takes_it_from_the_oil(one: float, other: float) -> None:
    low, high = sorted((one, other))
    below, above = (
        what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, Change(interface_m=level)).after for level in (low, high)
    )
    for name, sign in (("water retention", 1), ("water dump", 1), ("oil retention", -1)):
        rise = number(limit(above, name), "capacity_m3_per_day") - number(limit(below, name), "capacity_m3_per_day")
        assert sign * rise >= -1e-9


@UNTIMED
@given(st.floats(20.0, 120.0), st.floats(20.0, 120.0))
def test_more_pressure_never_takes_from_valves_or_gas_and_leaves_the_liquids_alone(one: float, other: float) -> None:
    low, high = sorted((one * PSI_KPA, other * PSI_KPA))
    below, above = (
        what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, Change(pressure_kpag=pressure)).after
        for pressure in (low, high)
    )
    for name in ("water dump", "oil valve", "gas"):
        assert number(limit(above, name), "capacity_m3_per_day") >= number(limit(below, name), "capacity_m3_per_day")
    for name in ("water retention", "oil retention", "water settling", "oil settling"):
        assert limit(above, name) == limit(below, name)


@UNTIMED
@given(st.floats(0.1, 10.0))
def test_the_share_used_goes_with_the_load(factor: float) -> None:
    change = Change(water_rate_m3_per_day=8000 * BBL_M3 * factor)
    outlook = what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, change)
    before, after = (number(limit(one, "water retention"), "used_fraction") for one in (outlook.before, outlook.after))
    assert after == pytest.approx(factor * before)


def test_no_change_changes_nothing_and_a_well_adds_to_each_load() -> None:
    same = what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, Change())
    assert_frame_equal(same.before, same.after)
    assert same.sentences == ("Water dump binds as before: 182% used.",)  # 8000 / 4402.208
    more = what_if(VESSEL, FIELD, days(), NO_HOURS, UNTIL, Change(added=(Added("W9", 100.0, 7.0),)))
    for figure in ("median_load_m3_per_day", "high_load_m3_per_day", "worst_load_m3_per_day"):
        rise = more.after[figure] - more.before[figure]
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
