"""Is a series drifting, how fast, and since when."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import ndtr, ndtri

from nightgauge.statistics.arrays import Floats, Ints, known, lies_still
from nightgauge.statistics.robust import cleaned
from nightgauge.statistics.serial import lag1_correlation, mean_inflation


@dataclass(frozen=True)
class MannKendall:
    """Outcome of the Mann-Kendall test: pairs that rise less pairs that fall."""

    score: float
    variance: float
    """Of the score without a trend, ties and (if asked for) serial correlation counted."""
    z: float
    p_value: float
    """Two-sided."""
    tau: float
    """Score over number of pairs."""
    points: int


@dataclass(frozen=True)
class Slope:
    """A straight line through the middle of the slopes between all pairs of points."""

    slope: float
    """Per unit of time."""
    lower: float
    upper: float
    """95 % interval of the slope."""
    intercept: float
    """At time 0."""


@dataclass(frozen=True)
class Ramp:
    """A series that lies still and from some time on moves at a steady rate."""

    onset: float
    onset_lower: float
    onset_upper: float
    """95 % interval of the onset, by profile likelihood."""
    level: float
    """Before the onset."""
    slope: float
    """Per unit of time, after the onset."""
    slope_standard_error: float
    """At the fitted onset."""
    rise: float
    """From the level to the end of the series."""
    sigma: float
    """Spread of the residuals."""
    correlation: float
    """Between neighbouring residuals."""
    log_likelihood_ratio: float
    """Natural logarithm, against a series that lies still; serial correlation taken off."""
    p_value: float
    """Chance that a series that lies still shows a ramp as strong from anywhere."""
    misfit: float
    """Sum of squares left over."""


@cache
def _pairs(count: int) -> tuple[Ints, Ints]:
    """Return earlier and later index of all pairs."""
    earlier, later = np.triu_indices(count, k=1)
    return earlier, later


def _tied(values: Floats) -> float:
    """Return what ties take from 18 times the variance of the score."""
    _, counts = np.unique(values, return_counts=True)
    return float(np.sum(counts * (counts - 1) * (2 * counts + 5)))


def rank_inflation(correlation: Floats, count: int) -> float:
    """Return by how much serial correlation inflates the variance of the Mann-Kendall score.

    Parameters
    ----------
    correlation : (m,) array
        Of the ranks at lags 1..m, m < count.
    count : int
        Number of points.

    Returns
    -------
    float
        1 for independent points.

    Notes
    -----
    `1 + 2 / (n (n-1) (n-2)) sum (n-k) (n-k-1) (n-k-2) r_k`.
    Source: Hamed and Rao, J. Hydrology 204 (1998) 182, eq. 17.

    """
    left = count - np.arange(1.0, np.size(correlation) + 1.0)
    weights = left * (left - 1.0) * (left - 2.0)
    return float(1.0 + 2.0 * np.sum(weights * correlation) / (count * (count - 1.0) * (count - 2.0)))


def _ar1_rank_correlations(correlation: float, count: int) -> Floats:
    """Return correlations of ranks of a first-order autoregression: Pearson's relation for normal variables."""
    return np.asarray(6.0 / np.pi * np.arcsin(0.5 * correlation ** np.arange(1.0, count)))


def mann_kendall(values: Floats, times: Floats | None = None, *, serial: bool = False) -> MannKendall:
    """Return the Mann-Kendall test for a trend that goes one way.

    Parameters
    ----------
    values : (n,) array
        In order of time; NaN are passed over.
    times : (n,) array, optional
        Ascending; needed for `serial` where there are gaps.
    serial : bool
        Whether the variance is inflated for the serial correlation that the series shows about its own trend.

    Returns
    -------
    MannKendall
        With p-value 1 below 4 points.

    Notes
    -----
    Source: Mann 1945, Kendall 1975; ties by Kendall; serial correlation by `rank_inflation` with the correlations of
    a first-order autoregression, which needs one number from the data where the full series of them needs many.

    Examples
    --------
    >>> series = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
    >>> test = mann_kendall(np.array(series))
    >>> test.score, round(test.z, 4)
    (54.0, 2.9058)

    """
    series, clock = known(values, times)
    count = series.size
    if count < 4:
        return MannKendall(0.0, 0.0, 0.0, 1.0, 0.0, count)
    earlier, later = _pairs(count)
    score = float(np.sum(np.sign(series[later] - series[earlier])))
    variance = (count * (count - 1) * (2 * count + 5) - _tied(series)) / 18.0
    if serial:
        line = theil_sen(series, clock)
        residuals = cleaned(series - line.slope * clock)
        rho = lag1_correlation(residuals - residuals.mean(), clock, parameters=2)
        variance *= rank_inflation(_ar1_rank_correlations(rho, count), count)
    z = (score - np.sign(score)) / np.sqrt(variance) if variance > 0.0 else 0.0
    return MannKendall(score, float(variance), float(z), float(2.0 * ndtr(-abs(z))), score / earlier.size, count)


