"""Robust scaling, components and the line, against reference libraries, naive twins and what must not matter."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from sklearn.decomposition import PCA

from nightgauge.detect.unusual_indicators import medians
from nightgauge.detect.unusual_model import Residue, Scaling, drawn_in, from_usual, score, spreads

SOME = st.one_of(st.floats(-1e3, 1e3), st.just(float("nan")))


@pytest.fixture
def reference(rng):
    """Return 42 days of six indicators, the first three of which go together."""
    z = rng.normal(size=(42, 6))
    z[:, :3] = 0.4 * z[:, :3] + rng.normal(size=(42, 1))
    return z


@pytest.fixture
def rng():
    return np.random.default_rng(11)


@given(arrays(float, (5, 4), elements=SOME))
def test_medians_are_those_of_what_is_known(values):
    naive = [np.median(column[np.isfinite(column)]) if np.isfinite(column).any() else np.nan for column in values.T]
    np.testing.assert_allclose(medians(values, 0), naive)


@given(arrays(float, (24, 2), elements=SOME))
def test_the_usual_is_the_median_of_the_fourteen_days_before(values):
    differences, usual = from_usual(values)
    for day, column in np.ndindex(values.shape):
        before = values[max(0, day - 14) : day, column]
        before = before[np.isfinite(before)]
        naive = np.median(before) if len(before) >= 7 else np.nan
        np.testing.assert_allclose(usual[day, column], naive)
        np.testing.assert_allclose(differences[day, column], values[day, column] - naive)


def test_what_the_components_leave_is_what_the_reference_library_leaves(reference, rng):
    # Outside evidence: scikit-learn's PCA, fitted to the same drawn-in days with as many components.
    residue = Residue.learned(reference)
    library = PCA(n_components=len(residue.axes), svd_solver="full").fit(drawn_in(reference))
    days = rng.normal(size=(9, 6)) * 2.0
    left = days - library.inverse_transform(library.transform(days))
    np.testing.assert_allclose(residue(days), left, atol=1e-10)
    held = library.explained_variance_ratio_
    assert held.sum() >= 0.5 > held[:-1].sum()


def test_the_order_of_the_indicators_does_not_matter(reference, rng):
    order = rng.permutation(6)
    days = rng.normal(size=(9, 6))
    np.testing.assert_allclose(
        score(Residue.learned(reference)(days)), score(Residue.learned(reference[:, order])(days[:, order]))
    )


def test_the_units_of_an_indicator_do_not_matter(reference, rng):
    loads, factors = rng.normal(size=(42, 1)), np.array([1.0, 0.0254, 6.9, 1e3, 0.16, 2.0])
    none, days = np.full(6, 1e-9), rng.normal(size=(4, 6))
    one = Scaling.learned(reference, loads, none, 21)
    other = Scaling.learned(reference * factors, loads, none, 21)
    np.testing.assert_allclose(one(days, loads[:4]), other(days * factors, loads[:4]))


def test_the_load_s_part_is_taken_out(rng):
    loads = rng.normal(size=(42, 1))
    differences = np.column_stack((3.0 * loads[:, 0], rng.normal(size=42))) + 0.1 * rng.normal(size=(42, 2))
    scaling = Scaling.learned(differences, loads, np.full(2, 0.01), 21)
    explained, odd = scaling(np.array([[4.5, 0.0], [4.5, 0.0]]), np.array([[1.5], [0.0]]))[:, 0]
    assert abs(explained) < 3.0 < 10.0 < odd


def test_a_load_far_from_those_seen_is_judged_more_mildly(rng):
    loads = rng.normal(size=(42, 1))
    scaling = Scaling.learned(rng.normal(size=(42, 3)), loads, np.full(3, 0.01), 21)
    near, far = scaling.deviation(np.array([[0.0], [20.0]]))
    assert (far > 1.5 * near).all()


def test_an_indicator_known_too_seldom_is_left_out(reference):
    reference[5:, 4] = np.nan
    scaling = Scaling.learned(reference, np.empty((42, 0)), np.full(6, 0.1), 21)
    z = scaling(reference, np.empty((42, 0)))
    assert np.isnan(z[:, 4]).all()
    assert np.isfinite(z[:, [0, 1, 2, 3, 5]]).all()


def test_scatter_below_the_floor_is_taken_as_the_floor(rng):
    quiet = 1e-4 * rng.normal(size=(42, 3))
    scaling = Scaling.learned(quiet, np.empty((42, 0)), np.full(3, 0.5), 21)
    np.testing.assert_allclose(scaling(np.full((1, 3), 1.0), np.empty((1, 0))), 2.0)


def test_an_odd_day_among_the_reference_hardly_teaches(reference):
    spoiled = reference.copy()
    spoiled[7] = 200.0
    clean, other = Residue.learned(reference), Residue.learned(spoiled)
    day = np.array([[0.0, 0.0, 0.0, 4.0, 4.0, 4.0]])
    assert score(other(day))[0] == pytest.approx(score(clean(day))[0], rel=0.2)


def test_the_line_of_an_exponential_tail_is_its_quantile(rng):
    # The exponential forgets: beyond any point it goes on as from zero, and passes -ln(p) with chance p.
    lengths = rng.exponential(size=50_000)
    residue = Residue(np.zeros(1), np.empty((0, 1)), lengths[:, None])
    assert residue.line(np.array([True]), 0.002) == pytest.approx(-np.log(0.002), rel=0.03)


def test_few_days_raise_the_line(rng):
    lengths = rng.exponential(size=21)
    few = Residue(np.zeros(1), np.empty((0, 1)), lengths[:, None])
    many = Residue(np.zeros(1), np.empty((0, 1)), np.tile(lengths, 100)[:, None])
    assert few.line(np.array([True]), 0.002) > 1.2 * many.line(np.array([True]), 0.002)


def test_the_spread_of_normal_values_is_their_deviation(rng):
    # 1 / the normal's upper quartile = 1.4826: the median absolute value times this is the deviation.
    np.testing.assert_allclose(spreads(rng.normal(0.0, 3.0, (40_000, 2))), 3.0, rtol=0.03)
