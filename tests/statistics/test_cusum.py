import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from nightgauge.statistics.cusum import (
    cusum_run_length,
    decision_for,
    ewma,
    ewma_half_width,
    ewma_run_length,
    tabular_cusum,
    two_sided_cusum_run_length,
)

# --- worked series -----------------------------------------------------------------------------------------------


def test_cusum_agrees_with_montgomerys_table(montgomery):
    sums = tabular_cusum(montgomery, target=10.0, slack=0.5)
    upper = [
        0, 0, 0, 1.16, 2.82, 2.50, 0.04, 1.00, 0, 0, 0, 0.97, 0.98, 0, 0, 0, 0.12, 0, 0, 0.34, 0.74, 0, 1.79, 2.79,
        2.89, 3.47, 3.35, 4.47, 5.28, 5.30,
    ]  # fmt: skip
    lower = [
        0.05, 1.56, 1.77, 0, 0, 0, 1.46, 0, 0.30, 0, 0.47, 0, 0, 0.10, 0, 0.13, 0, 0, 0.98, 0, 0, 0.17, 0, 0, 0, 0, 0,
        0, 0, 0,
    ]  # fmt: skip
    runs = [0, 0, 0, 1, 2, 3, 4, 5, 0, 0, 0, 1, 2, 0, 0, 0, 1, 0, 0, 1, 2, 0, 1, 2, 3, 4, 5, 6, 7, 8]
    np.testing.assert_allclose(sums.upper, upper, atol=0.005)
    np.testing.assert_allclose(sums.lower, lower, atol=0.005)
    assert sums.upper_run.tolist() == runs


def test_montgomerys_shift_alarms_at_29_and_is_dated_after_22(montgomery):
    sums = tabular_cusum(montgomery, target=10.0, slack=0.5)
    alarm = int(np.flatnonzero(sums.upper > 5.0)[0])
    assert (alarm + 1, alarm + 1 - sums.upper_run[alarm]) == (29, 22)
    # The new mean is estimated at 11.25 in the book.
    assert 10.0 + 0.5 + sums.upper[alarm] / sums.upper_run[alarm] == pytest.approx(11.254, abs=0.005)


def test_cusum_agrees_with_the_nist_handbook(nist_cusum):
    # Section 6.3.2.3: target 325, k 0.3175, h 4.1959; first alarm at 14.
    sums = tabular_cusum(nist_cusum, target=325.0, slack=0.3175)
    upper = [
        0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04,
    ]  # fmt: skip
    lower = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]
    np.testing.assert_allclose(sums.upper, upper, atol=0.0051)
    np.testing.assert_allclose(sums.lower, lower, atol=0.0051)
    assert (np.flatnonzero(sums.upper > 4.1959) + 1).tolist() == list(range(14, 21))


def naive_cusum(values, target, slack, headstart):
    """Page's recursion, one point after the other."""
    upper, lower, rows = headstart, headstart, []
    for value in values:
        if not np.isnan(value):
            upper = max(0.0, upper + value - target - slack)
            lower = max(0.0, lower + target - value - slack)
        rows.append((upper, lower))
    return np.array(rows).T


@given(
    st.lists(st.one_of(st.floats(-5.0, 5.0), st.just(float("nan"))), min_size=1, max_size=60),
    st.floats(0.0, 1.0),
    st.floats(0.0, 3.0),
)
def test_sums_are_those_of_the_recursion(values, slack, headstart):
    sums = tabular_cusum(np.array(values), 0.5, slack, headstart)
    upper, lower = naive_cusum(values, 0.5, slack, headstart)
    np.testing.assert_allclose(sums.upper, upper, atol=1e-12)
    np.testing.assert_allclose(sums.lower, lower, atol=1e-12)


