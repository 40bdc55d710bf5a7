import math

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from fluids.separator import v_Souders_Brown

from nightgauge.physics.gas import (
    Gas,
    allowed_velocity_m_per_s,
    capacity_factor_m_per_s,
    gas_area_m2,
    gas_capacity_m3_per_day,
    gas_density_kg_m3,
    published_capacity_factor_m_per_s,
)
from nightgauge.physics.geometry import Shell

FT, INCH, PSI, LB_FT3, MMSCF = 0.3048, 0.0254, 6.894757293168361, 16.01846337396014, 1e6 * 0.3048**3


def celsius(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


@pytest.mark.parametrize(
    # rho = 2.6991 SG P / (T Z) [lb/ft3, psia, degR], the trade's form, by hand: 122.2347 / 554.0733, 1619.46 / 436.5228
    ("gravity", "psia", "degf", "z", "expected"),
    [(0.70, 64.696, 100.0, 0.99, 0.220611), (0.60, 1000.0, 60.0, 0.84, 3.709909)],
)
def test_gas_density_agrees_with_the_field_form(gravity, psia, degf, z, expected):
    found = gas_density_kg_m3(gravity, psia * PSI, celsius(degf), z)
    assert found / LB_FT3 == pytest.approx(expected, rel=1e-5)


def test_air_is_as_heavy_as_coolprop_says():
    # Air at 20 kPa is ideal to 1e-4.
    reference = coolprop.PropsSI("D", "T", 300.0, "P", 20e3, "Air")
    assert Gas(1.0, 20.0, 26.85).density_kg_m3 == pytest.approx(reference, rel=2e-4)


def test_lean_gas_at_field_pressure_is_within_two_percent_of_ideal():
    reference = coolprop.PropsSI("D", "T", 308.15, "P", 450e3, "Methane")
    gravity = coolprop.PropsSI("M", "Methane") / coolprop.PropsSI("M", "Air")
    assert gas_density_kg_m3(gravity, 450.0, 35.0) == pytest.approx(reference, rel=0.02)


@pytest.mark.parametrize(
    # API Spec 12J annex C, from secondary copies [ft/s]; between 5 and 10 ft half-way by our line
    ("orientation", "feet", "lower", "upper"),
    [
        ("vertical", 5.0, 0.12, 0.24),
        ("vertical", 10.0, 0.18, 0.35),
        ("vertical", 25.0, 0.18, 0.35),
        ("vertical", 3.0, 0.12, 0.24),
        ("vertical", 7.5, 0.15, 0.295),
        ("horizontal", 10.0, 0.40, 0.50),
        ("horizontal", 15.0, 0.501962, 0.627453),
        ("horizontal", 20.0, 0.589708, 0.737135),
    ],
)
def test_capacity_factors_are_the_published_bands(orientation, feet, lower, upper):
    band = published_capacity_factor_m_per_s(orientation, feet * FT)
    assert (band.lower / FT, band.upper / FT) == (pytest.approx(lower, abs=1e-6), pytest.approx(upper, abs=1e-6))


def test_vessels_are_judged_by_the_lower_end_and_half_of_it_without_a_mist_extractor():
    # House choice, told in the field format.
    assert capacity_factor_m_per_s("horizontal", 10 * FT, mist_extractor=True) == pytest.approx(0.40 * FT, rel=1e-12)
    assert capacity_factor_m_per_s("horizontal", 10 * FT, mist_extractor=False) == pytest.approx(0.20 * FT, rel=1e-12)


def test_allowed_velocity_agrees_with_fluids():
    for factor, liquid, gas in ((0.08, 985.4, 1.3), (0.12 * FT, 54.7 * LB_FT3, 0.3 * LB_FT3), (0.15, 830.0, 60.0)):
        expected = v_Souders_Brown(factor, rhol=liquid, rhog=gas)
        assert allowed_velocity_m_per_s(factor, liquid, gas) == pytest.approx(expected, rel=1e-12)


def test_a_gas_heavier_than_the_liquid_or_without_weight_has_no_velocity():
    assert np.isnan(allowed_velocity_m_per_s(0.1, 800.0, np.array([900.0, 800.0, 0.0, np.nan]))).all()


@pytest.mark.parametrize(
    # Full bore of a vertical 36 in ID, 10 ft high, K at the upper end 0.35 ft/s: ft/s and MMscfd, worked from
    # Q = v A 86400 (P / 14.696) (519.67 / (T Z)); capacity is told at the lower end, 0.18.
    ("gas", "liquid_lb_ft3", "velocity_ft_per_s", "mmscfd"),
    [
        (Gas(0.70, 64.696 * PSI, celsius(100.0), 0.99), 52.0, 5.361909, 13.52169),
        (Gas(0.60, 1000.0 * PSI, celsius(60.0), 0.84), 51.5, 1.256190, 62.14741),
    ],
)
def test_gas_capacity_of_a_full_bore_agrees_with_the_worked_example(gas, liquid_lb_ft3, velocity_ft_per_s, mmscfd):
    velocity = allowed_velocity_m_per_s(0.35 * FT, liquid_lb_ft3 * LB_FT3, gas.density_kg_m3)
    # The first example's density was printed 7e-5 too high, which halves in the velocity.
    assert velocity / FT == pytest.approx(velocity_ft_per_s, rel=5e-5)
    vessel = Shell(36 * INCH, 10 * FT, "2:1 ellipsoidal", "vertical")
    found = gas_capacity_m3_per_day(vessel, 1.0, gas, liquid_lb_ft3 * LB_FT3, mist_extractor=True)
    assert found / MMSCF * 0.35 / 0.18 == pytest.approx(mmscfd, rel=5e-5)


def test_gas_flows_above_the_oil_in_a_lying_vessel():
    # h/D 0.75 leaves 19.5501 % of the circle (handbook segment table).
    vessel = Shell(2.0, 6.0, "hemispherical", "horizontal")
    np.testing.assert_allclose(
        gas_area_m2(vessel, np.array([-1.0, 1.5, 2.5, np.nan])) / math.pi, [1.0, 0.195501, 0.0, np.nan], atol=5e-7
    )


def test_gas_flows_through_the_whole_bore_of_a_standing_vessel():
    vessel = Shell(2.0, 6.0, "flat", "vertical")
    np.testing.assert_allclose(gas_area_m2(vessel, np.array([0.0, 5.0])), math.pi, rtol=1e-12)


def test_capacity_is_told_for_every_hour_at_once():
    vessel = Shell(2.4, 6.0, "2:1 ellipsoidal", "horizontal")
    pressures = np.array([300.0, 450.0, np.nan])
    gas = Gas(0.75, pressures, np.array([30.0, 35.0, 35.0]))
    found = gas_capacity_m3_per_day(vessel, np.full(3, 1.6), gas, 870.0, mist_extractor=False)
    alone = gas_capacity_m3_per_day(vessel, 1.6, Gas(0.75, 450.0, 35.0), 870.0, mist_extractor=False)
    assert found[1] == pytest.approx(alone, rel=1e-14)
    assert np.isnan(found).tolist() == [False, False, True]
