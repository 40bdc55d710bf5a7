"""When a signal is known, and what it is then: between samples, over hours, over dumps.

A signal is kept as a `Track`: its usable samples, and the intervals of time in which it is known with
the values at both ends. Between analogue samples the value is a line, between states and totals a
step. A gap longer than `max_gap`, and the time from a bad sample to the next good one, is in no
interval. Times are whole microseconds, so that sums of durations are exact and a result never depends
on where the reading began.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from nightgauge.derive.spans import SECOND_US, Flags, Floats, Indices, Span, Times, known_until

Number = TypeVar("Number", np.int64, np.float64)


@dataclass(frozen=True)
class Readings:
    """The samples of one signal as they came: sorted by time, one per time."""

    signal: str
    hold: Literal["line", "step"]
    time_us: Times
    value: Floats
    usable: Flags
    """False for bad samples and for those without a number."""
    max_gap_us: Times
    """Longest silence after each sample over which the value is still known."""
    labels: tuple[str, ...] = ()
    """Texts of a text signal; `value` is then the position in here."""

    def between(self, start_us: int, end_us: int) -> "Readings":
        """Return the samples with start <= time < end."""
        low, high = np.searchsorted(self.time_us, [start_us, end_us])
        part = slice(int(low), int(high))
        return Readings(
            self.signal,
            self.hold,
            self.time_us[part],
            self.value[part],
            self.usable[part],
            self.max_gap_us[part],
            self.labels,
        )


@dataclass(frozen=True)
class Track:
    """One signal: its usable samples and the intervals in which it is known.

    The intervals are sorted and do not overlap; those of a line share their ends where samples follow
    one another closely enough.
    """

    signal: str
    hold: Literal["line", "step"]
    time_us: Times
    value: Floats
    start_us: Times
    end_us: Times
    start_value: Floats
    end_value: Floats
    labels: tuple[str, ...] = ()

    def at(self, when_us: Times) -> Floats:
        """Return the value at each time, NaN where it is not known."""
        if self.start_us.size == 0:
            return np.full(when_us.shape, np.nan)
        i = np.maximum(np.searchsorted(self.start_us, when_us, side="right") - 1, 0)
        length = np.maximum(self.end_us[i] - self.start_us[i], 1)
        share = (when_us - self.start_us[i]) / length
        value = self.start_value[i] + (self.end_value[i] - self.start_value[i]) * share
        # A line still holds at its last instant; a step has ended there.
        last = self.end_us[i] if self.hold == "line" else self.end_us[i] - 1
        inside = (when_us >= self.start_us[i]) & (when_us <= last)
        return np.where(inside, value, np.nan)

    def known_us(self, start_us: Times, end_us: Times) -> Times:
        """Return how much of each [start, end) is known. [us]"""
        return known_until(self.start_us, self.end_us, end_us) - known_until(self.start_us, self.end_us, start_us)


def track(readings: Readings, until_us: int, unknown: Span | None = None) -> Track:
    """Return a signal with the intervals in which it is known.

    Parameters
    ----------
    readings : Readings
        Its samples before `until_us`.
    until_us : int
        End of what may be seen. A step holds up to here, a line only to its last sample. [us]
    unknown : pair of arrays, optional
        Start and end of stretches, sorted and disjoint, in which the signal is not known whatever it says. [us]

    """
    time, value, usable = readings.time_us, readings.value, readings.usable
    if readings.hold == "line":
        ends, end_values, known = time[1:], value[1:], usable[:-1] & usable[1:]
    else:
        ends, end_values, known = np.append(time[1:], until_us), value, usable
    starts = time[: ends.size]
    lasts = ends - starts
    known = known & (lasts > 0) & (lasts <= readings.max_gap_us[: ends.size])
    parts = (_kept(starts, known), _kept(ends, known), _kept(value[: ends.size], known), _kept(end_values, known))
    if unknown is not None and unknown[0].size:
        parts = _without(parts, unknown)
    good_time, good_value = _kept(time, usable), _kept(value, usable)
    return Track(readings.signal, readings.hold, good_time, good_value, *parts, labels=readings.labels)


def _kept(values: NDArray[Number], which: Flags) -> NDArray[Number]:
    """Return some of the values; as they are where it is all of them, since that is usual and copies cost."""
    return values if np.all(which) else values[which]


def _without(parts: tuple[Times, Times, Floats, Floats], unknown: Span) -> tuple[Times, Times, Floats, Floats]:
    """Return the intervals with the unknown stretches cut out."""
    edges = np.column_stack(unknown).ravel()
    cut = _split(*parts, edges)
    # Bins between an unknown's start and its end have even numbers.
    kept = cut.part(cut.bin % 2 != 0)
    return kept.start_us, kept.end_us, kept.start_value, kept.end_value


@dataclass(frozen=True)
class Pieces:
    """Known intervals cut at edges: piece k lies in bin `bin[k]`, between edges bin and bin + 1."""

    bin: Indices
    start_us: Times
    end_us: Times
    start_value: Floats
    end_value: Floats

    @cached_property
    def length_us(self) -> Times:
        """Return the length of each piece. [us]"""
        return self.end_us - self.start_us

    @cached_property
    def length_s(self) -> Floats:
        """Return the length of each piece. [s]"""
        return self.length_us / SECOND_US

    def part(self, which: slice | Flags) -> "Pieces":
        """Return some of them."""
        return Pieces(
            self.bin[which], self.start_us[which], self.end_us[which], self.start_value[which], self.end_value[which]
        )


def pieces(track: Track, edges_us: Times) -> Pieces:
    """Return the known intervals cut at sorted edges; those before the first or after the last edge fall away."""
    low = int(np.searchsorted(track.end_us, edges_us[0], side="right"))
    high = int(np.searchsorted(track.start_us, edges_us[-1], side="left"))
    part = slice(low, high)
    cut = _split(track.start_us[part], track.end_us[part], track.start_value[part], track.end_value[part], edges_us)
    within = np.searchsorted(cut.bin, [0, edges_us.size - 1])
    return cut.part(slice(int(within[0]), int(within[1])))


def _split(start: Times, end: Times, start_value: Floats, end_value: Floats, edges: Times) -> Pieces:
    """Return sorted, disjoint intervals cut at sorted edges; what lies before the first edge has bin -1.

    Few intervals lie across an edge: only those are parted, the others stay as they are.
    """
    before = np.searchsorted(start, edges, side="left")
    across = np.flatnonzero((before > 0) & (np.append(end, 0)[before - 1] > edges)) if start.size else before[:0]
    at = before[across]
    bins = np.repeat(
        np.arange(-1, edges.size), np.diff(before + np.searchsorted(across, np.arange(edges.size)), prepend=0,
        append=start.size + across.size),
    )  # fmt: skip
    if not across.size:
        return Pieces(bins, start, end, start_value, end_value)
    edge, cut = edges[across], at - 1
    rise = end_value[cut] - start_value[cut]
    value = start_value[cut] + rise * ((edge - start[cut]) / (end[cut] - start[cut]))
    return Pieces(
        bins, np.insert(start, at, edge), np.insert(end, cut, edge), np.insert(start_value, at, value),
        np.insert(end_value, cut, value),
    )  # fmt: skip


def per_bin(operation: np.ufunc, values: Floats | Times, bins: Indices, count: int, empty: float) -> Floats:
    """Return `operation` over the values of each bin; `bins` is sorted. Each bin is summed by itself."""
    result = np.full(count, empty, dtype=np.float64)
    if bins.size:
        heads = np.searchsorted(bins, np.arange(count + 1))
        held = heads[1:] > heads[:-1]
        result[held] = operation.reduceat(values, heads[:-1][held])
    return result


def integral(cut: Pieces, count: int) -> Floats:
    """Return the integral over time of each bin, unknown parts left out. [value x s]"""
    area = 0.5 * (cut.start_value + cut.end_value) * cut.length_s
    return per_bin(np.add, area, cut.bin, count, 0.0)
