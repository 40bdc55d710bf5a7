"""The price of carryover against the trade's rule for heat, the definition of the Btu, and arithmetic by hand."""

import math
from datetime import UTC, datetime

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.field.settings import Heating, Prices
from nightgauge.losses import carryover
from nightgauge.vocabulary.frames import CARRYOVER

BARREL_M3 = 0.158987294928
MJ_PER_BTU = 1055.05585262e-6
"""International Table Btu, exactly."""


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def of_one_day(made: pl.DataFrame) -> dict[str, float | None]:
    return made.row(0, named=True)


def test_a_thousand_barrels_a_day_warmed_by_40_degrees_take_what_the_rule_of_the_trade_says(
    make_vessel, make_field, make_days
):
    """Btu/h = 14.6 x bbl/day x degF x specific gravity.

    The rule is the definition of the Btu in other units: 42 gal of 8.34 lb, 1 Btu/lb/degF, 24 h: 42 x 8.34 / 24 = 14.6,
    so 1000 bbl/day by 40 degF take 584,000 Btu/h, 14.0 million Btu/day. Water's density at 100 degF (99.4 % of that
    at 60) and a specific heat of 4.19 against 4.1868 kJ/kg/K make half a percent.
    """
    vessel = make_vessel(heating=Heating(celsius(140.0), 0.5), temperature_c=celsius(100.0))
    days = make_days(oil_m3=[10_000 * BARREL_M3], water_in_oil_fraction=[0.1])
    told = of_one_day(carryover(vessel, make_field(), days))
    assert told["water_with_oil_m3"] == pytest.approx(1000 * BARREL_M3)
    assert told["heat_mj"] / MJ_PER_BTU / 24 == pytest.approx(14.6 * 1000 * 40, rel=0.006)
    assert told["fuel_mj"] == pytest.approx(2 * told["heat_mj"])


def test_heat_is_exactly_volume_by_density_by_specific_heat_by_rise(make_vessel, make_field, make_days):
    """By hand, 10 m3 of water at 37.78 degC (100 degF): 993.05 kg/m3 (IAPWS-95), x 4.19 kJ/kg/K x 22.22 K."""
    vessel = make_vessel(heating=Heating(60.0, 0.8), temperature_c=celsius(100.0))
    told = of_one_day(carryover(vessel, make_field(), make_days(oil_m3=[50.0], water_in_oil_fraction=[0.2])))
    assert told["heat_mj"] == pytest.approx(10 * 993.04771 * 4.19 * (60 - celsius(100.0)) / 1000, rel=1e-5)
    assert told["fuel_mj"] == pytest.approx(told["heat_mj"] / 0.8)


def test_heavier_water_takes_heat_by_its_mass(make_vessel, make_field, make_days):
    days = make_days(oil_m3=[50.0], water_in_oil_fraction=[0.2])
    fresh, brine = (
        of_one_day(carryover(make_vessel(water_specific_gravity=gravity), make_field(), days))["heat_mj"]
        for gravity in (1.0, 1.1)
    )
    assert brine == pytest.approx(1.1 * fresh)


def test_oil_in_the_water_is_its_mass_over_its_density_at_60_degrees(make_vessel, make_field, make_days):
    """35 degAPI is 849.0136 kg/m3 at 60 degF (141.5 / 166.5 x 999.016): 200 m3 at 500 mg/L are 100 kg, 0.1178 m3."""
    field = make_field(prices=Prices("USD", oil_per_m3=400.0))
    told = of_one_day(carryover(make_vessel(), field, make_days(water_m3=[200.0], oil_in_water_mg_l=[500.0])))
    assert told["oil_with_water_m3"] == pytest.approx(100.0 / 849.0136, rel=1e-6)
    assert told["oil_money"] == pytest.approx(400.0 * 100.0 / 849.0136, rel=1e-6)


def test_the_temperature_is_the_mean_of_the_days_known_hours_and_the_setting_on_other_days(
    make_vessel, make_field, make_days, make_hours
):
    hours = make_hours(temperature=[40.0, 44.0, None])  # from Monday's first hour in Denver on
    days = make_days(oil_m3=[50.0, 50.0], water_in_oil_fraction=[0.2, 0.2])
    made = carryover(make_vessel(), make_field(), days, hours)
    assert made["temperature_c"].to_list() == [42.0, 30.0]
    assert carryover(make_vessel(), make_field(), days)["temperature_c"].to_list() == [30.0, 30.0]


