import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import median_abs_deviation

from nightgauge.statistics.robust import (
    cleaned,
    difference_sigma,
    grouped_quantile,
    mad_sigma,
    median,
    running_median,
    weighted_quantile,
)

NUMBERS = st.floats(-1e6, 1e6)


def naive_quantile(values, weights, share):
    """Walk up the sorted values until the share of weight is reached."""
    pairs = sorted((v, w) for v, w in zip(values, weights, strict=True) if w > 0)
    wanted, seen = share * sum(w for _, w in pairs), 0.0
    for value, weight in pairs:
        seen += weight
        if seen >= wanted:
            return value
    return pairs[-1][0]


@given(st.lists(st.one_of(NUMBERS, st.just(float("nan"))), min_size=1).filter(lambda v: not np.isnan(v).all()))
def test_median_agrees_with_numpy(values):
    assert float(median(np.array(values))) == pytest.approx(np.nanmedian(values), rel=1e-12)


def test_median_of_nothing_is_not_known():
    assert np.isnan(median(np.array([np.nan, np.nan])))
    assert np.isnan(median(np.empty(0)))


def test_medians_of_rows_are_those_of_each_row():
    rows = np.array([[1.0, 5.0, np.nan], [np.nan, np.nan, np.nan], [2.0, 8.0, 3.0]])
    np.testing.assert_array_equal(median(rows), [3.0, np.nan, 3.0])


def test_spread_agrees_with_scipy_scaled_to_the_normal_law(rng):
    values = rng.standard_normal((3, 50))
    np.testing.assert_allclose(mad_sigma(values), median_abs_deviation(values, axis=1, scale="normal"), rtol=1e-12)


def test_difference_spread_is_that_of_the_differences_over_root_two(rng):
    values = rng.standard_normal((3, 50)).cumsum(axis=1)
    expected = median_abs_deviation(np.diff(values, axis=1), axis=1, scale="normal") / np.sqrt(2.0)
    np.testing.assert_allclose(difference_sigma(values), expected, rtol=1e-12)


def test_difference_spread_sees_the_noise_and_not_the_step_or_the_drift(rng):
    noise = 0.5 * rng.standard_normal(4000)
    moved = noise + np.where(np.arange(4000) < 1500, 0.0, 30.0) + 0.001 * np.arange(4000)
    assert float(difference_sigma(moved)) == pytest.approx(0.5, rel=0.05)
    assert float(mad_sigma(moved)) > 2.0


def test_single_wild_points_are_mended_and_a_step_is_left_alone(rng):
    series = 0.1 * rng.standard_normal(60) + np.where(np.arange(60) < 30, 0.0, 5.0)
    series[[10, 45, 59]] += [4.0, -6.0, 9.0]
    mended = cleaned(series)
    assert np.flatnonzero(mended != series).tolist() == [10, 45, 59]
    assert np.abs(mended[[10, 45, 59]] - [0.0, 5.0, 5.0]).max() < 0.3


def test_a_straight_line_and_a_kink_are_left_alone():
    days = np.arange(30.0)
    for series in (
        1000.0 + 2.0 * days,
        1000.0 - 2.0 * days,
        np.maximum(days - 12.0, 0.0),
        -np.maximum(12.0 - days, 0.0),
    ):
        np.testing.assert_array_equal(cleaned(series), series)
        np.testing.assert_array_equal(running_median(series), series)


def test_few_of_normal_points_are_taken_for_outliers(rng):
    # Two-sided tail at 4 sigma is 6e-5; the neighbours' median adds a fifth of the variance: at 3.6 sigma 3e-4.
    series = rng.standard_normal(20_000)
    assert np.mean(cleaned(series) != series) < 1e-3


def test_a_series_too_short_to_have_neighbours_is_left_alone():
    series = np.array([0.0, 0.0, 100.0, 0.0, 0.0, 0.0])
    assert cleaned(series) is series


@given(
    st.lists(st.tuples(NUMBERS, st.integers(0, 1000)), min_size=1).filter(lambda p: any(w for _, w in p)),
    st.floats(0.0, 1.0),
)
def test_a_weighted_quantile_agrees_with_walking_up_the_sorted_values(pairs, share):
    values, weights = (np.array(column, dtype=float) for column in zip(*pairs, strict=True))
    assert weighted_quantile(values, weights, share) == naive_quantile(values, weights, share)


def test_with_equal_weights_the_quantile_is_numpys_inverted_distribution(rng):
    values = rng.standard_normal(101)
    for share in (0.1, 0.5, 0.9):
        expected = np.quantile(values, share, method="inverted_cdf")
        assert weighted_quantile(values, np.ones(101), share) == expected


def test_a_quantile_of_nothing_is_not_known():
    assert np.isnan(weighted_quantile(np.array([np.nan, 2.0]), np.array([1.0, 0.0]), 0.5))


@given(st.lists(st.tuples(st.integers(0, 4), NUMBERS, st.integers(1, 10**9)), min_size=1, max_size=60))
def test_grouped_quantiles_are_those_of_each_group_alone_to_the_bit(rows):
    groups, values, weights = (np.array(column) for column in zip(*rows, strict=True))
    found, quantiles = grouped_quantile(values, groups, 0.25, weights.astype(float))
    assert found.tolist() == sorted(set(groups.tolist()))
    alone = [weighted_quantile(values[groups == g], weights[groups == g].astype(float), 0.25) for g in found]
    assert quantiles.tolist() == alone


def test_groups_without_known_values_are_left_out():
    found, quantiles = grouped_quantile(np.array([np.nan, 1.0, 3.0]), np.array([7, 9, 9]), 0.5)
    assert (found.tolist(), quantiles.tolist()) == ([9], [1.0])


@given(
    st.lists(st.tuples(st.integers(0, 5), st.integers(-3, 3)), min_size=1, max_size=40).map(sorted),
    st.sampled_from([0.0, 0.1, 0.25, 0.5, 0.9, 1.0]),
)
def test_groups_in_order_have_the_quantiles_of_groups_in_any_order(rows, share):
    groups, values = np.array([g for g, _ in rows]), np.array([v for _, v in rows], dtype=np.float64)
    found = grouped_quantile(values, groups, share)
    weighed = grouped_quantile(values, groups, share, np.ones(values.size))
    assert [part.tolist() for part in found] == [part.tolist() for part in weighed]
