"""Intervals of time: sorted, not overlapping, as arrays of starts and ends in microseconds."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]

SECOND_US = 1_000_000

Span = tuple[Times, Times]
"""Starts and ends of sorted intervals that do not overlap. [us]"""


def known_until(start_us: Times, end_us: Times, when_us: Times) -> Times:
    """Return how much of sorted, disjoint intervals lies before each time. [us]"""
    if start_us.size == 0:
        return np.zeros(when_us.shape, dtype=np.int64)
    before = np.concatenate([[0], np.cumsum(end_us - start_us)])
    i = np.searchsorted(start_us, when_us, side="right")
    inside = np.maximum(i - 1, 0)
    overshoot = np.where(i > 0, np.maximum(end_us[inside] - when_us, 0), 0)
    return np.asarray(before[i] - overshoot, dtype=np.int64)


def bin_of_each(sorted_us: Times, edges_us: Times, side: Literal["left", "right"] = "right") -> Indices:
    """Return `np.searchsorted(edges_us, sorted_us, side) - 1`: faster, for few edges are sought among many times."""
    places = np.searchsorted(sorted_us, edges_us, side="left" if side == "right" else "right")
    return np.repeat(np.arange(-1, edges_us.size), np.diff(places, prepend=0, append=sorted_us.size))


def is_even(spacing_us: Times) -> bool:
    """Return whether there are spacings and all are the same."""
    return spacing_us.size > 0 and bool((spacing_us == spacing_us[0]).all())


def inside(when_us: Times, span: Span) -> Flags:
    """Return which times lie in sorted, disjoint intervals."""
    start, end = span
    if start.size == 0:
        return np.zeros(when_us.shape, dtype=bool)
    i = np.searchsorted(start, when_us, side="right") - 1
    return np.asarray((i >= 0) & (when_us < end[np.maximum(i, 0)]))


def overlaps(start: Times, end: Times, spans: Span) -> np.ndarray:
    """Return which stretches have any time in common with sorted, disjoint spans."""
    return np.asarray(np.searchsorted(spans[0], end, side="left") > np.searchsorted(spans[1], start, side="right"))


def gaps_longer_than(time_us: Times, longest_us: int, bounds_us: tuple[int, int]) -> Span:
    """Return start and end of the stretches within bounds without any of the times, if longer than asked."""
    padded = np.concatenate([[bounds_us[0]], time_us, [bounds_us[1]]])
    wide = np.flatnonzero(np.diff(padded) > longest_us)
    return padded[wide], padded[wide + 1]


def overlap(first: Span, second: Span) -> Span:
    """Return the intervals common to two sorted lists of disjoint intervals."""
    edges = _distinct(np.concatenate([*first, *second]))
    if edges.size < 2:
        return edges[:0], edges[:0]
    a, b = edges[:-1], edges[1:]
    common = inside(a, first) & inside(a, second)
    return joined(a[common], b[common])


def _distinct(times: Times) -> Times:
    """Return the times in order, each once; sorting is faster here than the hashing of `np.unique`."""
    ordered = np.sort(times)
    first = np.append(True, ordered[1:] != ordered[:-1])[: ordered.size]
    return np.asarray(ordered[first])


def union(first: Span, second: Span) -> Span:
    """Return the intervals that lie in either of two sorted lists of disjoint intervals."""
    edges = _distinct(np.concatenate([*first, *second]))
    if edges.size < 2:
        return edges[:0], edges[:0]
    a, b = edges[:-1], edges[1:]
    either = inside(a, first) | inside(a, second)
    return joined(a[either], b[either])


def joined(start_us: Times, end_us: Times) -> Span:
    """Return sorted intervals with those that touch put together."""
    if start_us.size == 0:
        return start_us, end_us
    apart = np.flatnonzero(start_us[1:] > end_us[:-1])
    return start_us[np.append(0, apart + 1)], end_us[np.append(apart, -1)]


def complement(spans: Span, start_us: int, end_us: int) -> Span:
    """Return the intervals between start and end that lie in no span."""
    start = np.clip(np.append(start_us, spans[1]), start_us, end_us)
    end = np.clip(np.append(spans[0], end_us), start_us, end_us)
    real = end > start
    return start[real], end[real]


@dataclass(frozen=True)
class Cut:
    """Stretches of time cut at edges, with the bin and the stretch that each piece comes from."""

    bin: Times
    source: Times
    start_us: Times
    end_us: Times

    @property
    def length_s(self) -> Floats:
        """Return the length of each piece. [s]"""
        return (self.end_us - self.start_us) / SECOND_US


def cut_at(start_us: Times, end_us: Times, edges_us: Times) -> Cut:
    """Return sorted, disjoint stretches cut at edges, without what lies outside the edges."""
    source = np.arange(start_us.size)
    start, end = np.maximum(start_us, edges_us[0]), np.minimum(end_us, edges_us[-1])
    real = end > start
    start, end, source = start[real], end[real], source[real]
    first = np.searchsorted(edges_us, start, side="right") - 1
    last = np.searchsorted(edges_us, end, side="left") - 1
    count = last - first + 1
    whole = np.repeat(np.arange(start.size), count)
    bins = first[whole] + np.arange(whole.size) - np.repeat(np.cumsum(count) - count, count)
    return Cut(
        bins, source[whole], np.maximum(start[whole], edges_us[bins]), np.minimum(end[whole], edges_us[bins + 1])
    )
