"""What back pressure costs against arithmetic by hand, a naive twin, and its invariants."""

import importlib.util
import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import ModuleType

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.field.settings import BackPressureValve, Prices, Routing, Well
from nightgauge.losses import WaterCuts, back_pressure
from nightgauge.vocabulary.frames import BACK_PRESSURE, SIGNAL_HOURS, WELL_TESTS

PSI_KPA = 6.894757293168361
BARREL_M3 = 0.158987294928
INDEX = BARREL_M3 / PSI_KPA
"""One bbl/day for each psi. [m3/day/kPa]"""
NO_HOURS, NO_TESTS = SIGNAL_HOURS.empty(), WaterCuts(WELL_TESTS.empty())


@pytest.fixture(scope="module")
def naive() -> ModuleType:
    spec = importlib.util.spec_from_file_location("losses_naive", Path(__file__).with_name("naive.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def wells(*indices: float | None, **over: object) -> tuple[Well, ...]:
    """Wells W0, W1, ... of V-1 with these productivity indices. [bbl/day/psi]"""
    return tuple(
        Well(**({  # type: ignore[arg-type]
            "id": f"W{at}", "vessel": "V-1", "water_cut_fraction": 0.75,
            "productivity_index_m3_per_day_per_kpa": None if index is None else index * INDEX,
        } | over))
        for at, index in enumerate(indices)
    )  # fmt: skip


def a_test(well: str, end: datetime, cut: float, state: str = "accepted") -> dict[str, object]:
    return {"well": well, "vessel": "T-1", "start_utc": end - timedelta(hours=12), "end_utc": end,
            "water_cut_fraction": cut, "state": state}  # fmt: skip


def in_psi(made: pl.DataFrame, column: str) -> list[float | None]:
    return [None if value is None else pytest.approx(value / PSI_KPA) for value in made[column]]


def test_10_psi_on_two_wells_of_4_and_6_bbl_a_day_and_psi_hold_back_100_bbl_a_day(make_vessel, make_field, make_days):
    """Definition of the productivity index: 10 x (4 + 6) = 100 bbl/day; a quarter of it oil at 75 % of water."""
    field = make_field(wells=wells(4.0, 6.0), prices=Prices("USD", oil_per_m3=60 / BARREL_M3))
    made = back_pressure(make_vessel(), field, make_days(oil_hold_kpag=[48 * PSI_KPA]), NO_HOURS, NO_TESTS)
    (row,) = made.rows(named=True)
    assert row["excess_kpa"] == pytest.approx(10 * PSI_KPA)
    assert row["liquid_m3_per_day_per_kpa"] == pytest.approx(10 * INDEX)
    assert row["liquid_loss_m3_per_day"] == pytest.approx(100 * BARREL_M3)
    assert row["oil_loss_m3_per_day"] == pytest.approx(25 * BARREL_M3)
    assert row["oil_loss_money"] == pytest.approx(1500.0)
    assert (row["wells"], row["wells_without_index"], row["wells_without_water_cut"]) == (2, "[]", "[]")


def test_a_pump_whose_pressure_falls_with_rate_gives_way_in_part(make_vessel, make_field, make_days):
    """Two straight lines meet: dq = dp / (1 / PI + slope) = 10 / (1/4 + 3/4) = 10 bbl/day instead of 40."""
    pumped = wells(4.0, pump_curve_slope_kpa_day_per_m3=0.75 / INDEX)
    made = back_pressure(
        make_vessel(), make_field(wells=pumped), make_days(oil_hold_kpag=[48 * PSI_KPA]), NO_HOURS, NO_TESTS
    )
    assert made["liquid_loss_m3_per_day"].item() == pytest.approx(10 * BARREL_M3)


def test_what_is_needed_goes_before_what_is_set_and_the_row_says_which(make_vessel, make_field, make_days):
    may_20 = datetime(2026, 5, 20, 6, tzinfo=UTC)  # midnight in Denver
    settings = (
        BackPressureValve(holds_kpag=45 * PSI_KPA),
        BackPressureValve(holds_kpag=45 * PSI_KPA, needs_kpag=38 * PSI_KPA, valid_from=may_20),
    )
    days = make_days(oil_hold_kpag=[47 * PSI_KPA] * 3)
    made = back_pressure(make_vessel(oil_valve=settings), make_field(), days, NO_HOURS, NO_TESTS)
    assert made["needed_by"].to_list() == ["holds", "holds", "needs"]
    assert in_psi(made, "excess_kpa") == [2.0, 2.0, 9.0]
    bare = back_pressure(make_vessel(oil_valve=()), make_field(), days, NO_HOURS, NO_TESTS)
    assert bare.select("needed_kpag", "needed_by", "excess_kpa").rows() == [(None, None, None)] * 3


def test_pressure_below_what_is_needed_costs_nothing_and_gains_nothing(make_vessel, make_field, make_days):
    field = make_field(wells=wells(4.0))
    days = make_days(oil_hold_kpag=[30 * PSI_KPA, None])
    made = back_pressure(make_vessel(), field, days, NO_HOURS, NO_TESTS)
    assert made["excess_kpa"].to_list() == [0.0, None]
    assert made["liquid_loss_m3_per_day"].to_list() == [0.0, None]


def test_a_well_without_an_index_is_named_and_not_in(make_vessel, make_field, make_days):
    days = make_days(oil_hold_kpag=[48 * PSI_KPA])
    made = back_pressure(make_vessel(), make_field(wells=wells(4.0, None)), days, NO_HOURS, NO_TESTS)
    assert json.loads(made["wells_without_index"].item()) == ["W1"]
    assert made["liquid_loss_m3_per_day"].item() == pytest.approx(40 * BARREL_M3)
    alone = back_pressure(make_vessel(), make_field(wells=wells(None)), days, NO_HOURS, NO_TESTS)
    assert alone.select("wells", "liquid_m3_per_day_per_kpa", "liquid_loss_m3_per_day").row(0) == (1, None, None)


def test_a_well_without_a_water_cut_gives_liquid_and_no_oil(make_vessel, make_field, make_days):
    known, unknown = wells(4.0, 6.0)
    field = make_field(wells=(known, replace(unknown, water_cut_fraction=None)))
    made = back_pressure(make_vessel(), field, make_days(oil_hold_kpag=[48 * PSI_KPA]), NO_HOURS, NO_TESTS)
    assert made["liquid_loss_m3_per_day"].item() == pytest.approx(100 * BARREL_M3)
    assert made["oil_loss_m3_per_day"].item() == pytest.approx(10 * BARREL_M3)
    assert json.loads(made["wells_without_water_cut"].item()) == ["W1"]


def test_a_well_that_gives_water_alone_loses_no_oil_and_that_is_known(make_vessel, make_field, make_days):
    field = make_field(wells=wells(4.0, water_cut_fraction=1.0))
    made = back_pressure(make_vessel(), field, make_days(oil_hold_kpag=[48 * PSI_KPA]), NO_HOURS, NO_TESTS)
    assert made["oil_loss_m3_per_day"].item() == 0.0


def test_the_water_cut_is_that_of_the_latest_accepted_test_that_had_ended(make_vessel, make_field, make_days):
    tests = WELL_TESTS.build(pl.DataFrame([
        a_test("W0", datetime(2026, 5, 18, 20, tzinfo=UTC), 0.5),
        a_test("W0", datetime(2026, 5, 19, 18, tzinfo=UTC), 0.1, state="rejected"),
        a_test("W9", datetime(2026, 5, 19, 18, tzinfo=UTC), 0.2),
        a_test("W0", datetime(2026, 5, 20, 18, tzinfo=UTC), 0.9),
    ]))  # fmt: skip
    made = back_pressure(
        make_vessel(),
        make_field(wells=wells(4.0)),
        make_days(oil_hold_kpag=[48 * PSI_KPA] * 4),
        NO_HOURS,
        WaterCuts(tests),
    )
    shares = made["oil_loss_m3_per_day"] / made["liquid_loss_m3_per_day"]
    assert shares.to_list() == pytest.approx([0.25, 0.5, 0.5, 0.1])


def test_a_test_that_ended_on_the_days_first_instant_tells_that_day(make_vessel, make_field, make_days):
    midnight = datetime(2026, 5, 19, 6, tzinfo=UTC)  # in Denver
    tests = WELL_TESTS.build(pl.DataFrame([a_test("W0", midnight, 0.5)]))
    days = make_days(oil_hold_kpag=[48 * PSI_KPA] * 2)
    made = back_pressure(make_vessel(), make_field(wells=wells(4.0)), days, NO_HOURS, WaterCuts(tests))
    shares = made["oil_loss_m3_per_day"] / made["liquid_loss_m3_per_day"]
    assert shares.to_list() == pytest.approx([0.25, 0.5])


def test_a_well_counts_for_the_hours_in_which_the_header_sends_it_here(make_vessel, make_field, make_days):
    """Away from 06:00 to 18:00 on Monday, a half day; back for good after it."""
    away = (
        Routing(datetime(2026, 5, 18, 12, tzinfo=UTC), "W0", "T-1"),
        Routing(datetime(2026, 5, 19, 0, tzinfo=UTC), "W0", "V-1"),
    )
    days = make_days(oil_hold_kpag=[48 * PSI_KPA] * 2)
    made = back_pressure(make_vessel(), make_field(wells=wells(4.0), routings=away), days, NO_HOURS, NO_TESTS)
    assert made["liquid_loss_m3_per_day"].to_list() == pytest.approx([20 * BARREL_M3, 40 * BARREL_M3])


def test_a_well_routed_elsewhere_from_before_has_no_part(make_vessel, make_field, make_days):
    gone = (Routing(datetime(2026, 5, 1, tzinfo=UTC), "W1", None),)
    field = make_field(wells=wells(4.0, None), routings=gone)
    made = back_pressure(make_vessel(), field, make_days(oil_hold_kpag=[48 * PSI_KPA]), NO_HOURS, NO_TESTS)
    assert made.select("wells", "wells_without_index").row(0) == (1, "[]")


def test_header_and_line_loss_are_medians_of_the_hours_that_know_both(make_vessel, make_field, make_days, make_hours):
    hours = make_hours(inlet_pressure=[340.0, 342.0, 350.0, None], vessel_pressure=[330.0, 330.0, None, 320.0])
    made = back_pressure(make_vessel(), make_field(), make_days(oil_hold_kpag=[300.0, 300.0]), hours, NO_TESTS)
    assert made["header_kpag"].to_list() == [342.0, None]
    assert made["line_loss_kpa"].to_list() == [11.0, None]


def test_the_droop_is_the_days_and_rows_of_another_vessel_are_passed_over(make_vessel, make_field, make_days):
    days = make_days(oil_hold_kpag=[300.0], oil_droop_kpa_per_m3_per_day=[0.04])
    other = make_days(vessel="V-2", oil_hold_kpag=[500.0])
    both = pl.concat([days, other])
    made = back_pressure(make_vessel(), make_field(), both, NO_HOURS, NO_TESTS)
    assert made["droop_kpa_per_m3_per_day"].to_list() == [0.04]
    none = back_pressure(make_vessel(), make_field(wells=wells(4.0)), other, NO_HOURS, NO_TESTS)
    assert none.equals(BACK_PRESSURE.empty())


indices = st.lists(st.none() | st.floats(0.1, 50.0), min_size=0, max_size=4)


@settings(max_examples=50, deadline=None)
@given(indices=indices, held=st.floats(0.0, 120.0))
def test_the_cost_is_never_negative_linear_in_the_excess_and_without_wells_unknown(
    make_vessel, make_field, make_days, indices, held
):
    excess = max(held - 38.0, 0.0)
    days = make_days(oil_hold_kpag=[held * PSI_KPA, (38.0 + 2.0 * excess) * PSI_KPA])
    made = back_pressure(make_vessel(), make_field(wells=wells(*indices)), days, NO_HOURS, NO_TESTS)
    once, twice = made["liquid_loss_m3_per_day"].to_list()
    if not any(indices):
        assert once is None
        return
    assert once >= 0.0
    assert twice == pytest.approx(2.0 * once, abs=1e-9)
    expected = excess * sum(index for index in indices if index is not None)
    assert once / BARREL_M3 == pytest.approx(expected, abs=1e-9)


turns = st.lists(
    st.tuples(st.integers(0, 4 * 1440), st.integers(0, 2), st.sampled_from(["V-1", "T-1", None])), max_size=6,
    unique_by=lambda turn: turn[:2],
)  # fmt: skip


@settings(max_examples=50, deadline=None)
@given(indices=st.lists(st.none() | st.floats(0.1, 50.0), min_size=3, max_size=3), turns=turns)
def test_the_sums_are_those_of_counting_minutes_well_by_well(make_vessel, make_field, make_days, naive, indices, turns):
    # Over the night on which the clocks go back, a day of 25 hours.
    first = datetime(2026, 10, 30, 6, tzinfo=UTC)
    routings = tuple(Routing(first + timedelta(minutes=at), f"W{well}", way) for at, well, way in turns)
    field = make_field(wells=wells(*indices, pump_curve_slope_kpa_day_per_m3=20.0), routings=routings)
    days = make_days(first=date(2026, 10, 30), oil_hold_kpag=[48 * PSI_KPA] * 4)
    made = back_pressure(make_vessel(), field, days, NO_HOURS, NO_TESTS)
    for row in made.iter_rows(named=True):
        liquid, without = naive.loss_of_day("V-1", field, row["day"], row["excess_kpa"])
        assert row["liquid_loss_m3_per_day"] == (None if liquid is None else pytest.approx(liquid))
        assert json.loads(row["wells_without_index"]) == without
