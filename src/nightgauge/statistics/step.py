"""Did a series jump to another level, when, by how much; and was it a jump or a drift."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtr

from nightgauge.statistics.arrays import Floats, known, lies_still
from nightgauge.statistics.robust import cleaned
from nightgauge.statistics.serial import lag1_correlation, mean_inflation
from nightgauge.statistics.trend import broken_line

LEAST_SIDE = 3
"""Points wanted on each side of a step: with two, one wild value is half of a level. House choice."""


@dataclass(frozen=True)
class Step:
    """The best single shift of level in a series."""

    last_before: float
    first_after: float
    """Times between which the level moved."""
    index: int
    """Of the first point after, among the points that are not NaN."""
    before: float
    after: float
    size: float
    standard_error: float
    """Of the size; serial correlation counted."""
    sigma: float
    """Spread of the residuals."""
    correlation: float
    """Between neighbouring residuals."""
    log_likelihood_ratio: float
    """Natural logarithm, against no step; serial correlation taken off."""
    p_value: float
    """Chance that a series without a step shows one as strong anywhere."""
    against_ramp: float
    """Logarithm of the likelihood of a step over that of a ramp (`trend.broken_line`): above 0 a step fits better."""


def best_step(values: Floats, times: Floats | None = None, least_side: int = LEAST_SIDE) -> Step | None:
    """Return the shift of level that explains most of a series.

    Parameters
    ----------
    values : (n,) array
        In order of time; NaN are passed over; single outliers are taken out first (`robust.cleaned`).
    times : (n,) array, optional
        Ascending; numbered from 0 if left out.
    least_side : int
        Points on each side.

    Returns
    -------
    Step or None
        The best one, however weak: judge it by `p_value`. None if there are too few points or nothing varies.

    Notes
    -----
    Least squares over every split; residuals as a first-order autoregression.
    Source: Hawkins, J. Am. Stat. Assoc. 72 (1977) 180; p-value see `maximum_p_value`.

    """
    series, clock = known(values, times)
    if series.size < max(2 * least_side, 4):
        return None
    smooth = cleaned(series)
    if lies_still(smooth):
        return None
    return _described(_best_split(smooth - smooth.mean(), least_side), smooth, clock, least_side)


def _best_split(about: Floats, least_side: int) -> int:
    """Return the number of points before the split that takes most out of the sum of squares."""
    left = np.arange(1.0, about.size)
    gain = np.cumsum(about)[:-1] ** 2 * (1.0 / left + 1.0 / (about.size - left))
    return int(np.argmax(gain[least_side - 1 : about.size - least_side])) + least_side


def _described(index: int, series: Floats, clock: Floats, least_side: int) -> Step:
    count, still = series.size, float(np.sum((series - series.mean()) ** 2))
    before, after = float(series[:index].mean()), float(series[index:].mean())
    residuals = series - np.where(np.arange(count) < index, before, after)
    misfit = float(residuals @ residuals)
    sigma = np.sqrt(misfit / (count - 2.0))
    rho = lag1_correlation(residuals, clock, parameters=3)
    variance = mean_inflation(rho, index) / index + mean_inflation(rho, count - index) / (count - index)
    error = sigma * np.sqrt(variance)
    effective = count / mean_inflation(rho, count)
    floor = misfit + count * np.finfo(float).eps * still
    ramp = broken_line(series, clock)
    return Step(
        last_before=float(clock[index - 1]),
        first_after=float(clock[index]),
        index=index,
        before=before,
        after=after,
        size=after - before,
        standard_error=float(error),
        sigma=float(sigma),
        correlation=rho,
        log_likelihood_ratio=float(0.5 * effective * np.log((still + floor - misfit) / floor)),
        p_value=_p_value(abs(after - before), error, effective, least_side / count),
        against_ramp=0.0 if ramp is None else float(0.5 * effective * np.log((ramp.misfit + floor - misfit) / floor)),
    )


def _p_value(size: float, error: float, effective: float, margin: float) -> float:
    """Return the p-value of a step whose error was itself estimated from few effective points.

    Student's law with the effective number of points less the three parameters is brought to the normal law first.
    """
    if error <= 0.0:
        return 0.0
    tail = stdtr(max(effective - 3.0, 1.0), -size / error)
    return maximum_p_value(float(-ndtri(tail)), margin)


def maximum_p_value(statistic: float, margin: float) -> float:
    """Return the chance that the largest of all two-sample statistics along a series passes a value.

    Parameters
    ----------
    statistic : float
        Difference of the two means over its standard error, at the split where it is largest. [1]
    margin : float
        Share of the series kept out of the search at each end, 0..0.5. [1]

    Returns
    -------
    float
        At most 1.

    Notes
    -----
    `P = 4 phi(b) / b + phi(b) (b - 1/b) ln((1 - e)^2 / e^2)`, for a continuous search, so on the safe side for few
    points. Source: Miller and Siegmund, Biometrics 38 (1982) 1011.

    Examples
    --------
    >>> round(maximum_p_value(3.0, 0.1), 3)
    0.058

    """
    if statistic <= 1.0:
        return 1.0
    if not np.isfinite(statistic):
        return 0.0
    density = np.exp(-0.5 * statistic**2) / np.sqrt(2.0 * np.pi)
    search = 2.0 * np.log((1.0 - margin) / margin)
    return float(min(density * (4.0 / statistic + (statistic - 1.0 / statistic) * search), 1.0))


def all_steps(
    values: Floats, times: Floats | None = None, p_limit: float = 0.01, least_side: int = LEAST_SIDE
) -> tuple[Step, ...]:
    """Return every step of a series, by splitting it again and again at its best one.

    Parameters
    ----------
    values : (n,) array
        In order of time; NaN are passed over.
    times : (n,) array, optional
        Ascending; numbered from 0 if left out.
    p_limit : float
        Steps with a p-value above it are none.
    least_side : int
        Points on each side.

    Returns
    -------
    tuple of Step
        In order of time; `index` counts within the whole series, the levels are of the piece that was split.

    Notes
    -----
    Binary segmentation. Source: Scott and Knott, Biometrics 30 (1974) 507.

    """
    series, clock = known(values, times)
    found: list[tuple[int, Step]] = []
    pieces = [(0, series.size)]
    while pieces:
        start, end = pieces.pop()
        step = best_step(series[start:end], clock[start:end], least_side)
        if step is not None and step.p_value <= p_limit:
            found.append((start + step.index, step))
            pieces += [(start, start + step.index), (start + step.index, end)]
    return tuple(_moved(step, index) for index, step in sorted(found, key=lambda pair: pair[0]))


def _moved(step: Step, index: int) -> Step:
    return Step(**{**vars(step), "index": index})
