"""Is it the valve that makes a loop swing? Told from demand and measured value alone, travel not known.

A valve that sticks stands still while the controller's integral winds the demand up, then jumps. In a process that
finds its own level (flow, pressure) the demand is a triangle and the measured value a rectangle that is late by a
quarter of a swing; in one that integrates (level) the measured value is the triangle. A controller set too sharp, or a
disturbance from outside, makes both nearly sines, and the controller alone then says how late one is to the other. So
phase does not tell sticking from the rest, the corners do, and where in the demand's swing they lie.

Hence two explanations of the same record compete. One moves the measured value by the demand: straight, or by the
demand's own swing shifted to whatever phase fits best. The other moves it by a stem with a stick band and a jump.
Sources, all from memory: the stem's two numbers are those of Choudhury, Thornhill, Shah, Control Eng. Practice 13
(2005) 641; stick band searched on a grid with a linear process behind it, Jelali, J. Process Control 18 (2008) 632;
triangle against sine, He, Wang, Pottmann, Qin, Ind. Eng. Chem. Res. 46 (2007) 4549; phase, Horch, Control Eng.
Practice 7 (1999) 1221.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from scipy.ndimage import uniform_filter1d

from nightgauge.statistics.arrays import Floats, known, lies_still

Verdict = Literal["sticks", "swings otherwise", "cannot tell"]

LEAST_RUNS = 7
"""Half swings from which a shape is told: three whole swings and the run the record began in."""
LEAST_PERIOD = 8
"""Samples to a swing: the third harmonic, which makes the corner, needs more than two samples to its own period."""
LEAST_EXPLAINED = 0.55
"""Share of the swings' variance the sticking stem must explain.

Simulated loops: half of those upset by slugs or a wandering load stay below 0.46, nine of ten of the flow loops whose
sticking valve cycles regularly reach 0.63; between 0.5 and 0.6 the choice moves one or two in a hundred of the sound.
"""
LEAST_STICK_SHARE = 0.25
"""Stick band as a share of the demand's swing.

Theory: in a limit cycle of the valve itself the demand crosses the whole band in every half swing, and goes on beyond
it only while the process answers. Simulated: 0.6 to 1.05 in flow loops, 0.3 to 0.75 in levels; loops that follow their
set point through a sound valve fit best with the smallest band tried, 0.15.
"""

MOST_STRAIGHT = 0.5
"""Where the demand swings too seldom for its shape: share of the measured value's way it may explain by itself.

Theory: through a sound valve a fast process follows its demand, so what moved the measured value moved the demand
before it, and the demand itself explains the most of it. Simulated records with few swings: sound loops that follow
their set point have 0.9 and more; where the load wanders it is less, but a stem seldom explains more (5 in 100).
"""

_SHARES = (0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1.05)  # a band wider than the median swing is still passed by the larger
_JUMPS = (0.15, 0.5, 1.0)  # jump as a share of the band: nearly pure backlash, the usual, no sliding at all
_LAGS = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, np.inf)  # [samples]; infinite: the process integrates
_DELAYS = (0, 1, 2, 3, 4, 6, 8, 11)  # [samples]
_SHAPE = 12  # parts of a swing averaged over: keeps most of the third harmonic, takes most of the noise
_OWN_SWING = (0.6, 1.5)  # the demand's swing without its corners: frequencies about its own, below the third harmonic
_BAND = 0.5  # share of its spread a signal passes on both sides to have swung, as in `oscillation`
_SLOW_PARTS = 6  # a record with few swings is looked at in pieces as fine as if it held six
_LEAST_KNOWN = 0.8  # a record with more holes has no shape


class _Fit(NamedTuple):
    """How one lag of the process explains the record."""

    lag: float
    sticking: float
    """Explained variance, by the best stem that sticks."""
    otherwise: float
    """Explained variance, without sticking."""
    straight: float
    stick_share: float
    jump_share: float


@dataclass(frozen=True)
class Sticking:
    """Verdict on one record, and the numbers that made it; NaN where it did not come to them."""

    verdict: Verdict
    runs: int
    """Stretches the demand spent on one side of its slow line."""
    period: float
    """Median full swing of the demand. [samples]"""
    explained_by_sticking: float
    """Share of the measured value's swings that a sticking stem explains."""
    explained_otherwise: float
    """The same for the best of: demand itself, demand's swing at any phase."""
    stick_share: float
    """Stick band as a share of the demand's swing, 5th to 95th percentile."""
    jump_share: float
    """Jump as a share of the stick band."""
    lag: float
    """Lag of the process behind the stem; infinite for one that integrates. [samples]"""