def test_an_hour_belongs_to_the_day_of_the_fields_zone(make_vessel, make_field, make_days, make_hours):
    """05:00 UTC on Monday is 23:00 on Sunday in Denver."""
    hours = make_hours(first=datetime(2026, 5, 18, 5, tzinfo=UTC), temperature=[80.0, 40.0])
    made = carryover(make_vessel(), make_field(), make_days(oil_m3=[50.0], water_in_oil_fraction=[0.2]), hours)
    assert made["temperature_c"].to_list() == [40.0]


def test_an_hour_that_is_known_for_less_than_half_tells_no_temperature(make_vessel, make_field, make_days, make_hours):
    hours = make_hours(coverage=0.4, temperature=[44.0])
    made = carryover(make_vessel(), make_field(), make_days(oil_m3=[50.0], water_in_oil_fraction=[0.2]), hours)
    assert made["temperature_c"].to_list() == [30.0]


@pytest.mark.parametrize(
    ("over", "nulls"),
    [
        ({"heating": None}, {"heat_mj", "fuel_mj", "fuel_money"}),
        ({"temperature_c": None}, {"temperature_c", "heat_mj", "fuel_mj", "fuel_money"}),
        ({"oil_gravity_degapi": None}, {"oil_with_water_m3", "oil_money"}),
        ({"prices": None}, {"fuel_money", "oil_money"}),
        ({"prices": Prices("USD", oil_per_m3=400.0)}, {"fuel_money"}),
        ({"oil_m3": [None]}, {"water_with_oil_m3", "heat_mj", "fuel_mj", "fuel_money"}),
        ({"oil_in_water_mg_l": [None]}, {"oil_with_water_m3", "oil_money"}),
    ],
)
def test_what_needs_a_key_or_a_signal_that_is_missing_is_null(make_vessel, make_field, make_days, over, nulls):
    data = {"oil_m3": [50.0], "water_in_oil_fraction": [0.2], "water_m3": [200.0], "oil_in_water_mg_l": [300.0]}
    prices = over.get("prices", Prices("USD", oil_per_m3=400.0, fuel_per_mj=0.004))
    columns = data | {key: over[key] for key in data.keys() & over.keys()}
    settings = {key: value for key, value in over.items() if key not in data and key != "prices"}
    told = of_one_day(carryover(make_vessel(**settings), make_field(prices=prices), make_days(**columns)))
    assert {name for name, value in told.items() if value is None} == nulls


def test_water_as_hot_as_the_heater_takes_no_heat(make_vessel, make_field, make_days):
    days = make_days(oil_m3=[50.0], water_in_oil_fraction=[0.2])
    assert of_one_day(carryover(make_vessel(temperature_c=70.0), make_field(), days))["heat_mj"] == 0.0


def test_rows_of_another_vessel_are_passed_over_and_no_rows_give_none(make_vessel, make_field, make_days):
    days = make_days(vessel="V-2", oil_m3=[50.0])
    assert carryover(make_vessel(), make_field(), days).equals(CARRYOVER.empty())


@settings(max_examples=50, deadline=None)
@given(
    water=st.floats(0.0, 1.0), oil_m3=st.floats(0.0, 1e4), temperature=st.floats(0.0, 99.0),
    share=st.floats(0.05, 1.0), factor=st.floats(0.1, 10.0),
)  # fmt: skip
def test_heat_is_never_negative_fuel_never_less_and_both_go_with_the_stream(
    make_vessel, make_field, make_days, water, oil_m3, temperature, share, factor
):
    vessel = make_vessel(heating=Heating(60.0, share), temperature_c=temperature)
    days = make_days(oil_m3=[oil_m3, factor * oil_m3], water_in_oil_fraction=[water, water])
    made = carryover(vessel, make_field(), days)
    first, second = made["heat_mj"].to_list()
    assert first >= 0.0
    assert math.isclose(second, factor * first, rel_tol=1e-9, abs_tol=1e-9)
    assert all(fuel >= heat for fuel, heat in zip(made["fuel_mj"], made["heat_mj"], strict=True))
