"""Middle, spread and quantiles that a few wild values do not move. NaN counts as not there."""

import numpy as np

from nightgauge.statistics.arrays import Floats, Ints

SIGMA_PER_MAD = 1.482602218505602
"""Standard deviation of a normal law over its median absolute deviation, 1 / Phi^-1(3/4). Source: Hampel 1974."""
_WIDEST = 4
"""Times the values that groups may take up side by side. House choice: beyond it sorting them is no slower."""


def median(values: Floats) -> Floats:
    """Return the median along the last axis, NaN where nothing is known.

    Examples
    --------
    >>> float(median(np.array([3.0, np.nan, 1.0, 100.0])))
    3.0

    """
    ordered = np.sort(np.asarray(values, dtype=np.float64), axis=-1)  # NaN sorts last
    length = ordered.shape[-1]
    if length and not np.isnan(ordered[..., -1]).any():
        # Most calls are of short series that are known throughout: a tenth of the time of what follows.
        return np.asarray((ordered[..., (length - 1) // 2] + ordered[..., length // 2]) / 2.0)
    count = np.sum(~np.isnan(ordered), axis=-1, keepdims=True)
    if ordered.shape[-1] == 0:
        return np.full(ordered.shape[:-1], np.nan)
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, axis=-1)
    high = np.take_along_axis(ordered, np.minimum(count // 2, ordered.shape[-1] - 1), axis=-1)
    return np.asarray(np.mean(np.concatenate([low, high], axis=-1), axis=-1))


def mad_sigma(values: Floats) -> Floats:
    """Return the spread along the last axis, as a standard deviation, from the median absolute deviation.

    Examples
    --------
    >>> round(float(mad_sigma(np.array([1.0, 2.0, 3.0, 4.0, 1000.0]))), 4)
    1.4826

    """
    series = np.asarray(values, dtype=np.float64)
    return np.asarray(SIGMA_PER_MAD * median(np.abs(series - median(series)[..., None])))


def difference_sigma(values: Floats) -> Floats:
    """Return the noise along the last axis from successive differences, which steps and drifts hardly move.

    Notes
    -----
    Differences of independent noise have `sqrt(2)` times its spread. Points next to a NaN are left out.

    """
    return np.asarray(mad_sigma(np.diff(np.asarray(values, dtype=np.float64), axis=-1)) / np.sqrt(2.0))


def running_median(values: Floats, half_width: int = 3) -> Floats:
    """Return the median of every point's neighbourhood.

    Parameters
    ----------
    values : (n,) array
        Without NaN, at least `half_width + 3` points.
    half_width : int
        Neighbours taken on each side.

    Returns
    -------
    (n,) array
        Beyond its ends the series is continued by its own mirror image about the median of the three points there,
        so that a straight line keeps its ends and a single wild point at an end does not make them.

    """
    series = np.asarray(values, dtype=np.float64)
    mirrored = np.arange(3, 3 + half_width)
    before = 2.0 * median(series[:3]) - series[mirrored[::-1]]
    after = 2.0 * median(series[-3:]) - series[-1 - mirrored]
    continued = np.concatenate([before, series, after])
    return median(np.lib.stride_tricks.sliding_window_view(continued, 2 * half_width + 1))


def cleaned(values: Floats, half_width: int = 3, cutoff: float = 4.0) -> Floats:
    """Return a series with its outliers replaced by the median of their neighbourhood.

    Parameters
    ----------
    values : (n,) array
        Regular series without NaN. One too short to have neighbourhoods comes back unchanged.
    half_width : int
        Neighbours taken on each side. A step of more than this many points is no outlier.
    cutoff : float
        Distance from the neighbourhood's median in noise sigmas; at 4 few of 10,000 normal points are taken.

    Returns
    -------
    (n,) array
        Steps and drifts stay as they are.

    Notes
    -----
    Hampel's identifier, with one noise level for the whole series so that quiet stretches are not cut.
    Source: Hampel, J. Am. Stat. Assoc. 69 (1974) 383; as a filter: Pearson, IEEE Trans. Control Syst. 10 (2002) 55.

    """
    series = np.asarray(values, dtype=np.float64)
    if series.size < 2 * half_width + 1:
        return series
    around = running_median(series, half_width)
    away = series - around
    noise = max(float(mad_sigma(away)), float(difference_sigma(series)))
    return np.where(np.abs(away) > cutoff * noise, around, series)


def weighted_quantile(values: Floats, weights: Floats, share: float) -> float:
    """Return the smallest value below or at which a share of the weight lies.

    Parameters
    ----------
    values : (n,) array
        NaN are passed over.
    weights : (n,) array
        Not below 0: seconds that each value held, say.
    share : float
        0..1.

    Returns
    -------
    float
        One of the values; NaN if nothing has weight.

    Examples
    --------
    A pressure that held 45 for 50 min and 60 for 10 min:

    >>> weighted_quantile(np.array([60.0, 45.0]), np.array([600.0, 3000.0]), 0.5)
    45.0

    """
    everyone = np.zeros(np.size(values), dtype=np.int64)
    found = grouped_quantile(values, everyone, share, weights)
    return float(found[1][0]) if found[1].size else float("nan")


def grouped_quantile(values: Floats, groups: Ints, share: float, weights: Floats | None = None) -> tuple[Ints, Floats]:
    """Return a weighted quantile of every group at once.

    Parameters
    ----------
    values : (n,) array
        NaN are passed over.
    groups : (n,) array of int
        Group of each value, in any order.
    share : float
        0..1.
    weights : (n,) array, optional
        Not below 0; 1 each if left out. Whole numbers (microseconds, say) make the result exact: it then depends on
        the group's own values alone, to the bit.

    Returns
    -------
    (g,) array of int, (g,) array of float
        The groups that have a known value with weight, ascending, and the quantile of each: the smallest value below
        or at which that share of the group's weight lies.

    """
    series, keys = np.asarray(values, dtype=np.float64), np.asarray(groups)
    mass = np.ones(series.size) if weights is None else np.asarray(weights, dtype=np.float64)
    kept = ~np.isnan(series) & (mass > 0.0)
    series, keys, mass = series[kept], keys[kept], mass[kept]
    if not series.size:
        return np.empty(0, dtype=np.int64), np.empty(0)
    if weights is None and not np.any(keys[1:] < keys[:-1]):
        firsts = np.flatnonzero(np.r_[True, keys[1:] != keys[:-1]])
        lengths = np.diff(np.r_[firsts, series.size])
        if firsts.size * lengths.max() <= _WIDEST * series.size:
            return keys[firsts].astype(np.int64), _of_groups_in_order(series, lengths, share)
    order = np.argsort(series, kind="stable")
    order = order[np.argsort(keys[order], kind="stable")]
    series, keys, mass = series[order], keys[order], mass[order]
    firsts = np.flatnonzero(np.r_[True, keys[1:] != keys[:-1]])
    lengths = np.diff(np.r_[firsts, series.size])
    running = np.cumsum(mass)
    before = np.where(firsts > 0, running[firsts - 1], 0.0)
    totals = running[firsts + lengths - 1] - before
    reached = running - np.repeat(before, lengths) >= np.repeat(share * totals, lengths)
    reached[firsts + lengths - 1] = True  # rounding must not leave a group without its last value
    places = np.where(reached, np.arange(series.size), series.size)
    return keys[firsts].astype(np.int64), series[np.minimum.reduceat(places, firsts)]


def _of_groups_in_order(series: Floats, lengths: Ints, share: float) -> Floats:
    """Return the quantile of groups that stand one after the other: side by side they need no sorting."""
    there = np.arange(lengths.max()) < lengths[:, np.newaxis]
    padded = np.full(there.shape, np.inf)
    padded[there] = series
    ranks = np.clip(np.ceil(share * lengths).astype(np.int64) - 1, 0, lengths - 1)
    parted = np.partition(padded, np.unique(ranks), axis=1)
    return np.asarray(parted[np.arange(lengths.size), ranks])
