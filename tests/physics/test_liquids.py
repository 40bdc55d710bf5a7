import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from chemicals.utils import API_to_SG
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95

from nightgauge.physics.liquids import (
    dead_oil_viscosity_cp,
    oil_density_kg_m3,
    oil_specific_gravity,
    settling_velocity_m_per_s,
    volume_correction,
    water_density_kg_m3,
    water_viscosity_cp,
)


def celsius(fahrenheit):
    return (np.asarray(fahrenheit) - 32.0) / 1.8


def test_specific_gravity_agrees_with_chemicals():
    gravities = np.array([8.0, 10.0, 20.0, 27.0, 35.0, 45.0])
    np.testing.assert_allclose(oil_specific_gravity(gravities), [API_to_SG(g) for g in gravities], rtol=1e-12)


@pytest.mark.parametrize(
    # °API = 141.5 / SG - 131.5 by hand
    ("degapi", "gravity"), [(10.0, 1.0), (45.375, 0.80), (25.722222, 0.90), (30.0, 0.876161)],
)  # fmt: skip
def test_specific_gravity_of_worked_values(degapi, gravity):
    assert oil_specific_gravity(degapi) == pytest.approx(gravity, abs=5e-7)


# API MPMS 11.1, table 6A form: density at 60 degF [kg/m3] and volume factors CTL at 80, 100, 120, 140, 160, 40 degF,
# computed from the closed form; a printed API table agrees to its last place (5e-5).
CRUDE = [
    (10.0, 999.0160, [0.993151, 0.986275, 0.979373, 0.972447, 0.965498, 1.006821]),
    (20.0, 933.0743, [0.992146, 0.984258, 0.976336, 0.968382, 0.960399, 1.007817]),
    (25.0, 903.2637, [0.991618, 0.983196, 0.974737, 0.966243, 0.957715, 1.008340]),
    (30.0, 875.2988, [0.991072, 0.982100, 0.973085, 0.964031, 0.954940, 1.008880]),
    (35.0, 849.0136, [0.990510, 0.980969, 0.971380, 0.961748, 0.952075, 1.009437]),
    (40.0, 824.2610, [0.989929, 0.979802, 0.969622, 0.959393, 0.949119, 1.010010]),
    (45.0, 800.9108, [0.989332, 0.978600, 0.967810, 0.956966, 0.946072, 1.010600]),
]


@pytest.mark.parametrize(("degapi", "at_60f", "factors"), CRUDE)
def test_crude_shrinks_and_swells_by_the_volume_factors_of_mpms_11_1(degapi, at_60f, factors):
    assert oil_density_kg_m3(degapi, celsius(60.0).item()) == pytest.approx(at_60f, rel=1e-7)
    found = oil_density_kg_m3(degapi, celsius([80.0, 100.0, 120.0, 140.0, 160.0, 40.0])) / at_60f
    np.testing.assert_allclose(found, factors, atol=1e-6)


@pytest.mark.parametrize(("degapi", "at_60f", "factors"), CRUDE)
def test_the_volume_correction_is_the_factor_of_mpms_11_1(degapi, at_60f, factors):
    found = volume_correction(degapi, celsius([80.0, 100.0, 120.0, 140.0, 160.0, 40.0]))
    np.testing.assert_allclose(found, factors, atol=1e-6)
    assert volume_correction(degapi, celsius(60.0).item()) == pytest.approx(1.0, rel=1e-12)


def test_dead_oil_viscosity_agrees_with_the_worked_example():
    # Petroleum Engineering Handbook (1987), chapter 22: 22 degAPI at 137 degF; x = 1.2658, 17.44 cP. Read in a copy.
    found = dead_oil_viscosity_cp(22.0, celsius(137.0).item())
    assert found == pytest.approx(17.44, abs=5e-3)
    assert np.log10(found + 1.0) == pytest.approx(1.2658, abs=2e-4)


