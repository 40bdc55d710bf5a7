import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.physics.liquids import volume_correction
from nightgauge.physics.wells import (
    combined_uncertainty,
    net_oil_error_fraction,
    net_oil_m3,
    rate_lost_m3_per_day,
    rate_m3_per_day,
    water_cut,
)

PSI, BBL = 6.894757293168361, 0.158987294928  # [kPa], [m3]


@given(st.floats(0.01, 50.0), st.floats(0.001, 20.0), st.floats(0.0, 200.0))
def test_the_loss_is_how_far_two_lines_cross_lower(index, slope, pressure):
    # Inflow q = PI (p_r - p_wf) and pump p_out = p_wf + H - s q, solved for (q, p_wf) before and after.
    lines = np.array([[1.0, index], [-slope, 1.0]])

    def rate(outlet):
        return np.linalg.solve(lines, [index * 10_000.0, outlet - 6_000.0])[0]

    lost = rate_lost_m3_per_day(pressure, index, slope)
    assert lost == pytest.approx(rate(500.0) - rate(500.0 + pressure), rel=1e-6, abs=1e-7)


def test_without_a_pump_curve_the_loss_is_index_times_pressure():
    # By hand: 4 bbl/day/psi and 10 psi are 40 bbl/day.
    assert rate_lost_m3_per_day(10 * PSI, 4 * BBL / PSI) / BBL == pytest.approx(40.0, rel=1e-12)


@given(st.floats(0.0, 500.0), st.floats(0.001, 100.0), st.floats(-50.0, 50.0))
def test_a_pump_curve_never_makes_the_loss_larger(pressure, index, slope):
    bound = rate_lost_m3_per_day(pressure, index)
    assert 0.0 <= rate_lost_m3_per_day(pressure, index, slope) <= bound * (1.0 + 1e-12)
    assert rate_lost_m3_per_day(pressure, index, slope) == rate_lost_m3_per_day(pressure, index, -slope)


def test_the_indices_of_wells_add_up_and_relief_is_a_gain():
    indices = np.array([0.5, 1.5, 3.0])
    each = rate_lost_m3_per_day(np.full(3, 20.0), indices)
    assert each.sum() == pytest.approx(rate_lost_m3_per_day(20.0, 5.0), rel=1e-12)
    assert rate_lost_m3_per_day(-20.0, 5.0) == -rate_lost_m3_per_day(20.0, 5.0)


def test_without_an_index_no_loss_is_told():
    indices = np.array([0.0, -1.0, np.nan])
    assert np.isnan(rate_lost_m3_per_day(np.full(3, 10.0), indices)).all()
    assert np.isnan(rate_lost_m3_per_day(np.full(3, 10.0), indices, 0.1)).all()


def test_a_rate_is_the_volume_of_the_test_over_a_day():
    # Q = V 24 / t by hand: 10 bbl in 6 h, 125 bbl in 30 h.
    found = rate_m3_per_day(np.array([10.0, 125.0]), np.array([6.0, 30.0]) * 3600.0)
    np.testing.assert_allclose(found, [40.0, 100.0], rtol=1e-12)
    assert np.isnan(rate_m3_per_day(np.array([1.0, 1.0]), np.array([0.0, np.nan]))).all()


def test_water_cut_is_the_share_of_water():
    # WC 0.90 is a water-oil ratio of 9, by WOR = WC / (1 - WC).
    found = water_cut(np.array([9.0, 0.0, 0.0]), np.array([1.0, 4.0, 0.0]))
    np.testing.assert_array_equal(found, [0.9, 0.0, np.nan])


def test_net_oil_agrees_with_the_worked_example():
    # 1000 bbl, MF 1.002, WC 0.40, CTL 0.971380 (35 degAPI, 120 degF), shrinkage 0.985: 575.233751 bbl by hand.
    assert net_oil_m3(1000.0, 0.40, 1.002, 0.971380, 0.985) == pytest.approx(575.233751, rel=1e-8)
    factor = volume_correction(35.0, (120.0 - 32.0) / 1.8)
    assert net_oil_m3(1000.0, 0.40, 1.002, factor, 0.985) == pytest.approx(575.233751, rel=1e-6)


def test_a_point_of_water_at_ninety_percent_is_a_tenth_of_the_oil():
    # dN/N = -dWC / (1 - WC) by hand.
    assert net_oil_error_fraction(0.90, 0.01) == pytest.approx(-0.10, rel=1e-12)
    assert np.isnan(net_oil_error_fraction(np.array([1.0, np.nan]), 0.01)).all()


@given(st.floats(0.0, 0.99), st.floats(-0.005, 0.005), st.floats(1.0, 1000.0))
def test_the_error_of_net_oil_is_the_difference_of_two_net_oils(cut, error, gross):
    true, told = net_oil_m3(gross, cut), net_oil_m3(gross, cut + error)
    assert (told - true) / true == pytest.approx(net_oil_error_fraction(cut, error), abs=1e-9)


def test_independent_uncertainties_combine_by_root_sum_of_squares():
    # GUM: 0.5 %, 1 % and 2 % together are 2.291288 %, by hand.
    assert combined_uncertainty(0.005, 0.01, 0.02) == pytest.approx(0.02291288, rel=1e-7)


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=5))
def test_a_combined_uncertainty_lies_between_the_largest_and_the_sum(parts):
    together = combined_uncertainty(*parts)
    assert max(parts) - 1e-12 <= together <= sum(parts) + 1e-12


def test_uncertainties_combine_over_arrays():
    found = combined_uncertainty(np.array([0.3, np.nan]), 0.4)
    np.testing.assert_allclose(found, [0.5, np.nan], rtol=1e-12)
