"""Cumulative sums and moving averages that watch a level, and how long they run before they alarm.

Values, targets and spreads are in the units of the series; average run lengths are for independent normal values
of spread 1, with shift, slack and limits in that spread.
"""

from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from nightgauge.statistics.arrays import Floats, Ints

_NODES = 64  # Gauss-Legendre nodes: run lengths then stand to 1e-8 for limits up to 10 sigma


@dataclass(frozen=True)
class Cusum:
    """Both one-sided cumulative sums of a series."""

    upper: Floats
    lower: Floats
    """How far the series has run above and below target plus or minus slack; never below 0."""
    upper_run: Ints
    lower_run: Ints
    """Points since the sum last was 0; the shift began after the point that many back."""


def tabular_cusum(values: Floats, target: float, slack: float, headstart: float = 0.0) -> Cusum:
    """Return the tabular cumulative sums of a series.

    Parameters
    ----------
    values : (n,) array
        NaN leaves the sums as they are.
    target : float
        Level that is watched.
    slack : float
        Half of the shift that matters.
    headstart : float
        Where both sums start.

    Returns
    -------
    Cusum
        Each of length n.

    Notes
    -----
    `C+ = max(0, C+ + x - target - slack)`, `C- = max(0, C- + target - x - slack)`.
    Source: Page, Biometrika 41 (1954) 100; headstart: Lucas and Crosier, Technometrics 24 (1982) 199.

    Examples
    --------
    >>> sums = tabular_cusum(np.array([9.45, 7.99, 9.29, 11.66, 12.16]), target=10.0, slack=0.5)
    >>> [round(float(c), 2) for c in sums.upper]
    [0.0, 0.0, 0.0, 1.16, 2.82]

    """
    off = np.asarray(values, dtype=np.float64) - target
    upper, upper_run = _one_sided(off - slack, headstart)
    lower, lower_run = _one_sided(-off - slack, headstart)
    return Cusum(upper, lower, upper_run, lower_run)


def _one_sided(gains: Floats, headstart: float) -> tuple[Floats, Ints]:
    """Return the sum held at or above 0, and how many points ago it was 0."""
    total = np.cumsum(np.where(np.isnan(gains), 0.0, gains))
    lowest = np.minimum(np.minimum.accumulate(total), -headstart)
    held = total - lowest
    places = np.arange(held.size)
    return held, places - np.maximum.accumulate(np.where(held > 0.0, -1, places))


def ewma(values: Floats, weight: float, start: float) -> Floats:
    """Return the exponentially weighted moving average of a series.

    Parameters
    ----------
    values : (n,) array
        NaN leaves the average as it is.
    weight : float
        Of the newest value, 0..1.
    start : float
        Average before the first value.

    Returns
    -------
    (n,) array
        `z = weight x + (1 - weight) z`. Source: Roberts, Technometrics 1 (1959) 239.

    Examples
    --------
    >>> [round(float(z), 4) for z in ewma(np.array([9.45, 7.99]), weight=0.1, start=10.0)]
    [9.945, 9.7495]

    """

    def follow(average: float, value: float) -> float:
        return average if np.isnan(value) else weight * value + (1.0 - weight) * average

    series = np.asarray(values, dtype=np.float64).tolist()
    return np.array(list(accumulate(series, follow, initial=start))[1:])


def ewma_half_width(count: int, weight: float, sigma: float, width: float) -> Floats:
    """Return how far the moving average may be off its target at each of the first points.

    Parameters
    ----------
    count : int
        Number of points.
    weight : float
        Of the newest value, 0..1.
    sigma : float
        Spread of single values.
    width : float
        In spreads of the average.

    Returns
    -------
    (count,) array
        `width sigma sqrt(w / (2 - w) (1 - (1 - w)^(2 i)))`, i = 1, 2, ...

    """
    grown = 1.0 - (1.0 - weight) ** (2.0 * np.arange(1.0, count + 1.0))
    return np.asarray(width * sigma * np.sqrt(weight / (2.0 - weight) * grown))


def _normal_density(x: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi))