@given(st.floats(16.0, 57.0), st.floats(21.0, 140.0))
def test_hotter_and_lighter_oil_is_thinner(degapi, temperature):
    found = dead_oil_viscosity_cp(degapi, temperature)
    assert 0.0 < dead_oil_viscosity_cp(degapi, temperature + 1.0) < found
    assert 0.0 < dead_oil_viscosity_cp(degapi + 1.0, temperature) < found


def test_far_below_freezing_no_viscosity_is_told():
    assert np.isnan(dead_oil_viscosity_cp(30.0, -20.0))


# IAPWS-95 at 1 atm agrees with Kell's formula to 4e-6 over the range; its tables of 60-200 degF are the same numbers.
@pytest.mark.parametrize("temperature", [0.5, 5.0, 15.5555555556, 25.0, 37.7777777778, 60.0, 80.0, 93.0, 99.0])
def test_fresh_water_density_agrees_with_iapws95(temperature):
    reference = IAPWS95(T=temperature + 273.15, P=0.101325).rho
    assert water_density_kg_m3(temperature) * 999.0170 / 999.016 == pytest.approx(reference, rel=4e-6)


def test_water_density_at_60_degf_is_the_specific_gravity_times_999_016():
    assert water_density_kg_m3(celsius(60.0).item(), 1.08) == pytest.approx(1.08 * 999.016, rel=1e-12)


@pytest.mark.parametrize(("salt", "temperature"), [(0.05, 5.0), (0.10, 25.0), (0.10, 40.0), (0.20, 40.0)])
def test_brine_density_is_within_half_a_percent_of_sodium_chloride(salt, temperature):
    def brine(t):
        return coolprop.PropsSI("D", "T", t + 273.15, "P", 101325, f"INCOMP::MNA[{salt}]")

    gravity = brine(celsius(60.0).item()) / 999.016
    assert water_density_kg_m3(temperature, gravity) == pytest.approx(brine(temperature), rel=5e-3)


# CoolProp has the full IAPWS 2008 formulation; the release says its short form for 1 bar stays within its error, and
# they are in fact within 4e-5 of each other.
@pytest.mark.parametrize("temperature", [0.5, 5.0, 15.0, 25.0, 37.7777777778, 60.0, 80.0, 99.0])
def test_water_viscosity_agrees_with_iapws_2008(temperature):
    reference = coolprop.PropsSI("V", "T", temperature + 273.15, "P", 101325, "Water") * 1e3
    assert water_viscosity_cp(temperature) == pytest.approx(reference, rel=4e-5)


@pytest.mark.parametrize(
    # v = g d^2 drho / 18 mu by hand: um, cP, kg/m3, m/s; the first two are the design drops of Arnold and Stewart
    ("micron", "viscosity", "difference", "velocity"),
    [
        (500.0, 10.0, 193.809, 2.639747e-3),
        (200.0, 1.0, 193.809, 4.223596e-3),
        (100.0, 5.0, 150.0, 1.634442e-4),
        (150.0, 0.6, 180.0, 3.677494e-3),
    ],
)
def test_drops_settle_by_stokes(micron, viscosity, difference, velocity):
    assert settling_velocity_m_per_s(micron * 1e-6, difference, viscosity) == pytest.approx(velocity, rel=1e-6)


def test_a_lighter_drop_rises_as_fast_as_a_heavier_one_sinks():
    assert settling_velocity_m_per_s(2e-4, -150.0, 1.0) == -settling_velocity_m_per_s(2e-4, 150.0, 1.0)


def test_unknown_values_pass_through():
    unknown = np.array([np.nan, 30.0])
    for found in (
        oil_density_kg_m3(30.0, unknown),
        volume_correction(30.0, unknown),
        dead_oil_viscosity_cp(30.0, unknown),
        water_density_kg_m3(unknown),
        water_viscosity_cp(unknown),
    ):
        assert np.isnan(found).tolist() == [True, False]