def test_moving_average_agrees_with_montgomerys_example(montgomery):
    averages = [
        9.945, 9.7495, 9.70355, 9.8992, 10.12528, 10.13075, 9.92167, 10.07551, 9.98796, 10.02316, 9.92384, 10.07846,
        10.12161, 10.04945, 10.05251, 9.98426, 10.04783, 10.07405, 9.91864, 10.01078, 10.0997, 10.02273, 10.24946,
        10.37451, 10.39706, 10.46535, 10.45682, 10.57314, 10.64682, 10.63414,
    ]  # fmt: skip
    found = ewma(montgomery, 0.1, 10.0)
    limits = 10.0 + ewma_half_width(30, 0.1, 1.0, 2.7)
    np.testing.assert_allclose(found, averages, atol=1e-5)
    np.testing.assert_allclose(limits[[0, 1, 2, 28, 29]], [10.2700, 10.3632, 10.4240, 10.6187, 10.6189], atol=1e-4)
    assert (np.flatnonzero(found > limits) + 1).tolist() == [29, 30]


def test_moving_average_agrees_with_the_nist_handbook():
    # Section 6.3.2.4: weight 0.3, EWMA0 50, s 2.0539; steady limits 52.5884 and 47.4115, no alarm.
    values = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
        53.6, 52.1,
    ]  # fmt: skip
    expected = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
        50.73, 51.23, 51.94, 51.99,
    ]  # fmt: skip
    np.testing.assert_allclose(ewma(np.array(values), 0.3, 50.0), expected, atol=0.0051)
    assert 50.0 + ewma_half_width(200, 0.3, 2.0539, 3.0)[-1] == pytest.approx(52.5884, abs=1e-4)


def test_a_missing_value_leaves_the_average_as_it_is():
    np.testing.assert_allclose(ewma(np.array([1.0, np.nan, 1.0]), 0.5, 0.0), [0.5, 0.5, 0.75])


# --- average run lengths -----------------------------------------------------------------------------------------

SHIFTS = (0.0, 0.25, 0.50, 0.75, 1.00, 1.50, 2.00, 2.50, 3.00, 4.00, 5.00)
# Lucas and Crosier, Technometrics 24 (1982), table 1 as quoted in examples of the R package spc, k 0.5, two-sided.
LUCAS_CROSIER_H4 = (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71, 1.31)
LUCAS_CROSIER_H4_HEADSTART = (149, 62.7, 20.1, 8.97, 5.29, 2.86, 2.01, 1.59, 1.32, 1.07, 1.01)
# The same table for h 5 (465 and 10.4 seen in a public test file, the others from memory) and as computed by an
# independent solution of the integral equation with 400 nodes.
H5 = (465.444, 139.494, 37.996, 17.048, 10.376, 5.747, 4.009, 3.114, 2.573, 2.013)
H5_HEADSTART = (430.391, 121.688, 28.666, 11.236, 6.347, 3.372, 2.362, 1.856, 1.540, 1.159)


@pytest.mark.parametrize(("shift", "published"), list(zip(SHIFTS, LUCAS_CROSIER_H4, strict=True)))
def test_two_sided_run_lengths_are_those_of_lucas_and_crosier(shift, published):
    # Three digits printed.
    assert two_sided_cusum_run_length(shift, 0.5, 4.0) == pytest.approx(published, rel=3e-3)


@pytest.mark.parametrize(("shift", "published"), list(zip(SHIFTS, LUCAS_CROSIER_H4_HEADSTART, strict=True)))
def test_a_headstart_shortens_them_as_lucas_and_crosier_print(shift, published):
    assert two_sided_cusum_run_length(shift, 0.5, 4.0, 2.0) == pytest.approx(published, abs=0.006, rel=3e-3)


@pytest.mark.parametrize(("shift", "plain", "started"), list(zip(SHIFTS, H5, H5_HEADSTART, strict=False)))
def test_run_lengths_for_h_5_agree_with_an_independent_solution(shift, plain, started):
    assert two_sided_cusum_run_length(shift, 0.5, 5.0) == pytest.approx(plain, abs=6e-4)
    assert two_sided_cusum_run_length(shift, 0.5, 5.0, 2.5) == pytest.approx(started, abs=6e-4)


