"""Few late values against few earlier ones: a table of Student's law, a naive twin, and what only makes less sure."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.statistics.few import normal_deviations, shift

# Upper critical values of Student's t, NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2: probability 0.975,
# for which the normal law has 1.960, and 0.999, for which it has 3.090. From memory of that table.
_NIST = [(4, 2.776, 1.960), (9, 2.262, 1.960), (30, 2.042, 1.960), (4, 7.173, 3.090), (9, 4.297, 3.090)]
VALUES = st.lists(st.floats(1.0, 2.0), min_size=3, max_size=6)


@pytest.mark.parametrize(("freedom", "t", "normal"), _NIST)
def test_a_value_of_students_law_is_worth_the_normal_one_of_the_same_chance(freedom, t, normal):
    assert normal_deviations(t, freedom) == pytest.approx(normal, abs=0.002)
    assert normal_deviations(-t, freedom) == -normal_deviations(t, freedom)


def test_what_no_number_can_hold_is_far_out_and_no_more():
    assert normal_deviations(1e300, 5.0) == 37.0
    assert normal_deviations(0.0, 5.0) == 0.0


def test_the_prediction_of_a_mean_is_that_of_the_textbook():
    before, after = np.array([10.0, 12.0, 11.0, 9.0, 13.0]), np.array([7.0, 9.0])
    found = shift(before, after, np.zeros(5), np.zeros(2), 1e-9)
    # Mean 11, s^2 = 10/4; s sqrt(1/2 + 1/5) = 1.3229; -3 of it; Student's law with 4 degrees of freedom.
    assert (found.before, found.after, found.size) == (11.0, 8.0, -3.0)
    assert found.error == pytest.approx(1.3229, abs=1e-4)
    assert found.deviations == pytest.approx(normal_deviations(-3.0 / 1.32288, 4.0), abs=1e-3)


def test_one_value_before_or_none_after_says_nothing():
    assert shift(np.array([1.0]), np.array([2.0]), np.zeros(1), np.zeros(1), 0.1) is None
    assert shift(np.array([1.0, 2.0]), np.empty(0), np.zeros(2), np.empty(0), 0.1) is None


def test_what_is_known_beforehand_needs_no_allowance_for_few():
    """Three values that happen to agree: by the floor alone, 3 in units of 0.1 sqrt(1 + 1/3)."""
    found = shift(np.array([5.0, 5.0, 5.0]), np.array([4.7]), np.zeros(3), np.zeros(1), 0.1)
    assert found.deviations == pytest.approx(-3.0 / np.sqrt(4.0 / 3.0))


@given(VALUES, VALUES, st.floats(0.01, 5.0))
def test_less_sure_values_are_never_further_out(before, after, more):
    before, after = np.array(before), np.array(after)
    sure = shift(before, after, np.zeros(before.size), np.zeros(after.size), 0.01)
    for vague in (
        shift(before, after, np.full(before.size, more), np.zeros(after.size), 0.01),
        shift(before, after, np.zeros(before.size), np.full(after.size, more), 0.01),
        shift(before, after, np.zeros(before.size), np.zeros(after.size), more),
    ):
        assert abs(vague.deviations) <= abs(sure.deviations) + 1e-9


def test_as_rare_however_few_are_known():
    """Of late values from the same law as many pass 2 deviations as of the normal law: 4.55 of 100."""
    rng = np.random.default_rng(1)
    for count in (4, 6, 12):
        out = sum(
            abs(shift(x[:count], x[count:], np.zeros(count), np.zeros(2), 1e-9).deviations) > 2.0
            for x in rng.normal(0.0, 1.0, (4000, count + 2))
        )
        # 4,000 draws of 0.0455 scatter by 13; taking outliers out of twelve makes a few more.
        assert 182 - 40 < out < 182 + 70
