"""Straight lines through many short stretches of a signal at once."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.spans import SECOND_US, Floats, Indices, Times


@dataclass(frozen=True)
class Lines:
    """One line per stretch, by least squares."""

    value: Floats
    """At the time asked for; NaN without a sample."""
    slope_per_s: Floats
    """NaN with fewer than two samples."""
    samples: Indices
    """How many samples each line went through."""


def lines(time_us: Times, value: Floats, first: Indices, last: Indices, at_us: Times) -> Lines:
    """Return the least-squares line through samples first..last-1 of each stretch, and its value at a time.

    One sample gives a level line through it.
    """
    count = np.maximum(last - first, 0)
    stretch = np.repeat(np.arange(count.size), count)
    sample = first[stretch] + np.arange(stretch.size) - np.repeat(np.cumsum(count) - count, count)
    x = (time_us[sample] - at_us[stretch]) / SECOND_US
    y = value[sample]
    size = count.size

    def total(weights: Floats) -> Floats:
        return np.bincount(stretch, weights=weights, minlength=size).astype(np.float64)

    with np.errstate(invalid="ignore", divide="ignore"):
        mean_x, mean_y = total(x) / count, total(y) / count
        off_x, off_y = x - mean_x[stretch], y - mean_y[stretch]
        square = total(off_x * off_x)
        slope = np.where(square > 0.0, total(off_x * off_y) / square, np.nan)
    flat = np.where(np.isnan(slope), 0.0, slope)
    return Lines(mean_y - flat * mean_x, slope, count)
