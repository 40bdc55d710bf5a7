"""Swings of a signal about its own slow line: how high, how long, how regular. Many windows in one call."""

from dataclasses import dataclass

import numpy as np

from nightgauge.statistics.arrays import Bools, Floats, Ints
from nightgauge.statistics.robust import grouped_quantile

LEAST_CROSSINGS = 4
"""Crossings of the line from which a period is told: two whole periods and one more half to compare them with."""

_BAND_PER_SPREAD = 0.5  # the signal must pass this share of its spread on both sides: noise on the line is no swing
_ROUNDING = 1e-9  # a signal that varies by less than this share of itself lies still


@dataclass(frozen=True)
class Swings:
    """Swings per group of samples; one entry per group, ascending."""

    group: Ints
    crossings: Ints
    """How often the signal went from one side of its line to the other."""
    height: Floats
    """Median from crest to trough; NaN below 2 crossings."""
    period: Floats
    """Mean time of a full swing; NaN below `LEAST_CROSSINGS` crossings."""
    regularity: Floats
    """1 like a clock, 0 as irregular as chance: `1 - sqrt(2) s / mean` of the periods.

    Two exponential half periods in a row, which is chance, give 0.
    """


def swings(values: Floats, times: Floats, groups: Ints | None = None, least_height: float = 0.0) -> Swings:
    """Return the swings of a signal in every group (hour, say) of its samples.

    Parameters
    ----------
    values : (n,) array
        NaN are passed over.
    times : (n,) array
        Ascending. Given as absolute times, a group's result depends on its own samples alone, to the bit. [s]
    groups : (n,) array of int, optional
        Not descending; one group if left out.
    least_height : float
        Smaller swings are none: resolution or dead band of the signal, in its unit.

    Returns
    -------
    Swings
        One entry per group that has a known sample.

    Notes
    -----
    The slow line is the straight line of least squares through the group's samples. A swing is told when the signal
    passes half of its spread about that line on one side and then on the other (a Schmitt trigger); where it crosses
    is read off between those two samples. Crests and troughs cut by the group's ends are left out where others are.
    Source: house choice; hysteresis crossings as in fatigue counting (ASTM E1049, level crossing).

    Examples
    --------
    Sixty minutes of a swing of 2 from crest to trough every 600 s:

    >>> clock = np.arange(0.0, 3600.0, 10.0)
    >>> told = swings(np.cos(2 * np.pi * clock / 600.0), clock)
    >>> int(told.crossings[0]), round(float(told.height[0]), 1), round(float(told.period[0]))
    (12, 2.0, 600)

    """
    series, clock = np.asarray(values, dtype=np.float64), np.asarray(times, dtype=np.float64)
    keys = np.zeros(series.size, dtype=np.int64) if groups is None else np.asarray(groups, dtype=np.int64)
    there = ~np.isnan(series)
    series, clock, keys = series[there], clock[there], keys[there]
    if not series.size:
        return Swings(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0), np.empty(0))
    firsts = np.flatnonzero(np.r_[True, keys[1:] != keys[:-1]])
    lengths = np.diff(np.r_[firsts, series.size])
    number = np.repeat(np.arange(firsts.size), lengths)
    clock = clock - clock[firsts][number]
    about = _off_the_line(series, clock, number, lengths)
    events = _outside(about, series, number, lengths, least_height)
    turns = np.r_[True, (np.sign(about[events[1:]]) != np.sign(about[events[:-1]])) | _apart(number[events])]
    runs = np.flatnonzero(turns[: events.size])
    starts = events[runs]
    crossings = np.maximum(np.bincount(number[starts], minlength=firsts.size) - 1, 0)
    height = _heights(about, number, starts, firsts)
    period, regularity = _periods(about, clock, number, events, runs, firsts.size)
    return Swings(keys[firsts], crossings.astype(np.int64), height, period, regularity)


def _apart(groups: Ints) -> Bools:
    return np.asarray(groups[1:] != groups[:-1])


def _off_the_line(series: Floats, clock: Floats, number: Ints, lengths: Ints) -> Floats:
    """Return every sample less the straight line of least squares of its group."""
    centre = series - (np.bincount(number, series) / lengths)[number]
    since = clock - (np.bincount(number, clock) / lengths)[number]
    square = np.bincount(number, since * since)
    rate = np.bincount(number, since * centre) / np.where(square > 0.0, square, np.inf)
    return np.asarray(centre - rate[number] * since)


def _outside(about: Floats, series: Floats, number: Ints, lengths: Ints, least_height: float) -> Ints:
    """Return the samples that lie clearly on one side of the line."""
    spread = np.sqrt(np.bincount(number, about * about) / lengths)
    size = np.sqrt(np.bincount(number, series * series) / lengths)
    band = np.maximum(_BAND_PER_SPREAD * spread, 0.5 * least_height)
    band[spread <= _ROUNDING * size] = np.inf
    return np.flatnonzero(np.abs(about) > band[number])


def _heights(about: Floats, number: Ints, starts: Ints, firsts: Ints) -> Floats:
    """Return the median swing per group, from the extreme of every run on one side to that of the next."""
    heights = np.full(firsts.size, np.nan)
    if not starts.size:
        return heights
    begins = np.zeros(about.size, dtype=bool)
    begins[starts] = begins[firsts] = True
    bounds = np.flatnonzero(begins)
    at_starts = np.searchsorted(bounds, starts)
    crests, troughs = np.maximum.reduceat(about, bounds)[at_starts], np.minimum.reduceat(about, bounds)[at_starts]
    extremes = np.where(about[starts] > 0.0, crests, troughs)
    group = number[starts]
    runs = np.bincount(group, minlength=firsts.size)[group]
    order = np.arange(starts.size) - np.searchsorted(group, group)
    whole = ((order > 0) & (order < runs - 1)) | (runs < 4)
    told = ~_apart(group) & whole[1:] & whole[:-1] & (runs[1:] > 2)
    groups, medians = grouped_quantile(np.abs(np.diff(extremes))[told], group[1:][told], 0.5)
    heights[groups] = medians
    return heights


def _periods(
    about: Floats, clock: Floats, number: Ints, events: Ints, runs: Ints, groups: int
) -> tuple[Floats, Floats]:
    """Return mean period and regularity per group, from the times at which the line is crossed."""
    later = events[runs]
    earlier = events[np.maximum(runs - 1, 0)]
    share = np.abs(about[earlier]) / (np.abs(about[earlier]) + np.abs(about[later]))
    crossed = clock[earlier] + share * (clock[later] - clock[earlier])
    group = number[later]
    real = np.r_[False, group[1:] == group[:-1]][: later.size]  # a group's first run was entered from nowhere
    crossed, group = crossed[real], group[real]
    same = group[2:] == group[:-2]
    spans, of = (crossed[2:] - crossed[:-2])[same], group[2:][same]
    counts = np.bincount(of, minlength=groups)
    told = np.where(counts >= LEAST_CROSSINGS - 2, counts, np.nan)
    mean = np.bincount(of, spans, minlength=groups) / told
    variance = np.bincount(of, (spans - mean[of]) ** 2, minlength=groups) / told
    return mean, np.clip(1.0 - np.sqrt(2.0 * variance) / mean, 0.0, 1.0)
