"""Field data repeat themselves: today is like yesterday. How much, and how much less such data tell."""

import numpy as np
from scipy.special import stdtrit

from nightgauge.statistics.arrays import Floats

STRONGEST = 0.95
"""Correlations are not taken to be above this: nearer to 1 a mean has no spread at all to judge by. House choice."""

_NEIGHBOUR_GAP = 1.5  # points further apart than this many usual spacings are no neighbours


def lag1_correlation(residuals: Floats, times: Floats | None = None, parameters: int = 1) -> float:
    """Return the correlation between neighbours in a series of residuals.

    Parameters
    ----------
    residuals : (n,) array
        What a fitted model leaves, without NaN.
    times : (n,) array, optional
        Ascending; neighbours across a gap are left out.
    parameters : int
        How many parameters the model spent; fitting them makes the raw correlation too small.

    Returns
    -------
    float
        0..0.95. Negative correlation counts as none, so that nothing looks surer than independent data.

    Notes
    -----
    `r = sum(e_i e_i+1) / sum(e_i^2)`, corrected to `(r + p/n) / (1 - (p+2)/n)`. With p = 1 that undoes the bias
    `-(1 + 3 rho) / n`. Source: Kendall, Biometrika 41 (1954) 403; p > 1 by the same argument (house choice).

    """
    errors = np.asarray(residuals, dtype=np.float64)
    count = errors.size
    squares = float(errors @ errors)
    if count < parameters + 4 or squares <= 0.0:
        return 0.0
    products = errors[1:] * errors[:-1]
    if times is not None:
        spacing = np.diff(times)
        products = products[spacing <= _NEIGHBOUR_GAP * np.median(spacing)]
    if not products.size:
        return 0.0
    raw = float(products.sum()) / products.size / (squares / (count - 1))
    corrected = (raw + parameters / count) / (1.0 - (parameters + 2.0) / count)
    return float(np.clip(corrected, 0.0, STRONGEST))


def mean_inflation(correlation: float, count: float) -> float:
    """Return by how much the variance of a mean exceeds that of independent data.

    Parameters
    ----------
    correlation : float
        Between neighbours, 0..1 (first-order autoregression).
    count : float
        Number of points in the mean.

    Returns
    -------
    float
        At least 1; `count` over it is the effective number of points.

    Notes
    -----
    `(1+r)/(1-r) - 2 r (1 - r^n) / (n (1-r)^2)`. Source: Box, Jenkins and Reinsel, Time Series Analysis, ch. 2;
    sum of the autocovariances.

    Examples
    --------
    >>> round(mean_inflation(0.5, 1000.0), 3)
    2.996

    """
    if count <= 1.0:
        return 1.0
    rest = 1.0 - correlation
    ends = 2.0 * correlation * (1.0 - correlation**count) / (count * rest**2)
    return float(max((1.0 + correlation) / rest - ends, 1.0))


def mean_error(values: Floats) -> float:
    """Return the standard uncertainty of the mean of a series that repeats itself.

    Parameters
    ----------
    values : (n,) array
        Evenly spaced, without NaN; two at least.

    Returns
    -------
    float
        In the values' unit. Twice it holds the mean 19 times of 20, also of few values.

    Notes
    -----
    `s / sqrt(m)` with the effective number `m = n / mean_inflation` and, as `s` of few values is itself a guess, times
    Student's t at 97.5 % for `m - 1` over that of many. Source: Box, Jenkins and Reinsel as above; ISO/IEC Guide 98-3
    (GUM), annex G, for t.

    Neighbours in a swing are alike and half-periods are not, so that a series that swings has a surer mean than its
    neighbours say: of twelve values or more it is no less sure than the means of four to eight equal parts make it,
    whichever of these divisions makes it least sure. Source: batch means, as in Law, Simulation Modeling and
    Analysis, ch. 9 (from memory); which divisions is a house choice.

    Examples
    --------
    >>> round(mean_error(np.array([1.0, 2.0, 3.0, 4.0])), 3)  # sqrt(5/3) / 2 x 3.182 / 1.960
    1.048

    """
    series = np.asarray(values, dtype=np.float64)
    correlation = lag1_correlation(series - series.mean())
    by_neighbours = _spread(series, series.size / mean_inflation(correlation, series.size))
    if series.size < _PARTED:
        return by_neighbours
    return min(by_neighbours, max(_spread(_part_means(series, count), count) for count in _DIVISIONS))


_PARTED = 12
"""Values from which parts of a series say something of their own: four parts of three. House choice."""
_DIVISIONS = (4, 5, 6, 8)
"""Into how many parts a series is cut; of one division alone a swing may fit the parts. House choice."""
_NORMAL_975 = 1.959963984540054
"""Normal quantile of 97.5 %."""


def _spread(values: Floats, independent: float) -> float:
    """Return the error of a mean by the scatter of its values, of which so many are independent."""
    allowance = float(stdtrit(max(independent - 1.0, 1.0), 0.975)) / _NORMAL_975
    return allowance * float(np.std(values, ddof=1)) / float(np.sqrt(independent))


def _part_means(series: Floats, count: int) -> Floats:
    """Return the means of equal parts, the last ones of a series that does not divide."""
    size = series.size // count
    return np.asarray(series[series.size - count * size :].reshape(count, size).mean(axis=1))