def sticking(demand: Floats, measured: Floats, setpoint: Floats) -> Sticking:
    """Return whether a loop swings because its valve sticks.

    Parameters
    ----------
    demand : (n,) array
        Controller output, evenly sampled; NaN are bridged by straight lines.
    measured, setpoint : (n,) array
        In one unit, whichever.

    Returns
    -------
    Sticking
        "cannot tell" where demand or measured value lie still, more than a fifth is unknown, or the demand swings
        too fast (`LEAST_PERIOD`), or too seldom (`LEAST_RUNS`) and nothing explains the measured value. "swings
        otherwise" says that sticking does not explain the swings, not what does.

    Notes
    -----
    The valve sticks if a stem that does explains at least `LEAST_EXPLAINED` of the swings, explains them better than
    everything that does not stick (no margin: each side fits a handful of numbers to hundreds of samples), and sticks
    over at least `LEAST_STICK_SHARE` of the demand's swing. Where the demand swings too seldom for shapes, the demand
    must leave most of the measured value's way unexplained instead (`MOST_STRAIGHT`).

    A process lag L is undone, not guessed: `measured + L d(measured)/dt` is what the valve let through, and only there
    a level's triangle becomes a rectangle whose corners show. Slow drift (two swings and longer) is taken out of all.

    """
    filled = [_bridged(series) for series in (demand, measured, setpoint)]
    if any(series is None for series in filled):
        return _untold(0, np.nan)
    output, value, target = (series for series in filled if series is not None)
    if lies_still(output) or lies_still(value):
        return _untold(0, np.nan)
    period, runs = _swing(output)
    sense = _sense(output, value - target)
    if runs < LEAST_RUNS:
        return _by_few_swings(_fits(output, value, sense, output.size / _SLOW_PARTS, np.inf), runs, period)
    if period < LEAST_PERIOD:
        return _untold(runs, period)
    fits = _fits(output, value, sense, period, min(2.0 * period, 0.8 * output.size))
    # The lag at which the demand explains most, whichever way.
    best = max(fits, key=lambda fit: max(fit.sticking, fit.straight))
    sticks = (
        best.sticking >= LEAST_EXPLAINED and best.sticking > best.otherwise and best.stick_share >= LEAST_STICK_SHARE
    )
    verdict: Verdict = "sticks" if sticks else "swings otherwise"
    return Sticking(verdict, runs, period, best.sticking, best.otherwise, best.stick_share, best.jump_share, best.lag)


def _by_few_swings(fits: list[_Fit], runs: int, period: float) -> Sticking:
    """Judge a record whose demand is no swing yet: the stem explains the measured value, the demand does not."""
    best = max(fits, key=lambda fit: max(fit.sticking, fit.straight))
    verdict: Verdict = "cannot tell"
    if best.straight > MOST_STRAIGHT:
        verdict = "swings otherwise"
    elif best.sticking >= LEAST_EXPLAINED and best.stick_share >= LEAST_STICK_SHARE:
        verdict = "sticks"
    return Sticking(verdict, runs, period, best.sticking, best.straight, best.stick_share, best.jump_share, best.lag)


def _untold(runs: int, period: float) -> Sticking:
    return Sticking("cannot tell", runs, period, np.nan, np.nan, np.nan, np.nan, np.nan)


def _bridged(series: Floats) -> Floats | None:
    """Return a series with straight lines over its holes, or None if it is mostly holes or shorter than its shape."""
    values, at = known(series)
    if values.size < max(_LEAST_KNOWN * len(series), LEAST_RUNS * LEAST_PERIOD / 2):
        return None
    return np.asarray(np.interp(np.arange(len(series)), at, values))


def _average(series: Floats, width: float) -> Floats:
    """Return the centred average over an odd number of samples."""
    return np.asarray(uniform_filter1d(series, int(width) | 1, mode="nearest", axis=-1))


def _about(series: Floats, width: float) -> Floats:
    """Return a series less its slow line: a triangle-weighted average over twice the width, or its mean."""
    if width == np.inf:
        return np.asarray(series - series.mean(axis=-1, keepdims=True))
    return series - _average(_average(series, width), width)


def _swing(demand: Floats) -> tuple[float, int]:
    """Return the demand's median swing [samples] and its runs, the slow line narrowed to the swing found."""
    width, period, runs = demand.size / 2, np.nan, 0
    for _ in range(8):  # settles in two or three
        about = _about(demand, width)
        band = _BAND * about.std()
        outside = np.flatnonzero(np.abs(about) > band)
        side = np.sign(about[outside])
        starts = outside[np.flatnonzero(np.r_[True, side[1:] != side[:-1]][: outside.size])]
        runs, before = starts.size, period
        if runs < LEAST_RUNS - 2:
            return np.nan, runs
        period = float(np.median(starts[2:] - starts[:-2]))
        if period == before:
            break
        width = min(2.0 * period, demand.size / 2)
    return period, runs


