import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.detect.past import (
    NORMAL_MAD,
    blocks,
    first_weeks,
    joined_runs,
    median,
    median_and_spread,
    per_well,
    runs,
    spread,
)

FLOATS = st.lists(st.floats(-1e6, 1e6) | st.just(float("nan")), min_size=1, max_size=30)


@settings(deadline=None)  # the machine's load is no property of the code
@given(FLOATS)
def test_median_is_that_of_numpy_over_what_is_known(values):
    array = np.array(values)
    if np.isfinite(array).any():
        assert median(array) == pytest.approx(float(np.nanmedian(array)))
    else:
        assert np.isnan(median(array))


def test_spread_of_normal_noise_is_its_standard_deviation():
    assert spread(np.random.default_rng(1).normal(0.0, 2.0, 20_000)) == pytest.approx(2.0, rel=0.03)


@settings(deadline=None)  # the machine's load is no property of the code
@given(st.lists(st.booleans(), max_size=40))
def test_runs_cover_exactly_what_is_true(mask):
    array = np.array(mask, dtype=bool)
    covered = np.zeros(len(array), dtype=bool)
    for begin, end in runs(array):
        covered[begin:end] = True
    assert (covered == array).all()


def test_unknown_places_never_part_a_run():
    mask = np.array([1, 1, 0, 0, 1, 1], dtype=bool)
    unknown = np.array([0, 0, 1, 1, 0, 0], dtype=bool)
    assert joined_runs(mask, unknown, 0) == [(0, 6)]
    assert joined_runs(mask, ~mask & False, 0) == [(0, 2), (4, 6)]
    assert joined_runs(mask, ~mask & False, 2) == [(0, 6)]


def test_blocks_are_counted_back_from_the_end_and_thin_ones_are_unknown():
    seconds = np.array([10.0, 20.0, 70.0, 80.0, 90.0, 130.0, 140.0, 150.0])
    ends, values = blocks(seconds, np.arange(8.0), 180.0, 60.0)
    assert ends.tolist() == [60.0, 120.0, 180.0]
    assert values.tolist() == [0.5, 3.0, 6.0]


def test_each_well_is_compared_with_its_own_level():
    wells = np.array(["A", "B"] * 20, dtype=object)
    values = np.where(wells == "A", 10.0, 20.0)
    values[30:] += 1.0
    reference = np.arange(40) < 20
    adjusted = per_well(values, wells, reference)
    assert np.ptp(adjusted[:30]) == 0.0
    assert (adjusted[30:] - adjusted[0] == 1.0).all()


def test_a_well_without_a_past_is_not_judged():
    wells = np.array(["A", "B"] * 10 + ["C"] * 5, dtype=object)
    adjusted = per_well(np.ones(25), wells, np.arange(25) < 15)
    assert np.isnan(adjusted[20:]).all()


def test_the_reference_leaves_half_of_a_short_past_to_judge(past):
    history = past(days=4).signal("interface_level", 1.0).history()
    assert int(first_weeks(history, np.ones(96, dtype=bool)).sum()) == 48


@settings(deadline=None)  # the machine's load is no property of the code
@given(FLOATS)
def test_median_and_spread_are_those_of_the_standard_library_over_what_is_known(values):
    known = [value for value in values if np.isfinite(value)]
    middle, scatter = median_and_spread(np.array(values))
    if not known:
        assert np.isnan(middle)
        assert np.isnan(scatter)
        return
    usual = statistics.median(known)
    assert middle == pytest.approx(usual)
    assert scatter == pytest.approx(NORMAL_MAD * statistics.median(abs(value - usual) for value in known))