@pytest.mark.parametrize(
    # slack, decision, shift, one-sided length, digits printed
    ("slack", "decision", "shift", "published", "within"),
    [
        (0.5, 4.0, 0.0, 336.0, 0.7),  # NIST e-Handbook 6.3.2.3.1 (one-sided; prints 336, exact 335.37)
        (0.5, 5.0, 0.0, 930.887, 1e-3),  # integral equation; NIST prints 930
        (0.5, 3.0, 0.0, 117.59, 0.01),  # Brook and Evans, Biometrika 59 (1972)
        (0.5, 3.0, 1.5, 3.75, 0.005),
        (0.0, 10.0, -0.25, 2071.51, 0.1),  # Vance 1986
        (0.0, 10.0, 0.0, 124.66, 0.01),
        (0.0, 10.0, 0.25, 36.71, 0.01),
        (0.0, 10.0, 0.5, 20.37, 0.01),
        (0.0, 10.0, 1.0, 10.75, 0.01),
        (0.25, 8.0, 2.5, 4.1500836225, 2e-7),  # SAS/QC manual
    ],
)
def test_one_sided_run_lengths_are_the_published_ones(slack, decision, shift, published, within):
    assert cusum_run_length(shift, slack, decision) == pytest.approx(published, abs=within)


def test_a_one_sided_headstart_is_that_of_the_sas_manual():
    assert cusum_run_length(2.5, 0.25, 8.0, 0.1) == pytest.approx(4.1061588131, abs=1e-7)


@pytest.mark.parametrize(
    # Hawkins 1993, decision limits for 370.4 in control, two-sided, two digits
    ("slack", "decision"), [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99), (1.5, 1.61)],
)  # fmt: skip
def test_decision_limits_for_370_points_are_those_of_hawkins(slack, decision):
    assert decision_for(370.4, slack) == pytest.approx(decision, abs=0.006)


def test_decision_limit_undoes_the_run_length():
    assert two_sided_cusum_run_length(0.0, 0.5, decision_for(1000.0, 0.5)) == pytest.approx(1000.0, rel=1e-6)


@pytest.mark.parametrize(
    # Lucas and Saccucci, Technometrics 32 (1990), table 3 as quoted in examples of spc
    ("weight", "width", "published"),
    [
        (0.5, 3.071, (500, 255, 88.8, 35.9, 17.5, 6.53, 3.63, 2.50, 1.93, 1.34)),
        (0.03, 2.437, (500, 76.7, 29.3, 17.6, 12.6, 8.07, 5.99, 4.80, 4.03, 3.11)),
    ],
)
def test_moving_average_run_lengths_are_those_of_lucas_and_saccucci(weight, width, published):
    found = [ewma_run_length(shift, weight, width) for shift in SHIFTS[:10]]
    np.testing.assert_allclose(found, published, rtol=3e-3)


@pytest.mark.parametrize(
    # Crowder, Technometrics 29 (1987), as quoted in examples of spc, for shifts 0, 0.5, 1, 2
    ("weight", "published"),
    [(0.5, (26.45, 11.89, 4.91, 1.94)), (0.05, (127.53, 18.97, 8.38, 4.04))],
)
def test_moving_average_run_lengths_are_those_of_crowder(weight, published):
    found = [ewma_run_length(shift, weight, 2.0) for shift in (0.0, 0.5, 1.0, 2.0)]
    np.testing.assert_allclose(found, published, atol=0.0101)


def test_moving_average_run_length_is_that_of_the_sas_manual():
    assert ewma_run_length(1.0, 0.25, 3.0) == pytest.approx(11.154267016, abs=1e-8)


def test_a_moving_average_of_full_weight_is_a_shewhart_chart():
    # Normal tail: 370.398 in control, 43.895 at one sigma.
    for shift in (0.0, 1.0):
        tail = 1.0 - ndtr(3.0 - shift) + ndtr(-3.0 - shift)
        assert ewma_run_length(shift, 1.0, 3.0) == pytest.approx(1.0 / tail, rel=1e-9)


def test_run_lengths_of_simulated_sums_agree(rng):
    # Standard error of a mean of 4000 nearly exponential run lengths: 1.6 %.
    noise = rng.standard_normal((4000, 400)) + 0.5
    total = np.cumsum(noise - 0.5, axis=1)
    sums = total - np.minimum(np.minimum.accumulate(total, axis=1), 0.0)
    lengths = np.argmax(sums > 4.0, axis=1) + 1
    assert (sums > 4.0).any(axis=1).all()
    assert lengths.mean() == pytest.approx(cusum_run_length(0.5, 0.5, 4.0), rel=0.05)
