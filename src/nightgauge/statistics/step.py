"""Did a series jump to another level, when, by how much; and was it a jump or a drift."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri, stdtr

from nightgauge.statistics.arrays import Floats, known, lies_still
from nightgauge.statistics.robust import cleaned
from nightgauge.statistics.serial import lag1_correlation, mean_inflation
from nightgauge.statistics.trend import broken_line

LEAST_SIDE = 3
"""Points wanted on each side of a step: with two, one wild value is half of a level. House choice."""

_WINDOW_SIDES = 8  # no window shorter than this many least sides: fewer points do not show their serial correlation


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
    index = _best_split(smooth - smooth.mean(), least_side)
    return _described(index, smooth, clock, least_side, _noise(smooth, clock, [index]))


def _best_split(about: Floats, least_side: int) -> int:
    """Return the number of points before the split that takes most out of the sum of squares."""
    left = np.arange(1.0, about.size)
    gain = np.cumsum(about)[:-1] ** 2 * (1.0 / left + 1.0 / (about.size - left))
    return int(np.argmax(gain[least_side - 1 : about.size - least_side])) + least_side


@dataclass(frozen=True)
class _Noise:
    sigma: float
    correlation: float
    parameters: int


def _noise(series: Floats, clock: Floats, splits: Sequence[int]) -> _Noise:
    """Return what is left of a series when the level between any two splits is taken off."""
    residuals = np.concatenate([part - part.mean() for part in np.split(series, splits)])
    parameters = 2 * len(splits) + 1
    sigma = np.sqrt(residuals @ residuals / (series.size - len(splits) - 1.0))
    return _Noise(float(sigma), lag1_correlation(residuals, clock, parameters), parameters)


def _described(index: int, series: Floats, clock: Floats, least_side: int, noise: _Noise) -> Step:
    count, rho = series.size, noise.correlation
    before, after = float(series[:index].mean()), float(series[index:].mean())
    still = float(np.sum((series - series.mean()) ** 2))
    misfit = max(still - (after - before) ** 2 * index * (count - index) / count, 0.0)
    variance = mean_inflation(rho, index) / index + mean_inflation(rho, count - index) / (count - index)
    error = noise.sigma * float(np.sqrt(variance))
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
        standard_error=error,
        sigma=noise.sigma,
        correlation=rho,
        log_likelihood_ratio=float(0.5 * effective * np.log((still + floor - misfit) / floor)),
        p_value=_p_value(abs(after - before), error, effective - noise.parameters, least_side / count),
        against_ramp=0.0 if ramp is None else float(0.5 * effective * np.log((ramp.misfit + floor - misfit) / floor)),
    )


def _p_value(size: float, error: float, left: float, margin: float) -> float:
    """Return the p-value of a step whose error was itself estimated from few effective points.

    Student's law with the degrees of freedom left is brought to the normal law first.
    """
    if error <= 0.0:
        return 0.0
    return maximum_p_value(float(-ndtri(stdtr(max(left, 1.0), -size / error))), margin)


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
    """Return every step of a series.

    Parameters
    ----------
    values : (n,) array
        In order of time; NaN are passed over.
    times : (n,) array, optional
        Ascending; numbered from 0 if left out.
    p_limit : float
        Chance that a series without a step shows one; shared among the windows that are searched.
    least_side : int
        Points on each side.

    Returns
    -------
    tuple of Step
        In order of time; `index` counts within the whole series, the rest is told of the stretch from the step before
        to the step after.

    Notes
    -----
    A window with two steps in it hides both, so windows of halved lengths are searched too; the surest step
    is taken, then both sides of it are searched again. In the end steps that the noise left by all together does not
    bear out are dropped, the weakest first.
    Source: Kovacs, Buehlmann, Li and Munk, Biometrika 110 (2023) 249 (seeded binary segmentation).

    """
    series, clock = known(values, times)
    if series.size < max(2 * least_side, 4):
        return ()
    splits: list[int] = []
    pieces = [(0, series.size)]
    while pieces:
        start, end = pieces.pop()
        index = _surest(series[start:end], clock[start:end], p_limit, least_side)
        if index is not None:
            splits.append(start + index)
            pieces += [(start, start + index), (start + index, end)]
    limit = p_limit / len(_windows(series.size, _WINDOW_SIDES * least_side))
    steps = _told_together(sorted(splits), cleaned(series), clock, least_side)
    while steps and max(step.p_value for step in steps) > limit:
        weakest = max(steps, key=lambda step: step.p_value)
        splits.remove(weakest.index)
        steps = _told_together(sorted(splits), cleaned(series), clock, least_side)
    return steps


def _told_together(splits: list[int], series: Floats, clock: Floats, least_side: int) -> tuple[Step, ...]:
    """Return every step from its neighbour before to its neighbour after, with the noise that all of them leave."""
    noise = _noise(series, clock, splits)
    bounds = [0, *splits, series.size]
    stretches = zip(bounds, bounds[1:], bounds[2:], strict=False)
    return tuple(
        replace(_described(at - start, series[start:end], clock[start:end], least_side, noise), index=at)
        for start, at, end in stretches
    )


def _surest(series: Floats, clock: Floats, p_limit: float, least_side: int) -> int | None:
    """Return where the window that shows a step most surely has it."""
    windows = _windows(series.size, _WINDOW_SIDES * least_side)
    steps = [(start, best_step(series[start:end], clock[start:end], least_side)) for start, end in windows]
    told = [(step.p_value, start + step.index) for start, step in steps if step is not None]
    chance, index = min(told, default=(1.0, 0))
    return index if chance <= p_limit / len(windows) else None


def _windows(count: int, least: int) -> list[tuple[int, int]]:
    """Return the whole stretch, then windows of a half, a quarter ... of it, each overlapping the next by half."""
    windows, width = [(0, count)], count // 2
    while width >= least:
        starts = np.unique(np.linspace(0, count - width, 2 * round(count / width) - 1).astype(int))
        windows += [(int(start), int(start) + width) for start in starts]
        width //= 2
    return windows