def _sense(demand: Floats, error: Floats) -> float:
    """Return +1 if opening the valve raises the measured value, which the controller knows: it acts against it.

    From least squares of the demand's steps on error and its steps (a controller of proportion and integral).
    """
    steps, changes, mean = np.diff(demand), np.diff(error), 0.5 * (error[1:] + error[:-1])
    (proportion, integral), *_ = np.linalg.lstsq(np.c_[changes, mean], steps, rcond=None)
    return -1.0 if proportion * changes.std() + integral * mean.std() > 0.0 else 1.0


def _stems(demand: Floats, bands: Floats, jumps: Floats) -> Floats:
    """Return the stem's way for each stick band and jump, (bands, samples).

    It stands until the demand is half of band and jump away, jumps, then follows at a distance as long as the demand
    goes on in the same direction. A band of 0 follows at once.
    """
    leaves_at, follows_at = (bands + jumps) / 2.0, (bands - jumps) / 2.0
    stems = np.empty((bands.size, demand.size))
    stem, direction = np.full(bands.size, demand[0]), np.zeros(bands.size)
    steps = np.sign(np.diff(demand, prepend=demand[0]))
    for at, (value, step) in enumerate(zip(demand, steps, strict=True)):  # each place hangs on the one before
        slides = (direction == step) & (step != 0.0)
        away = value - stem
        jumps_now = ~slides & (np.abs(away) > leaves_at)
        toward = np.where(jumps_now, np.sign(away), direction)
        stem = np.where(slides | jumps_now, value - toward * follows_at, stem)
        direction = np.where(slides | jumps_now, toward, 0.0)
        stems[:, at] = stem
    return stems


def _fits(demand: Floats, measured: Floats, sense: float, period: float, slow: float) -> list[_Fit]:
    """Return for each lag how well stems and the demand itself explain what the valve let through."""
    fine = period / _SHAPE
    swing = float(np.ptp(np.quantile(_about(demand, slow), (0.05, 0.95))))
    shares = np.r_[0.0, np.repeat(_SHARES, len(_JUMPS))]
    jumps = np.r_[0.0, np.tile(_JUMPS, len(_SHARES))]
    stems = _about(_smooth(_stems(demand, shares * swing, jumps * shares * swing), fine), slow)
    settled = int(min(period / 2.0, demand.size / 8.0))  # where the stem stood at first is not known
    own = _own_swing(stems[0], period)[settled:]
    delays = [delay for delay in _DELAYS if delay <= max(1.0, period / 5.0)]
    late = np.stack([np.c_[np.repeat(stems[:, :1], d, axis=1), stems[:, : demand.size - d]] for d in delays])
    late = late[:, :, settled:] - late[:, :, settled:].mean(axis=2, keepdims=True)
    power = np.maximum((late * late).mean(axis=2), 1e-12 * swing**2)
    rate = np.gradient(measured)
    fits = []
    for lag in _LAGS:
        if period <= lag < np.inf or lag == slow:  # drift and integral cannot be told apart without a slow line
            continue
        through = _about(_smooth(rate if lag == np.inf else measured + lag * rate, fine), slow)[settled:]
        through = through - through.mean()
        variance = max(float((through * through).mean()), np.finfo(float).tiny)
        common = late @ through / through.size
        explained = np.where(common * sense > 0.0, common**2 / power / variance, 0.0)
        best = np.unravel_index(np.argmax(explained[:, 1:]), explained[:, 1:].shape)[1] + 1
        straight = float(explained[:, 0].max())
        shifted = 1.0 - float(np.mean((through - own @ np.linalg.lstsq(own, through, rcond=None)[0]) ** 2)) / variance
        sticks = float(explained[:, 1:].max())
        fits.append(_Fit(lag, sticks, max(straight, shifted), straight, float(shares[best]), float(jumps[best])))
    return fits


def _smooth(series: Floats, width: float) -> Floats:
    return _average(_average(series, width), width) if width >= 2.0 else series


def _own_swing(demand: Floats, period: float) -> Floats:
    """Return the demand's swing without its corners, as it is and a quarter later, and a constant: (samples, 3)."""
    size = demand.size
    spectrum = np.fft.rfft(demand - demand.mean(), 2 * size)
    per_swing = np.fft.rfftfreq(2 * size) * period
    spectrum[(per_swing <= _OWN_SWING[0]) | (per_swing >= _OWN_SWING[1])] = 0.0
    return np.column_stack([np.fft.irfft(spectrum)[:size], np.fft.irfft(-1j * spectrum)[:size], np.ones(size)])
