import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.derive.spans import (
    SECOND_US,
    bin_of_each,
    complement,
    cut_at,
    gaps_longer_than,
    inside,
    joined,
    known_until,
    overlap,
    overlaps,
    union,
)

spans = st.lists(st.tuples(st.integers(0, 40), st.integers(1, 10)), max_size=6)


def laid_out(parts):
    """Disjoint intervals from gaps and lengths."""
    edges = np.cumsum([n for gap, length in parts for n in (gap + 1, length)]).astype(np.int64)
    return edges[::2], edges[1::2]


def instants(found, count=400):
    inside = np.zeros(count, dtype=bool)
    for a, b in zip(*found, strict=True):
        inside[a:b] = True
    return inside


@given(first=spans, second=spans)
def test_overlap_and_union_are_those_of_every_instant(first, second):
    a, b = laid_out(first), laid_out(second)
    assert (instants(overlap(a, b)) == (instants(a) & instants(b))).all()
    assert (instants(union(a, b)) == (instants(a) | instants(b))).all()


@given(parts=spans, when=st.integers(0, 400))
def test_known_time_before_an_instant_counts_the_instants(parts, when):
    found = laid_out(parts)
    assert known_until(*found, np.array([when]))[0] == instants(found)[:when].sum()


def test_touching_intervals_become_one():
    start, end = joined(np.array([0, 5, 9]), np.array([5, 8, 10]))
    assert (start.tolist(), end.tolist()) == ([0, 9], [8, 10])


def test_gaps_count_from_and_to_the_bounds():
    start, end = gaps_longer_than(np.array([10, 12, 30]), 8, (0, 50))
    assert list(zip(start.tolist(), end.tolist(), strict=True)) == [(0, 10), (12, 30), (30, 50)]


@given(parts=spans, start=st.integers(0, 200), length=st.integers(1, 200))
def test_the_complement_is_every_instant_in_no_span(parts, start, length):
    found = laid_out(parts)
    wanted = ~instants(found)
    wanted[:start] = False
    wanted[start + length :] = False
    assert (instants(complement(found, start, start + length)) == wanted).all()


@given(parts=spans, when=st.integers(0, 400))
def test_an_instant_is_inside_where_its_span_covers_it(parts, when):
    found = laid_out(parts)
    assert inside(np.array([when]), found)[0] == (when < 400 and instants(found)[when])


def times(*seconds):
    return np.array(seconds, dtype=np.int64) * SECOND_US


def test_stretches_are_cut_at_edges_and_dropped_outside():
    cut = cut_at(times(0, 50), times(30, 90), times(10, 20, 60))
    assert cut.bin.tolist() == [0, 1, 1]
    assert cut.source.tolist() == [0, 0, 1]
    assert (cut.length_s).tolist() == [10.0, 10.0, 10.0]


def test_only_time_in_common_counts_as_overlap():
    spans = (times(10, 40), times(20, 50))
    assert overlaps(times(0, 5, 20, 45, 60), times(10, 12, 40, 46, 70), spans).tolist() == [
        False,
        True,
        False,
        True,
        False,
    ]


@given(
    st.lists(st.integers(0, 30), max_size=40).map(sorted),
    st.lists(st.integers(0, 30), min_size=2, max_size=8).map(sorted),
    st.sampled_from(["left", "right"]),
)
def test_the_bin_of_each_of_sorted_times_is_what_a_search_among_the_edges_tells(times, edges, side):
    times, edges = np.array(times, dtype=np.int64), np.array(edges, dtype=np.int64)
    assert bin_of_each(times, edges, side).tolist() == (np.searchsorted(edges, times, side=side) - 1).tolist()
