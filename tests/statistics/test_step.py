import numpy as np
import pytest
import ruptures
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, t, ttest_ind
from statsmodels.datasets import nile

from nightgauge.statistics.step import all_steps, best_step, maximum_p_value
from nightgauge.statistics.trend import broken_line


@pytest.fixture
def nile_flow():
    data = nile.load_pandas().data
    return data["volume"].to_numpy(dtype=float), data["year"].to_numpy(dtype=float)


def test_the_nile_fell_after_1898(nile_flow):
    # Cobb, Biometrika 65 (1978) 243: annual flow at Aswan, break at 1898; levels 1097.75 and 849.97 as in R's
    # strucchange example, which splits after observation 28.
    step = best_step(*nile_flow)
    assert (step.last_before, step.first_after, step.index) == (1898.0, 1899.0, 28)
    assert (step.before, step.after) == (pytest.approx(1097.75, abs=3.0), pytest.approx(849.97, abs=3.0))
    assert step.p_value < 1e-6
    assert step.against_ramp > 3.0


def test_the_nile_has_this_one_step_only(nile_flow):
    assert [step.last_before for step in all_steps(*nile_flow)] == [1898.0]


@given(st.lists(st.integers(-8, 8).map(float), min_size=8, max_size=40))
def test_the_best_split_takes_as_much_as_that_of_ruptures(values):
    series = np.array(values) + 0.01 * np.sin(np.arange(len(values)))  # no exact ties between splits
    step = best_step(series)
    outliers_were_replaced = step is None or not np.isclose(
        step.sigma**2 * (series.size - 2),
        np.sum((series[: step.index] - series[: step.index].mean()) ** 2)
        + np.sum((series[step.index :] - series[step.index :].mean()) ** 2),
    )
    if not outliers_were_replaced:
        theirs = ruptures.Dynp(model="l2", min_size=3, jump=1).fit(series).predict(n_bkps=1)
        assert step.index == theirs[0]


def test_several_steps_are_those_of_ruptures(rng):
    series = np.repeat([0.0, 3.0, 1.0, 6.0], 25) + 0.5 * rng.standard_normal(100)
    theirs = ruptures.Binseg(model="l2", min_size=3, jump=1).fit(series).predict(n_bkps=3)
    found = all_steps(series)
    assert [step.index for step in found] == theirs[:-1] == [25, 50, 75]


def test_a_step_of_known_size_is_found_with_its_uncertainty(rng):
    # At 6 sigma the split is always right; then the size is a plain difference of means: 95 % within 1.96 errors.
    within = 0
    for _ in range(300):
        series = np.where(np.arange(42) < 25, 310.0, 316.0) + rng.standard_normal(42)
        step = best_step(series)
        within += abs(step.size - 6.0) < 1.96 * step.standard_error
        assert abs(step.index - 25) <= 1
    assert within / 300 > 0.91


def test_gaps_and_outliers_do_not_hide_a_step(rng):
    days = np.arange(60.0)
    series = np.where(days < 35, 0.0, 2.0) + 0.3 * rng.standard_normal(60)
    series[[5, 20, 50]] = [25.0, -30.0, 40.0]
    series[30:34] = np.nan
    step = best_step(series, days)
    assert (step.last_before, step.first_after) == (34.0, 35.0)
    assert step.size == pytest.approx(2.0, abs=0.3)
    assert step.p_value < 1e-6


def test_a_step_behind_a_gap_lies_between_its_ends():
    days = np.arange(20.0)
    series = np.where(days < 10, 1.0, 2.0) + 0.01 * np.cos(3.0 * days)
    series[8:13] = np.nan
    step = best_step(series, days)
    assert (step.last_before, step.first_after, step.index) == (7.0, 13.0, 8)


def test_a_step_fits_a_step_and_a_ramp_fits_a_drift(rng):
    days = np.arange(42.0)
    noise = rng.standard_normal((200, 42))
    jumps = [best_step(np.where(days < 20, 0.0, 4.0) + row).against_ramp for row in noise]
    drifts = [best_step(0.2 * np.maximum(days - 15.0, 0.0) + row).against_ramp for row in noise]
    assert np.mean(np.array(jumps) > 0.0) > 0.95
    assert np.mean(np.array(drifts) < 0.0) > 0.95


@pytest.mark.parametrize("points", [42, 90])
@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.6])
def test_serially_correlated_noise_seldom_looks_like_a_step(autoregressions, points, correlation):
    # 5 % asked; 600 series: standard error 0.9 %.
    rows = autoregressions(600, points, correlation)
    assert np.mean([best_step(row).p_value < 0.05 for row in rows]) < 0.085


def test_a_step_is_still_seen_through_correlated_noise(autoregressions):
    rows = autoregressions(200, 60, 0.3) + np.where(np.arange(60) < 30, 0.0, 2.5)
    assert np.mean([best_step(row).p_value < 0.01 for row in rows]) > 0.9


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.6])
def test_a_search_for_all_steps_seldom_finds_one_in_noise(autoregressions, correlation):
    # 1 % asked over all windows together; 200 series: standard error 0.7 %.
    rows = autoregressions(200, 60, correlation)
    assert np.mean([len(all_steps(row)) > 0 for row in rows]) < 0.035


