"""Medians of many stretches at once against the standard library's of one after the other."""

import itertools
import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.statistics.medians import quantile, row_medians, run_medians

NUMBERS = st.floats(-1e6, 1e6)
UNKNOWN = st.just(float("nan"))


@settings(deadline=None)  # the machine's load is no property of the code
@given(st.lists(st.lists(NUMBERS | UNKNOWN, min_size=4, max_size=4), min_size=1, max_size=9))
def test_row_medians_are_those_of_what_each_row_knows(rows):
    for found, row in zip(row_medians(np.array(rows)), rows, strict=True):
        known = [value for value in row if np.isfinite(value)]
        assert found == pytest.approx(statistics.median(known)) if known else np.isnan(found)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 3), NUMBERS), max_size=40))
def test_run_medians_are_those_of_neighbours_of_one_group(pairs):
    groups, values = np.array([g for g, _ in pairs], dtype=np.int64), np.array([v for _, v in pairs])
    runs = [[value for _, value in run] for _, run in itertools.groupby(pairs, key=lambda pair: pair[0])]
    sizes, medians = run_medians(values, groups)
    assert sizes.tolist() == [len(run) for run in runs]
    assert medians.tolist() == pytest.approx([statistics.median(run) for run in runs])


@settings(deadline=None)
@given(st.lists(NUMBERS, min_size=1, max_size=40), st.floats(0.0, 1.0))
def test_a_quantile_is_numpys_to_the_last_digit(values, share):
    assert quantile(np.array(values), share) == float(np.quantile(np.array(values), share))
