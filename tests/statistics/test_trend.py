import numpy as np
import pymannkendall
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, f, linregress, norm, rankdata, theilslopes
from statsmodels.tsa.stattools import acf

from nightgauge.statistics.serial import lag1_correlation
from nightgauge.statistics.trend import broken_line, mann_kendall, rank_inflation, theil_sen

# College of the Holy Cross teaching note: 91 pairs, 72 up, 18 down, one tie; S 54, Var 332.6667, Z 2.9058.
HOLY_CROSS = np.array([12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7])

SHORT_SERIES = st.lists(st.integers(-20, 20).map(float), min_size=4, max_size=30)


def test_mann_kendall_agrees_with_the_example_worked_by_hand():
    test = mann_kendall(HOLY_CROSS)
    assert (test.score, test.points) == (54.0, 14)
    assert test.variance == pytest.approx(332.666667, rel=1e-8)
    assert test.z == pytest.approx(2.905837, abs=1e-6)
    assert test.p_value == pytest.approx(0.003663, abs=1e-6)
    assert test.tau == pytest.approx(0.593407, abs=1e-6)


def test_mann_kendall_agrees_with_published_series(montgomery, nist_cusum):
    # By pymannkendall.original_test.
    first, second = mann_kendall(montgomery), mann_kendall(nist_cusum)
    assert (first.score, first.variance) == (111.0, pytest.approx(3141.6667, abs=1e-4))
    assert (first.z, first.p_value) == (pytest.approx(1.962513, abs=1e-6), pytest.approx(0.049703, abs=1e-6))
    assert (second.score, second.variance) == (93.0, pytest.approx(949.0))
    assert (second.z, second.p_value) == (pytest.approx(2.986446, abs=1e-6), pytest.approx(0.002822, abs=1e-6))


def test_ten_points_without_ties_have_variance_125():
    # n (n - 1) (2n + 5) / 18
    assert mann_kendall(np.arange(10.0)).variance == pytest.approx(125.0, rel=1e-12)


@given(SHORT_SERIES)
def test_mann_kendall_agrees_with_pymannkendall(values):
    ours, theirs = mann_kendall(np.array(values)), pymannkendall.original_test(np.array(values))
    assert (ours.score, ours.variance) == (theirs.s, pytest.approx(theirs.var_s))
    assert (ours.z, ours.p_value) == (pytest.approx(theirs.z, abs=1e-12), pytest.approx(theirs.p, abs=1e-12))


def test_gaps_are_passed_over():
    gappy = np.insert(HOLY_CROSS, [3, 9], np.nan)
    assert mann_kendall(gappy) == mann_kendall(HOLY_CROSS)


@pytest.mark.parametrize("values", [[], [1.0], [1.0, 2.0, 3.0], [5.0, 5.0, 5.0, 5.0, 5.0]])
def test_too_little_or_nothing_moving_is_no_trend(values):
    assert mann_kendall(np.array(values)).p_value == 1.0


def test_rank_inflation_is_that_of_hamed_and_rao(rng):
    # pymannkendall's modified test counts correlations of the detrended ranks beyond 1.96 / sqrt(n) only.
    series = rng.standard_normal(80).cumsum()
    theirs = pymannkendall.hamed_rao_modification_test(series, lag=3)
    detrended = series - np.arange(1, 81) * theirs.slope
    ranks = acf(rankdata(detrended), nlags=3, fft=False)[1:]
    significant = np.where(np.abs(ranks) > 1.959963985 / np.sqrt(80), ranks, 0.0)
    expected = theirs.var_s / pymannkendall.original_test(series).var_s
    assert rank_inflation(significant, 80) == pytest.approx(expected, rel=1e-9)
    assert expected > 1.5


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.6])
def test_serially_correlated_noise_seldom_looks_like_a_trend(autoregressions, correlation):
    # 5 % asked; 800 series of 60 days: standard error 0.8 %. Without the correction 0.6 gives 30 %.
    rows = autoregressions(800, 60, correlation)
    alarms = np.mean([mann_kendall(row, serial=True).p_value < 0.05 for row in rows])
    assert alarms < 0.09


def test_without_the_correction_correlated_noise_looks_like_a_trend(autoregressions):
    rows = autoregressions(200, 60, 0.6)
    assert np.mean([mann_kendall(row).p_value < 0.05 for row in rows]) > 0.2


def test_a_drift_is_still_seen_through_correlated_noise(autoregressions):
    # Two noise sigmas over 60 points of correlation 0.3.
    rows = autoregressions(200, 60, 0.3) + np.linspace(0.0, 2.0, 60)
    assert np.mean([mann_kendall(row, serial=True).p_value < 0.05 for row in rows]) > 0.6