def theil_sen(values: Floats, times: Floats | None = None, inflation: float = 1.0) -> Slope:
    """Return the Theil-Sen slope with its interval.

    Parameters
    ----------
    values : (n,) array
        NaN are passed over.
    times : (n,) array, optional
        Ascending; numbered from 0 if left out.
    inflation : float
        Variance of the Mann-Kendall score over that of independent points, see `rank_inflation`.

    Returns
    -------
    Slope
        All NaN below 2 points at different times.

    Notes
    -----
    Median of the slopes of all pairs; the interval's ends are the slopes whose ranks lie `1.96 sqrt(var S) / 2` from
    the middle. Source: Sen, J. Am. Stat. Assoc. 63 (1968) 1379. Breaks down at 29 % of outliers.

    Examples
    --------
    >>> line = theil_sen(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]))
    >>> line.slope, line.lower, line.upper
    (1.0, 1.0, 3.5)

    """
    series, clock = known(values, times)
    earlier, later = _pairs(series.size)
    run = clock[later] - clock[earlier]
    apart = run > 0.0
    slopes = (series[later] - series[earlier])[apart] / run[apart]
    if not slopes.size:
        return Slope(np.nan, np.nan, np.nan, np.nan)
    count = series.size
    variance = (count * (count - 1) * (2 * count + 5) - _tied(series) - _tied(clock)) / 18.0
    half = float(-ndtri(0.025)) * np.sqrt(variance * inflation)
    last = slopes.size - 1
    low = max(round((slopes.size - half) / 2.0) - 1, 0)
    high = min(round((slopes.size + half) / 2.0), last)
    ordered = np.partition(slopes, sorted({low, high, last // 2, slopes.size // 2}))
    slope = 0.5 * (ordered[last // 2] + ordered[slopes.size // 2])
    intercept = np.median(series) - slope * np.median(clock)
    return Slope(float(slope), float(ordered[low]), float(ordered[high]), float(intercept))


LEAST_RAMP_POINTS = 6
"""A ramp has three parameters and a spread: fewer points than twice the parameters say nothing. House choice."""

_PROFILE_95 = 3.841458820694124  # chi-square, 1 degree of freedom, 95 %


def broken_line(values: Floats, times: Floats | None = None) -> Ramp | None:
    """Return the best ramp: still up to an onset, then a steady rate.

    Parameters
    ----------
    values : (n,) array
        In order of time; NaN are passed over; single outliers are taken out first (`robust.cleaned`).
    times : (n,) array, optional
        Ascending; numbered from 0 if left out.

    Returns
    -------
    Ramp or None
        None below `LEAST_RAMP_POINTS` points or if nothing varies.

    Notes
    -----
    Least squares over every onset from the first point to the third last. An onset at the first point is a straight
    line: the drift may be older than the series.
    Source: Hinkley, Biometrika 56 (1969) 495 (two-phase regression).

    """
    series, clock = known(values, times)
    if series.size < LEAST_RAMP_POINTS:
        return None
    smooth = cleaned(series)
    if lies_still(smooth):
        return None
    onsets = clock[:-2]
    past = np.maximum(clock[None, :] - onsets[:, None], 0.0)
    centred = past - past.mean(axis=1, keepdims=True)
    about = smooth - smooth.mean()
    spread = np.einsum("ij,ij->i", centred, centred)
    rates = centred @ about / spread
    still = float(about @ about)
    misfits = np.maximum(still - rates**2 * spread, 0.0)
    best = int(np.argmin(misfits))
    return _ramp(
        best, onsets, misfits, still, _Line(smooth, clock, past[best], float(rates[best]), float(spread[best]))
    )


@dataclass(frozen=True)
class _Line:
    series: Floats
    clock: Floats
    past: Floats
    rate: float
    spread: float


def _ramp(best: int, onsets: Floats, misfits: Floats, still: float, line: _Line) -> Ramp:
    """Return the ramp at the best onset with the uncertainties that serial correlation leaves."""
    count = line.series.size
    level = float(line.series.mean() - line.rate * line.past.mean())
    residuals = line.series - level - line.rate * line.past
    misfit = float(misfits[best])
    sigma = np.sqrt(misfit / (count - 3.0))
    rho = lag1_correlation(residuals, line.clock, parameters=3)
    inflation = mean_inflation(rho, count)
    effective = count / inflation
    floor = misfit + count * np.finfo(float).eps * still
    inside = onsets[effective * np.log((misfits + floor - misfit) / floor) <= _PROFILE_95]
    return Ramp(
        onset=float(onsets[best]),
        onset_lower=float(inside[0]),
        onset_upper=float(inside[-1]),
        level=level,
        slope=line.rate,
        slope_standard_error=float(sigma * np.sqrt(inflation / line.spread)),
        rise=line.rate * float(line.past[-1]),
        sigma=float(sigma),
        correlation=rho,
        log_likelihood_ratio=float(0.5 * effective * np.log((still + floor - misfit) / floor)),
        p_value=_ramp_p_value((still - misfit) / floor, effective),
        misfit=misfit,
    )


def _ramp_p_value(explained: float, effective: float) -> float:
    """Return the p-value of the share of squares a ramp explains over what it leaves.

    The F law with two degrees of freedom (slope, onset) over the effective number of points less the parameters: in
    simulation the search over onsets costs just about one degree of freedom.
    """
    left = max(effective - 3.0, 1.0)
    return float((1.0 + explained) ** (-0.5 * left))
