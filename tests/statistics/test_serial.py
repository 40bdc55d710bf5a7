import numpy as np
import pytest
from scipy.linalg import toeplitz
from statsmodels.tsa.stattools import acf

from nightgauge.statistics.serial import lag1_correlation, mean_error, mean_inflation


def test_the_raw_correlation_is_that_of_statsmodels(rng):
    errors = rng.standard_normal(60).cumsum()
    errors -= errors.mean()
    raw = acf(errors, nlags=1, fft=False)[1]
    expected = (raw + 1 / 60) / (1 - 3 / 60)
    assert lag1_correlation(errors) == pytest.approx(min(expected, 0.95), rel=1e-12)


@pytest.mark.parametrize("correlation", [0.3, 0.6])
def test_on_average_the_correlation_of_an_autoregression_comes_back(autoregressions, correlation):
    # Standard error over 400 series of 50 points: sqrt((1 - rho^2) / 50) / 20 = 0.007.
    rows = autoregressions(400, 50, correlation)
    found = np.mean([lag1_correlation(row - row.mean()) for row in rows])
    assert found == pytest.approx(correlation, abs=0.03)


def test_neighbours_across_a_gap_do_not_count():
    # Before and after the gap each point repeats the one before with the opposite sign: no positive correlation.
    errors = np.array([1.0, -1.0, 1.0, -1.0, -1.0, 1.0, -1.0, 1.0])
    times = np.array([0.0, 1.0, 2.0, 3.0, 30.0, 31.0, 32.0, 33.0])
    blocks = np.array([1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, -1.0])
    assert lag1_correlation(errors, times) == 0.0
    assert lag1_correlation(blocks, times) == 0.95


@pytest.mark.parametrize("errors", [np.zeros(20), np.array([1.0, -1.0, 1.0]), np.empty(0)])
def test_too_little_to_judge_counts_as_independent(errors):
    assert lag1_correlation(errors) == 0.0


@pytest.mark.parametrize(("correlation", "count"), [(0.0, 10), (0.3, 5), (0.6, 42), (0.9, 42), (0.95, 400)])
def test_inflation_of_a_mean_is_the_sum_of_all_covariances(correlation, count):
    covariance = toeplitz(correlation ** np.arange(count))
    assert mean_inflation(correlation, count) == pytest.approx(covariance.sum() / count, rel=1e-10)


def test_a_single_point_has_no_inflation():
    assert mean_inflation(0.9, 1) == 1.0


@pytest.mark.parametrize("correlation", [0.0, 0.6])
def test_twice_the_error_of_a_mean_holds_the_truth_nineteen_times_of_twenty(correlation: float) -> None:
    rng, hits, count = np.random.default_rng(17), 0, 400
    for _ in range(count):
        shocks = rng.normal(size=130)
        series = np.zeros(130)
        for at in range(1, 130):
            series[at] = correlation * series[at - 1] + shocks[at]
        hits += abs(series[100:].mean()) < 2.0 * mean_error(series[100:])
    # 95 % within three standard errors of 400 draws (3.3 %); the correlation of thirty values is a guess too: 3 % more
    assert hits / count > 0.95 - 0.033 - 0.03 * (correlation > 0)


@pytest.mark.parametrize("period", [3.3, 6.0, 9.0])
def test_the_mean_of_a_series_that_swings_is_no_wilder_than_a_few_times_its_scatter(period: float) -> None:
    """A well is pumped on and off, each for half a period more or less; its rate is known hour by hour for a day."""
    rng, means, errors = np.random.default_rng(5), [], []
    for _ in range(300):
        lasted = 0.5 * period * rng.uniform(0.6, 1.4, 60)
        turned = np.cumsum(lasted) - rng.uniform(period, 3 * period)
        is_on = np.searchsorted(turned, np.arange(24 * 12) / 12) % 2
        series = is_on.astype(float).reshape(24, 12).mean(axis=1)
        means.append(series.mean())
        errors.append(mean_error(series))
    assert np.mean(np.abs(np.array(means) - 0.5) < 2.0 * np.array(errors)) > 0.95 - 3.0 * (0.05 * 0.95 / 300) ** 0.5
    assert np.median(errors) < 4.0 * np.std(means)