def test_theil_sen_agrees_with_the_worked_series():
    # scipy.stats.theilslopes on x = 1..14
    line = theil_sen(HOLY_CROSS, np.arange(1.0, 15.0))
    assert line.slope == pytest.approx(0.566667, abs=1e-6)
    assert (line.lower, line.upper) == (pytest.approx(0.325, abs=1e-6), pytest.approx(0.866667, abs=1e-6))
    assert line.intercept == pytest.approx(11.4, abs=1e-9)


def test_theil_sen_is_not_moved_by_an_outlier():
    # Helsel and Hirsch: slope 1, interval 1.0-3.5, where least squares gives 1.714.
    line = theil_sen(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]), np.arange(1.0, 8.0))
    assert (line.slope, line.lower, line.upper) == (1.0, 1.0, 3.5)


@given(SHORT_SERIES, st.randoms(use_true_random=False))
def test_theil_sen_agrees_with_scipy(values, random):
    times = np.cumsum([random.choice([1.0, 1.0, 2.5]) for _ in values])
    ours, theirs = theil_sen(np.array(values), times), theilslopes(values, times)
    assert ours.slope == pytest.approx(theirs.slope, abs=1e-12)
    assert ours.intercept == pytest.approx(theirs.intercept, abs=1e-9)
    assert (ours.lower, ours.upper) == (
        pytest.approx(theirs.low_slope, abs=1e-12),
        pytest.approx(theirs.high_slope, abs=1e-12),
    )


def test_serial_correlation_widens_the_slopes_interval(montgomery):
    plain, widened = theil_sen(montgomery), theil_sen(montgomery, inflation=4.0)
    assert widened.slope == plain.slope
    assert (widened.upper - widened.lower) > 1.5 * (plain.upper - plain.lower)


def test_one_point_has_no_slope():
    assert np.isnan(theil_sen(np.array([3.0])).slope)


def naive_ramp(values, times):
    """Fit a hinge at every candidate onset by numpy's least squares and keep the best."""
    best = (np.inf, None, None)
    for onset in times[:-2]:
        design = np.column_stack([np.ones_like(times), np.maximum(times - onset, 0.0)])
        solution = np.linalg.lstsq(design, values, rcond=None)[0]
        misfit = np.sum((values - design @ solution) ** 2)
        if misfit < best[0] - 1e-12:
            best = (misfit, onset, solution)
    return best


def test_a_ramp_agrees_with_fitting_a_hinge_at_every_onset(rng):
    times = np.cumsum(rng.uniform(0.5, 2.0, 50))
    values = 20.0 + 0.3 * np.maximum(times - 30.0, 0.0) + 0.2 * rng.uniform(-1.0, 1.0, 50)
    misfit, onset, (level, slope) = naive_ramp(values, times)
    ramp = broken_line(values, times)
    assert (ramp.onset, ramp.misfit) == (onset, pytest.approx(misfit, rel=1e-8))
    assert (ramp.level, ramp.slope) == (pytest.approx(level, rel=1e-9), pytest.approx(slope, rel=1e-9))
    assert ramp.rise == pytest.approx(slope * (times[-1] - onset), rel=1e-9)


def test_a_ramp_without_noise_is_found_to_the_day():
    days = np.arange(42.0)
    ramp = broken_line(310.0 + 1.5 * np.maximum(days - 20.0, 0.0), days)
    assert (ramp.onset, ramp.onset_lower, ramp.onset_upper) == (20.0, 20.0, 20.0)
    assert (ramp.level, ramp.slope) == (pytest.approx(310.0), pytest.approx(1.5))
    assert ramp.p_value < 1e-12


def test_the_onset_interval_holds_the_onset_as_often_as_it_says(rng):
    # 95 % asked; 300 series, standard error 1.3 %; onsets lie on whole days, so the interval covers a little less.
    days = np.arange(60.0)
    held = slopes = 0
    for _ in range(300):
        ramp = broken_line(0.15 * np.maximum(days - 25.0, 0.0) + rng.standard_normal(60), days)
        held += ramp.onset_lower <= 25.0 <= ramp.onset_upper
        slopes += abs(ramp.slope - 0.15) < 0.15
    assert held / 300 > 0.88
    assert slopes / 300 > 0.9


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.6])
def test_serially_correlated_noise_seldom_looks_like_a_ramp(autoregressions, correlation):
    # 5 % asked; 600 series of 42 days: standard error 0.9 %.
    rows = autoregressions(600, 42, correlation)
    assert np.mean([broken_line(row).p_value < 0.05 for row in rows]) < 0.085


def test_an_outlier_does_not_make_a_ramp(rng):
    series = 0.1 * rng.standard_normal(40)
    series[38] = 10.0
    assert broken_line(series).p_value > 0.01


