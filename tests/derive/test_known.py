import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.derive.known import Readings, integral, per_bin, pieces, track
from nightgauge.derive.spans import SECOND_US


def readings(times_s, values, hold="line", usable=None, max_gap_s=100.0):
    times = np.array(times_s, dtype=np.int64) * SECOND_US
    value = np.array(values, dtype=np.float64)
    good = np.isfinite(value) if usable is None else np.array(usable)
    gap = np.full(times.shape, int(max_gap_s * SECOND_US), dtype=np.int64)
    return Readings("interface_level", hold, times, value, good, gap)


def spans_s(found):
    return [(int(a / SECOND_US), int(b / SECOND_US)) for a, b in zip(found.start_us, found.end_us, strict=True)]


def at(found, times_s):
    return found.at(np.array(times_s, dtype=np.int64) * SECOND_US).tolist()


def test_a_line_is_known_from_its_first_to_its_last_sample():
    found = track(readings([0, 10, 30], [1.0, 2.0, 4.0]), 60 * SECOND_US)
    assert spans_s(found) == [(0, 10), (10, 30)]
    assert at(found, [5, 10, 20, 30]) == [1.5, 2.0, 3.0, 4.0]
    assert np.isnan(at(found, [31, 59])).all()


def test_a_step_holds_its_value_up_to_now():
    found = track(readings([0, 10], [1.0, 0.0], hold="step"), 60 * SECOND_US)
    assert spans_s(found) == [(0, 10), (10, 60)]
    assert at(found, [9, 10, 59]) == [1.0, 0.0, 0.0]
    assert np.isnan(at(found, [60])).all()


@pytest.mark.parametrize("hold", ["line", "step"])
def test_a_gap_longer_than_the_longest_is_unknown_as_a_whole(hold):
    found = track(readings([0, 100, 201, 210], [1.0, 1.0, 1.0, 1.0], hold=hold), 211 * SECOND_US)
    assert (100, 201) not in spans_s(found)
    assert (0, 100) in spans_s(found)
    assert (201, 210) in spans_s(found)


@pytest.mark.parametrize("hold", ["line", "step"])
def test_a_bad_sample_makes_the_signal_unknown_until_the_next_good_one(hold):
    found = track(readings([0, 10, 20, 30, 40], [1, 1, np.nan, 1, 1], hold=hold), 40 * SECOND_US)
    known = found.known_us(np.array([0, 20]) * SECOND_US, np.array([20, 30]) * SECOND_US)
    # A line needs a good sample at its end as well; a step stands until the bad one.
    assert known.tolist() == [10 * SECOND_US if hold == "line" else 20 * SECOND_US, 0]


def test_unknown_stretches_are_cut_out_whatever_the_signal_says():
    stretch = (np.array([5, 40]) * SECOND_US, np.array([15, 70]) * SECOND_US)
    found = track(readings([0, 10, 50], [1.0, 0.0, 1.0], hold="step"), 90 * SECOND_US, stretch)
    assert spans_s(found) == [(0, 5), (15, 40), (70, 90)]
    assert at(found, [20, 80]) == [0.0, 1.0]


def test_nothing_is_known_without_samples():
    found = track(readings([], []), 60 * SECOND_US)
    assert spans_s(found) == []
    assert np.isnan(at(found, [0, 10])).all()
    assert found.known_us(np.array([0]), np.array([SECOND_US])).tolist() == [0]


def test_pieces_are_cut_at_the_edges_and_carry_the_values_there():
    found = track(readings([0, 10], [0.0, 10.0]), 20 * SECOND_US)
    cut = pieces(found, np.array([2, 5, 20]) * SECOND_US)
    assert cut.bin.tolist() == [0, 1]
    assert cut.start_value.tolist() == [2.0, 5.0]
    assert cut.end_value.tolist() == [5.0, 10.0]
    assert integral(cut, 2).tolist() == pytest.approx([3 * 3.5, 5 * 7.5])


def test_bins_without_a_value_stay_empty():
    found = per_bin(np.add, np.array([1.0, 2.0, 4.0]), np.array([1, 1, 3]), 5, np.nan)
    assert found[[1, 3]].tolist() == [3.0, 4.0]
    assert np.isnan(found[[0, 2, 4]]).all()


samples_of_a_signal = st.lists(
    st.tuples(st.integers(1, 90), st.one_of(st.none(), st.floats(-100.0, 100.0))), min_size=1, max_size=30
)


@settings(max_examples=60, deadline=None)
@given(
    steps=samples_of_a_signal,
    hold=st.sampled_from(["line", "step"]),
    window=st.tuples(st.integers(0, 900), st.integers(1, 900)),
)
def test_integrals_and_known_time_are_those_of_a_plain_walk(naive, steps, hold, window):
    times = np.cumsum([gap for gap, _ in steps]).tolist()
    values = [value for _, value in steps]
    until, max_gap = times[-1] + 40, 60
    start, end = window[0], window[0] + window[1]
    given_values = [np.nan if v is None else v for v in values]
    found = track(readings(times, given_values, hold=hold, max_gap_s=max_gap), until * SECOND_US)
    edges = np.array([start, end]) * SECOND_US
    cut = pieces(found, edges)
    area, known = naive.known_integral(list(zip(times, values, strict=True)), start, end, hold, max_gap, until)
    # Tens of terms of size 1e4 at most: their rounding stays far below 1e-6.
    assert integral(cut, 1)[0] == pytest.approx(area, abs=1e-6)
    assert cut.length_us.sum() == known * SECOND_US
    assert found.known_us(edges[:1], edges[1:])[0] == known * SECOND_US