@pytest.mark.parametrize("statistic", [2.5, 3.0, 3.5])
def test_the_chance_of_a_maximum_is_that_of_simulated_bridges(rng, statistic):
    # 20,000 independent series of 400 points searched over all but 10 % at each end. The formula is for a continuous
    # search, which finds a little more than one over points does.
    paths = rng.standard_normal((20_000, 400), dtype=np.float32)
    paths -= paths.mean(axis=1, keepdims=True)
    share = np.arange(1, 400) / 400.0
    scaled = np.abs(np.cumsum(paths, axis=1)[:, :-1]) / np.sqrt(400.0 * share * (1.0 - share))
    simulated = np.mean(scaled[:, 39:360].max(axis=1) > statistic)
    assert simulated < maximum_p_value(statistic, 0.1) < 1.45 * simulated


def test_a_chance_is_at_most_one():
    assert maximum_p_value(0.5, 0.1) == 1.0
    assert maximum_p_value(1.2, 0.01) == 1.0
    assert maximum_p_value(np.inf, 0.1) == 0.0


@pytest.mark.parametrize("values", [[1.0, 5.0, 1.0], [0.1] * 20, [np.nan] * 20, []])
def test_too_little_or_nothing_moving_has_no_step(values):
    assert best_step(np.array(values)) is None
    assert all_steps(np.array(values)) == ()


def test_a_step_without_noise_is_certain():
    step = best_step(np.repeat([45.0, 50.0], 10))
    assert (step.size, step.standard_error, step.p_value) == (5.0, 0.0, 0.0)


@given(st.floats(-1e3, 1e3), st.floats(0.01, 100.0), st.floats(-1e4, 1e4))
def test_a_step_moves_with_its_units_and_its_clock(shift, scale, later):
    days = np.arange(30.0)
    series = np.where(days < 12, 0.0, 2.0) + np.sin(37.0 * days)
    plain, moved = best_step(series, days), best_step(scale * series + shift, days + later)
    assert moved.first_after == pytest.approx(plain.first_after + later, abs=1e-6)
    assert moved.size == pytest.approx(scale * plain.size, rel=1e-6)
    assert moved.p_value == pytest.approx(plain.p_value, rel=1e-3)


@pytest.fixture
def alternating_step():
    """Return a step of 1 under noise whose neighbours differ in sign: it counts as independent."""
    noise = 0.4 * np.resize([1.0, -1.0, 0.5, -0.9, 0.7], 40)
    return np.where(np.arange(40) < 18, 10.0, 11.0) + noise


def test_of_independent_noise_the_error_is_that_of_students_two_samples(alternating_step):
    step = best_step(alternating_step)
    before, after = alternating_step[: step.index], alternating_step[step.index :]
    student = ttest_ind(after, before)
    assert step.correlation == 0.0
    assert step.size / step.standard_error == pytest.approx(student.statistic, rel=1e-9)
    assert step.sigma == pytest.approx(np.sqrt((before.var() * before.size + after.var() * after.size) / 38), rel=1e-9)
    # One degree of freedom less than Student's for the place of the step, then the search over places.
    normal = norm.isf(t.sf(student.statistic, 37))
    assert step.p_value == pytest.approx(maximum_p_value(normal, 3 / 40), rel=1e-9)


def test_of_independent_noise_the_likelihoods_are_those_of_normal_residuals(alternating_step):
    def log_likelihood(fitted):
        residuals = alternating_step - fitted
        return norm.logpdf(residuals, scale=np.sqrt(np.mean(residuals**2))).sum()

    step, ramp = best_step(alternating_step), broken_line(alternating_step)
    stepped = log_likelihood(np.where(np.arange(40) < step.index, step.before, step.after))
    still = log_likelihood(alternating_step.mean())
    ramped = log_likelihood(ramp.level + ramp.slope * np.maximum(np.arange(40.0) - ramp.onset, 0.0))
    assert step.log_likelihood_ratio == pytest.approx(stepped - still, rel=1e-9)
    assert step.against_ramp == pytest.approx(stepped - ramped, rel=1e-9)


@pytest.mark.parametrize(("statistic", "margin"), [(2.5, 0.1), (3.0, 0.05), (4.0, 0.2)])
def test_the_chance_of_a_maximum_is_the_published_formula(statistic, margin):
    # Written out anew: phi(b) {4 / b + (b - 1 / b) ln [(1 - e)^2 / e^2]}.
    odds = np.log((1.0 - margin) ** 2 / margin**2)
    expected = norm.pdf(statistic) * (4 / statistic + (statistic - 1 / statistic) * odds)
    assert maximum_p_value(statistic, margin) == pytest.approx(expected, rel=1e-12)