@pytest.mark.parametrize("values", [[1.0, 2.0, 3.0, 4.0, 5.0], [0.1] * 20, [np.nan] * 20])
def test_too_little_or_nothing_moving_has_no_ramp(values):
    assert broken_line(np.array(values)) is None


@given(st.floats(-1e3, 1e3), st.floats(0.01, 100.0), st.floats(-1e4, 1e4))
def test_a_ramp_moves_with_its_units_and_its_clock(shift, scale, later):
    days = np.arange(30.0)
    series = np.maximum(days - 12.0, 0.0) + np.sin(37.0 * days)
    plain, moved = broken_line(series, days), broken_line(scale * series + shift, days + later)
    assert moved.onset == pytest.approx(plain.onset + later, abs=1e-6)
    assert moved.slope == pytest.approx(scale * plain.slope, rel=1e-6)
    assert moved.p_value == pytest.approx(plain.p_value, rel=1e-3, abs=1e-12)


def test_the_interval_of_a_long_series_is_that_of_scipy(rng):
    # 44,850 pairs: a limit off by 1 % is some 20 ranks off.
    values = rng.standard_normal(300)
    ours, theirs = theil_sen(values), theilslopes(values)
    assert (ours.lower, ours.upper) == (pytest.approx(theirs.low_slope), pytest.approx(theirs.high_slope))


def test_the_variance_is_inflated_by_the_rank_correlations_of_normal_neighbours(autoregressions):
    # Rank correlation of a bivariate normal pair, 12 E[Phi(X) Phi(Y)] - 3, by Gauss-Hermite quadrature.
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    weights = np.outer(weights, weights) / (2.0 * np.pi)

    def of_ranks(correlation):
        partner = correlation * nodes[:, None] + np.sqrt(1.0 - correlation**2) * nodes[None, :]
        return 12.0 * np.sum(weights * norm.cdf(nodes)[:, None] * norm.cdf(partner)) - 3.0

    series = autoregressions(1, 60, 0.6)[0]
    residuals = series - theil_sen(series).slope * np.arange(60.0)
    correlation = lag1_correlation(residuals - residuals.mean(), np.arange(60.0), parameters=2)
    expected = rank_inflation(np.array([of_ranks(correlation**lag) for lag in range(1, 60)]), 60)
    found = mann_kendall(series, serial=True).variance / mann_kendall(series).variance
    assert correlation > 0.3
    assert found == pytest.approx(expected, rel=1e-4)


@pytest.fixture
def alternating_ramp():
    """Return a ramp under noise whose neighbours differ in sign: it counts as independent."""
    noise = 0.5 * np.resize([1.0, -1.0, 0.5, -0.9, 0.7], 40)
    return 0.05 * np.maximum(np.arange(40.0) - 18.0, 0.0) + noise


def test_of_independent_noise_a_ramps_numbers_are_those_of_least_squares(alternating_ramp):
    days = np.arange(40.0)
    ramp = broken_line(alternating_ramp, days)
    fit = linregress(np.maximum(days - ramp.onset, 0.0), alternating_ramp)
    still = np.sum((alternating_ramp - alternating_ramp.mean()) ** 2)
    assert ramp.correlation == 0.0
    assert (ramp.slope, ramp.level) == (pytest.approx(fit.slope, rel=1e-9), pytest.approx(fit.intercept, rel=1e-9))
    # linregress spends two parameters, a ramp three.
    assert ramp.slope_standard_error == pytest.approx(fit.stderr * np.sqrt(38 / 37), rel=1e-9)
    assert ramp.sigma == pytest.approx(np.sqrt(ramp.misfit / 37), rel=1e-12)
    assert ramp.log_likelihood_ratio == pytest.approx(20 * np.log(still / ramp.misfit), rel=1e-9)
    assert ramp.p_value == pytest.approx(f.sf((still - ramp.misfit) / 2 / (ramp.misfit / 37), 2, 37), rel=1e-9)


def test_the_onset_interval_is_that_of_the_profile_likelihood():
    # Points close enough for a limit off by 1 % to move the ends.
    days = np.arange(0.0, 40.0, 0.04)
    series = 0.02 * np.maximum(days - 18.0, 0.0) + 0.8 * np.resize([1.0, -1.0, 0.5, -0.9, 0.7], days.size)
    ramp = broken_line(series, days)
    misfits = []
    for onset in days[:-2]:
        past = np.maximum(days - onset, 0.0)
        centred = past - past.mean()
        misfits.append(np.sum((series - series.mean()) ** 2) - (centred @ series) ** 2 / (centred @ centred))
    inside = days[:-2][days.size * np.log(np.array(misfits) / min(misfits)) <= chi2.ppf(0.95, 1)]
    assert (ramp.onset_lower, ramp.onset_upper) == (inside[0], inside[-1])
