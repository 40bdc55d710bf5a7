import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95

from nightgauge.physics.heating import WATER_SPECIFIC_HEAT_KJ_PER_KG_C, fuel_gas_m3_per_day, fuel_kw, heat_kw

BBL, FOOT3 = 0.158987294928, 0.028316846592  # [m3]
BTU_PER_LB_F = scipy.constants.Btu_IT / scipy.constants.lb * 1.8 / 1000.0  # [kJ/(kg K)]


def kw(btu_per_hour):
    return btu_per_hour * scipy.constants.Btu_IT / 3.6e6


@pytest.mark.parametrize("temperature", [0.5, 20.0, 37.7777777778, 60.0, 80.0, 99.0])
def test_specific_heat_of_water_is_within_a_percent_of_iapws95(temperature):
    reference = IAPWS95(T=temperature + 273.15, P=0.101325).cp
    assert pytest.approx(reference, rel=7e-3) == WATER_SPECIFIC_HEAT_KJ_PER_KG_C


@pytest.mark.parametrize(
    # Sodium chloride brine at 40 degC: how much its heat is overstated with the specific heat of fresh water
    ("salt", "overstated"), [(0.05, 1.06), (0.10, 1.12), (0.20, 1.22)],
)  # fmt: skip
def test_brine_takes_less_heat_than_told(salt, overstated):
    density, specific_heat = (
        coolprop.PropsSI(what, "T", 313.15, "P", 101325, f"INCOMP::MNA[{salt}]") for what in ("D", "C")
    )
    found = heat_kw(100.0, 20.0, density) / heat_kw(100.0, 20.0, density, specific_heat / 1000.0)
    assert found == pytest.approx(overstated, abs=5e-3)


def test_heat_agrees_with_the_trades_rule():
    # 350 lb/bbl x 1 Btu/(lb degF) / 24 h = 14.6 Btu/h per bbl/day and degF (14.583 by hand), times specific gravity.
    for gravity in (1.0, 1.08):
        heat = heat_kw(2000.0 * BBL, 40.0 / 1.8, gravity * 999.016, BTU_PER_LB_F)
        assert heat == pytest.approx(kw(350.0 / 24.0 * 2000.0 * 40.0 * gravity), rel=5e-4)
        assert heat == pytest.approx(kw(14.6 * 2000.0 * 40.0 * gravity), rel=1e-3)


def test_heat_agrees_with_the_enthalpy_of_water():
    # 50 m3/day at 30 degC warmed to 60 degC, by the difference of enthalpy.
    cold, hot = (IAPWS95(T=t + 273.15, P=0.101325) for t in (30.0, 60.0))
    reference = 50.0 * cold.rho * (hot.h - cold.h) / 86400.0
    assert heat_kw(50.0, 30.0, cold.rho) == pytest.approx(reference, rel=5e-3)


@given(st.floats(0.0, 5000.0), st.floats(0.0, 80.0), st.floats(0.05, 1.0))
def test_fuel_holds_at_least_the_heat(flow, rise, efficiency):
    heat = heat_kw(flow, rise, 1050.0)
    assert fuel_kw(heat, efficiency) >= heat >= 0.0
    assert fuel_kw(heat, efficiency) * efficiency == pytest.approx(heat)


def test_an_efficiency_that_cannot_be_gives_no_fuel():
    assert np.isnan(fuel_kw(np.full(4, 10.0), np.array([0.0, -0.5, 1.2, np.nan]))).all()


def test_a_thousand_btu_per_cubic_foot_is_a_thousand_cubic_feet_per_million_btu():
    # By hand: 1e6 Btu/day / 1000 Btu/ft3 = 1000 ft3/day; the rule of thumb that Mcf and MMBtu are alike.
    value = 1000.0 * scipy.constants.Btu_IT / 1e6 / FOOT3
    assert fuel_gas_m3_per_day(kw(1e6 / 24.0), value) / FOOT3 == pytest.approx(1000.0, rel=1e-9)


def test_unknown_flows_pass_through():
    assert np.isnan(heat_kw(np.array([np.nan, 1.0]), 10.0, 1000.0)).tolist() == [True, False]