def cusum_run_length(shift: float, slack: float, decision: float, headstart: float = 0.0) -> float:
    """Return the average run length of the upper sum alone.

    Parameters
    ----------
    shift : float
        Of the level, up is positive. [sigma]
    slack : float
        [sigma]
    decision : float
        The sum alarms above it. [sigma]
    headstart : float
        Where the sum starts. [sigma]

    Returns
    -------
    float
        Points until the alarm, on average.

    Notes
    -----
    Page's integral equation with the sum's atom at 0, by Gauss-Legendre nodes (Nystroem).

    Examples
    --------
    One-sided, k 0.5, h 5, in control (NIST e-Handbook 6.3.2.3.1 prints 930):

    >>> round(cusum_run_length(0.0, 0.5, 5.0), 2)
    930.89

    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    sums = np.r_[0.0, 0.5 * decision * (nodes + 1.0)]

    def onward(start: Floats) -> Floats:
        """Return the weight of each node in the run length from each start; the first column is falling to 0."""
        fall = ndtr(slack - shift - start)[:, None]
        stay = 0.5 * decision * weights * _normal_density(sums[None, 1:] + slack - shift - start[:, None])
        return np.hstack([fall, stay])

    lengths = np.linalg.solve(np.eye(sums.size) - onward(sums), np.ones(sums.size))
    return float(1.0 + (onward(np.array([headstart])) @ lengths)[0])


def two_sided_cusum_run_length(shift: float, slack: float, decision: float, headstart: float = 0.0) -> float:
    """Return the average run length of both sums together.

    Parameters
    ----------
    shift : float
        Of the level. [sigma]
    slack : float
        [sigma]
    decision : float
        Either sum alarms above it. [sigma]
    headstart : float
        Where both sums start; at most half of `decision`. [sigma]

    Returns
    -------
    float
        Points until the alarm, on average.

    Notes
    -----
    `(U_s L_0 + L_s U_0 - U_0 L_0) / (U_0 + L_0)` with U, L the one-sided lengths from the headstart s and from 0;
    valid while the sums cannot both be above 0 (2 slack above the headstart's reach).
    Source: Lucas and Crosier, Technometrics 24 (1982) 199.

    Examples
    --------
    >>> round(two_sided_cusum_run_length(1.0, 0.5, 5.0), 3)
    10.376

    """
    upper, lower = cusum_run_length(shift, slack, decision), cusum_run_length(-shift, slack, decision)
    upper_from = cusum_run_length(shift, slack, decision, headstart)
    lower_from = cusum_run_length(-shift, slack, decision, headstart)
    return (upper_from * lower + lower_from * upper - upper * lower) / (upper + lower)


def decision_for(run_length: float, slack: float) -> float:
    """Return the decision limit at which both sums together falsely alarm once in `run_length` points on average.

    Parameters
    ----------
    run_length : float
        Points between false alarms, 20 to 1e5.
    slack : float
        [sigma]

    Returns
    -------
    float
        Decision limit. [sigma]

    Examples
    --------
    >>> round(decision_for(370.4, 0.5), 2)
    4.77

    """

    def excess(decision: float) -> float:
        return float(np.log(two_sided_cusum_run_length(0.0, slack, decision) / run_length))

    high = 1.0
    while excess(high) < 0.0:
        high += 1.0
    return float(brentq(excess, high - 1.0, high, xtol=1e-9))


def ewma_run_length(shift: float, weight: float, width: float) -> float:
    """Return the average run length of a moving average between two steady limits.

    Parameters
    ----------
    shift : float
        Of the level. [sigma]
    weight : float
        Of the newest value, 0..1.
    width : float
        Of the limits, in spreads of the average.

    Returns
    -------
    float
        Points until the average first lies outside, starting from the target.

    Notes
    -----
    Source: Crowder, Technometrics 29 (1987) 401 (integral equation), by Gauss-Legendre nodes.

    Examples
    --------
    >>> round(ewma_run_length(1.0, 0.25, 3.0), 9)
    11.154267016

    """
    limit = width * np.sqrt(weight / (2.0 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    averages = limit * nodes

    def onward(start: Floats) -> Floats:
        moved = (averages[None, :] - (1.0 - weight) * start[:, None]) / weight
        return np.asarray(limit * weights / weight * _normal_density(moved - shift))

    lengths = np.linalg.solve(np.eye(_NODES) - onward(averages), np.ones(_NODES))
    return float(1.0 + (onward(np.zeros(1)) @ lengths)[0])
