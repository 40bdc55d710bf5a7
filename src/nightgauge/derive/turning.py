"""Turning points of a level that saws: slow rise, fast fall, noise and waves upon it."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.signal import find_peaks

from nightgauge.derive.lines import Lines, lines
from nightgauge.derive.spans import SECOND_US, Flags, Floats, Indices, Times
from nightgauge.derive.totals import DAY_S

_SWINGS = 5.5
"""Noise alone practically never falls so many of its median swings: nine standard deviations, the range of a hundred
thousand samples."""
_LEAST_FALL = 0.3
"""Share of the falls around it that a fall must have. House choice: waves of slugs are smaller, hand dumps larger."""
_LEAST_RISE = 0.5
"""Share of the falls around it that a rise must have to be a fill. House choice: a float trips open again at its
opening level, so less than half a gap is inflow that outruns an open valve for a while."""
_AROUND = (15, 7)
"""Falls before and after that make the usual one, first with the waves still among them, then without: enough to hold
a dump among waves, few enough to follow a gap that collapses."""
_RANDOM = 0.55
"""Share of samples that are turning points above which these are noise's: noise has 2/3 of them (the turning point test
of Kendall and Stuart), more where a dead band stores only its larger moves; a sawtooth of four samples has half."""
_TURNS_ALONE = 0.95
"""Share of samples that are turning points above which next to nothing else is stored."""
_ENOUGH_SWINGS = 8
"""Swings that tell noise."""
_EDGE, _WIDEST_EDGE = 0.1, 0.3
"""Share of a fall left out at both ends where its straight part is taken: the corners are rounded by scan, lag and, up
to the wider share, noise."""
_NOISE_AT_TOP = 5.5
"""Standard deviations of noise below the highest of many noisy samples at which the level has clearly begun to fall:
the highest stands some 2.5 above the level, and 3 below it are noise too."""
_SHORTEST_FIT, _LONGEST_FIT = 8, 30
"""Samples before a fall that its rise is taken from, at most half of it if it has enough: so many take out the noise,
so few are straight."""


@dataclass(frozen=True)
class Turns:
    """Peaks and the trough after each, as positions of samples; the last trough may be missing (-1)."""

    peak: Indices
    trough: Indices


_NO_INDICES = np.zeros(0, dtype=np.intp)
NO_TURNS = Turns(_NO_INDICES, _NO_INDICES)


def noise(level: Floats, height_m: float) -> float:
    """Return the height of the swings that noise makes between neighbouring turning points, 0 if they are not noise's.

    The median of all swings, where more samples are turning points than a sawtooth of `height_m` has. White noise of
    standard deviation s swings by 1.6 s in the median. Where next to nothing but turning points is stored, swings of
    half the sawtooth are the sawtooth itself.
    """
    turning = _turning(level)
    share = turning.size / max(level.size, 1)
    if turning.size < _ENOUGH_SWINGS or share < _RANDOM:
        return 0.0
    swing = float(np.median(np.abs(np.diff(level[turning]))))
    return 0.0 if share > _TURNS_ALONE and swing > 0.5 * height_m else swing


def _turning(level: Floats) -> Indices:
    """Return the samples at which the level turns, each flat top or bottom once."""
    changed = np.flatnonzero(np.append(True, level[1:] != level[:-1])) if level.size else _NO_INDICES
    step = np.diff(level[changed])
    return np.asarray(changed[1:-1][step[1:] * step[:-1] < 0.0])


def turns(level: Floats, least: float, gap_m: float = np.inf) -> Turns:
    """Return the dumps of a level as the peak and the trough of each.

    Parameters
    ----------
    level : array
        Samples in order of time. [m]
    least : float
        Fall that is looked at at all; above what noise makes. [m]
    gap_m : float
        Gap of the float as set, if it is. [m]

    Returns
    -------
    Turns
        Falls that are not small beside those around them. A trough counts once the level has risen from it by
        `least`; the last fall has none yet if it has not.

    """
    found = _zigzag(level, least)
    if found.peak.size == 0:
        return found
    for reach in _AROUND:
        found = _merged(level, found, _usual_fall(level, found, reach, gap_m))
    return found


def _zigzag(level: Floats, prominence: float) -> Turns:
    if level.size < 3:
        return NO_TURNS
    peaks = prominent_peaks(level, prominence)
    # The padding makes a peak of a level that only rises at the end: a peak needs the fall after it to be seen.
    if peaks.size and level[peaks[-1]] - np.min(level[peaks[-1] :]) < prominence:
        peaks = peaks[:-1]
    if peaks.size == 0:
        return NO_TURNS
    edges = [*peaks.tolist(), level.size]
    troughs = np.array([a + int(np.argmin(level[a:b])) for a, b in pairwise(edges)], dtype=np.intp)
    if np.max(level[troughs[-1] :]) - level[troughs[-1]] < prominence:
        troughs[-1] = -1
    return Turns(np.asarray(peaks, dtype=np.intp), troughs)


def prominent_peaks(level: Floats, prominence: float) -> Indices:
    """Return the peaks of at least a prominence, each flat top by its middle, as if the level came from far below.

    Most turning points of a noisy level are noise's and far less prominent: they are taken out before `find_peaks`
    looks at each, which it does one by one.
    """
    first = np.flatnonzero(np.append(True, level[1:] != level[:-1]))
    last = np.append(first[1:], level.size) - 1
    floor = float(np.min(level)) - 2.0 * prominence
    value = np.concatenate([[floor], level[first], [floor]])
    step = np.diff(value)
    turns_there = np.append(True, np.append(step[1:] * step[:-1] < 0.0, True))
    kept = np.flatnonzero(turns_there)
    kept = kept[_without_small_moves(value[kept], prominence)]
    at = kept[find_peaks(value[kept], prominence=prominence)[0]] - 1
    return np.asarray((first[at] + last[at]) // 2, dtype=np.intp)


def _without_small_moves(value: Floats, prominence: float) -> Indices:
    """Return which turning points (low, high, low, ... low) to keep so that no prominent peak changes.

    A move smaller than the prominence, with a larger one on both sides, goes with both its ends. Its peak is not
    prominent, for a higher one stands beyond its low; any other peak sees a low as deep on the same way. Of peaks as
    high as each other neither hides the other, as `find_peaks` has it.
    """
    kept = np.arange(value.size)
    while kept.size > 3:
        a, b, c, d = (value[kept[n : kept.size - 3 + n]] for n in range(4))
        is_fall = (np.arange(a.size) % 2) == 0  # a is low, b high, c low, d high
        within = np.where(is_fall, (a <= c) & (b < d), (a > c) & (b >= d))
        small = within & (np.abs(b - c) < prominence)
        small[1:] &= ~small[:-1]
        if not small.any():
            break
        gone = np.flatnonzero(small)
        remains = np.ones(kept.size, dtype=bool)
        remains[gone + 1] = remains[gone + 2] = False
        kept = kept[remains]
    return kept


def _falls(level: Floats, found: Turns) -> Floats:
    last = np.where(found.trough < 0, found.peak + int(np.argmin(level[found.peak[-1] :])), found.trough)
    return np.asarray(level[found.peak] - level[last])


def _usual_fall(level: Floats, found: Turns, reach: int, gap_m: float) -> Floats:
    """Return the usual fall around each: the median of those around it, each counted by its square.

    So a few dumps outweigh many small waves. A fall to the outlet counts no more than two of the usual ones, which are
    as large as the gap is set, or as the one up to which half of all falling is.
    """
    falls = _falls(level, found)
    ordered = np.sort(falls)
    running = np.cumsum(ordered)
    falls = np.minimum(falls, 2.0 * min(gap_m, float(ordered[np.searchsorted(running, 0.5 * running[-1])])))
    reach = min(reach, falls.size - 1)
    padded = np.pad(falls, reach, mode="reflect") if reach else falls
    windows = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)
    running = np.cumsum(windows**2, axis=1)
    half = np.argmax(running >= 0.5 * running[:, -1:], axis=1)
    return np.asarray(windows[np.arange(falls.size), half])


def _merged(level: Floats, found: Turns, usual: Floats) -> Turns:
    """Return the falls without those that are waves, and with those put together that a wave parts.

    The move that is smallest beside what a real one needs goes first: what it interrupted is then one move.
    """
    last = int(np.argmin(level[found.peak[-1] :])) + int(found.peak[-1])
    turn = np.column_stack([found.peak, np.where(found.trough < 0, last, found.trough)]).ravel()
    needed = np.column_stack([_LEAST_FALL * usual, _LEAST_RISE * usual]).ravel()
    while turn.size > 2:
        moved = np.abs(np.diff(level[turn])) / needed[:-1]
        least = int(np.argmin(moved))
        if moved[least] >= 1.0:
            break
        turn, needed = np.delete(turn, [least, least + 1]), np.delete(needed, [least, least + 1])
    peak, trough = turn[::2], turn[1::2].copy()
    if found.trough[-1] < 0 and trough[-1] == last:
        trough[-1] = -1
    return Turns(peak, trough)


def least_fall(swing_m: float, height_m: float) -> float:
    """Return the fall that is looked at at all: above the noise, and no smaller than a share of the sawtooth. [m]"""
    return max(_SWINGS * swing_m, 0.1 * height_m)


def without_spikes(level: Floats, time_us: Times, height_m: float) -> Flags:
    """Return which samples to keep: a lone sample far off is no level.

    A vessel cannot fill by a third of its sawtooth, five times as fast as it usually rises, and be back a
    sample later; nor can it fall so far and fill up again in one sample.
    """
    kept = np.ones(level.size, dtype=bool)
    if level.size < 3:
        return kept
    step, span_s = np.diff(level), np.diff(time_us) / 1e6
    rising = step > 0.0
    if not np.any(rising):
        return kept
    fastest = 5.0 * float(np.median(step[rising] / span_s[rising]))
    far = np.abs(step) > height_m / 3.0
    impossible = far & (step / span_s > fastest)
    up = impossible[:-1] & far[1:] & (step[1:] < 0.0)
    down = far[:-1] & (step[:-1] < 0.0) & impossible[1:]
    kept[1:-1] = ~(up | down)
    return kept


@dataclass(frozen=True)
class Timed:
    """When the falls began, when they had reached their bottom, and when the level left it again. [us]"""

    start_us: Times
    end_us: Times
    leaves_us: Times
    """Time of the last sample near the bottom."""


def timed(time_us: Times, level: Floats, found: Turns) -> Timed:
    """Return when each fall began and reached its bottom: where its straight part meets the rises before and after.

    Noise puts the highest sample anywhere on a slow rise, so the peak itself is a poor clock. Where the fall has
    fewer than two samples between its ends, the last sample above and the first below it are all that is known.
    """
    last = np.where(found.trough < 0, level.size - 1, found.trough)
    falls = _corners(level, found.peak, last, _scatter(time_us, level))
    begin, end = falls.begin, falls.end
    before, after = np.append(0, last[:-1]), np.append(found.peak[1:], level.size - 1)
    half = np.clip((begin - before) // 2, _SHORTEST_FIT, _LONGEST_FIT)
    early = np.maximum(begin - half, before)
    # Near its ends the fall has this many samples within the edges, and one more for a corner between samples.
    rounded = np.ceil((end - begin) * falls.edge / (1.0 - 2.0 * falls.edge)).astype(np.intp)
    margin = np.where(end - begin > 2, rounded + 1, 0)
    rise = lines(time_us, level, early, np.maximum(begin + 1 - margin, early + 1), time_us[begin])
    half = np.clip((after - end) // 2, _SHORTEST_FIT, _LONGEST_FIT)
    late = np.minimum(end + half, after) + 1
    refill = lines(time_us, level, np.minimum(end + margin, late - 1), late, time_us[begin])
    first = lines(time_us, level, begin + 1, np.minimum(np.maximum(falls.half_down, begin + 3), end), time_us[begin])
    rest = lines(time_us, level, np.maximum(np.minimum(falls.half_left, end - 2), begin + 1), end, time_us[begin])
    clear = (end - begin > 2) & (first.slope_per_s < 0.0) & (rest.slope_per_s < 0.0)
    start_us, end_us = _meeting(first, rise, time_us[begin]), _meeting(rest, refill, time_us[begin])
    soonest, latest = time_us[np.maximum(begin - margin, 0)], time_us[np.minimum(end + margin, level.size - 1)]
    # A dead band keeps quiet while the level stays near: the fall began within the last scan before it was seen.
    unclear_us = np.maximum(time_us[begin], time_us[np.minimum(begin + 1, level.size - 1)] - _scan_us(time_us))
    start_us = np.where(clear, np.clip(start_us, soonest, time_us[begin + clear]), unclear_us)
    end_us = np.where(clear, np.clip(end_us, time_us[end - clear], latest), time_us[end])
    leaves = _leaving(level, last, after, level[last] + falls.edge * (level[found.peak] - level[last]))
    return Timed(start_us, np.maximum(end_us, start_us + 1), time_us[leaves])


def _leaving(level: Floats, trough: Indices, until: Indices, near: Floats) -> Indices:
    """Return the last sample from each trough on that still lies near it."""
    count = until - trough + 1
    fall = np.repeat(np.arange(trough.size), count)
    sample = trough[fall] + np.arange(fall.size) - np.repeat(np.cumsum(count) - count, count)
    return _last(fall, sample, level[sample] <= near[fall], trough)


def _scan_us(time_us: Times) -> int:
    """Return about how often the signal is looked at: the shortest spacing but for a few. [us]"""
    return int(np.quantile(np.diff(time_us), 0.05)) if time_us.size > 1 else SECOND_US


@dataclass(frozen=True)
class _Falls:
    """Positions of samples in each fall."""

    edge: Floats
    """Share of each fall that is left out at both ends."""
    begin: Indices
    """The last before it has clearly begun."""
    end: Indices
    """The first once it is over."""
    half_down: Indices
    """The first below the middle."""
    half_left: Indices
    """The last above it."""


def _scatter(time_us: Times, level: Floats) -> float:
    """Return the standard deviation of the noise, from how samples depart from the line of their neighbours.

    The lower quartile of the departures ignores dumps even where each has few samples; dividing by 0.3186 makes it a
    normal standard deviation and by sqrt(1.5) takes out the neighbours' own share.
    """
    if level.size < 3:
        return 0.0
    share = (time_us[1:-1] - time_us[:-2]) / (time_us[2:] - time_us[:-2])
    departure = level[1:-1] - (level[:-2] + (level[2:] - level[:-2]) * share)
    return float(np.quantile(np.abs(departure), 0.25) / (0.3186 * np.sqrt(1.5)))


def _corners(level: Floats, peak: Indices, trough: Indices, scatter_m: float) -> _Falls:
    """Return where each fall has clearly begun and where it is over; inflow may hold it up in between."""
    count = trough - peak + 1
    fall = np.repeat(np.arange(peak.size), count)
    sample = peak[fall] + np.arange(fall.size) - np.repeat(np.cumsum(count) - count, count)
    height = np.maximum(level[peak] - level[trough], 1e-12)
    share = (level[sample] - level[trough][fall]) / height[fall]
    edge = np.clip(_NOISE_AT_TOP * scatter_m / height, _EDGE, _WIDEST_EDGE)
    return _Falls(
        edge,
        np.maximum(_first(fall, sample, share < 1.0 - edge[fall], trough) - 1, peak),
        np.minimum(_last(fall, sample, share > edge[fall], peak) + 1, trough),
        _first(fall, sample, share <= 0.5, trough),
        _last(fall, sample, share >= 0.5, peak),
    )


def _first(fall: Indices, sample: Indices, which: Flags, otherwise: Indices) -> Indices:
    """Return the first sample of each fall for which something holds."""
    found = otherwise.copy()
    np.minimum.at(found, fall[which], sample[which])
    return found


def _last(fall: Indices, sample: Indices, which: Flags, otherwise: Indices) -> Indices:
    """Return the last sample of each fall for which something holds."""
    found = otherwise.copy()
    np.maximum.at(found, fall[which], sample[which])
    return found


def _meeting(fall: Lines, other: Lines, origin_us: Times) -> Times:
    """Return where two lines meet; where they do not, the origin."""
    slope = np.where(np.isnan(other.slope_per_s), 0.0, other.slope_per_s) - fall.slope_per_s
    with np.errstate(invalid="ignore", divide="ignore"):
        after_s = (fall.value - other.value) / slope
    after_s = np.where(np.isfinite(after_s), np.clip(after_s, -DAY_S, DAY_S), 0.0)
    return origin_us + np.rint(after_s * SECOND_US).astype(np.int64)
