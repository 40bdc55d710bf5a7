"""Medians of many short stretches at once, and quantiles of short ones."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def row_medians(table: Floats) -> Floats:
    """Return the median of what is known of each row, NaN where nothing is."""
    finite = np.isfinite(table)
    count = finite.sum(axis=1)
    ordered = np.sort(np.where(finite, table, np.nan), axis=1)  # NaN sorts last
    rows = np.arange(len(table))
    return np.asarray(0.5 * (ordered[rows, np.maximum(count - 1, 0) // 2] + ordered[rows, count // 2]))


def run_medians(values: Floats, groups: npt.NDArray[np.int64]) -> tuple[npt.NDArray[np.int64], Floats]:
    """Return the sizes of the runs of equal groups and the median of each; values without NaN."""
    starts = np.flatnonzero(np.diff(groups, prepend=groups[0] - 1)) if len(groups) else np.empty(0, dtype=np.int64)
    sizes = np.diff(np.append(starts, len(groups)))
    ordered = values[np.lexsort((values, np.repeat(np.arange(len(starts)), sizes)))]
    return sizes, 0.5 * (ordered[starts + (sizes - 1) // 2] + ordered[starts + sizes // 2])


def quantile(values: Floats, share: float) -> float:
    """Return a quantile of values without NaN, of which there is one at least, as NumPy's to the last digit.

    NumPy's own costs ten times as much on the short series that these are.
    """
    ordered = np.sort(values)
    place = share * (len(ordered) - 1)
    lower = int(place)
    below, above = float(ordered[lower]), float(ordered[min(lower + 1, len(ordered) - 1)])
    part = place - lower
    return above - (above - below) * (1.0 - part) if part >= 0.5 else below + (above - below) * part
