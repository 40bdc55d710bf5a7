"""Turning points of a level that saws: slow rise, fast fall, noise and waves upon it."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.signal import find_peaks

from nightgauge.derive.lines import Lines, lines
from nightgauge.derive.spans import SECOND_US, Flags, Floats, Indices, Times, is_even
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


@dataclass(frozen=True)
class Shape:
    """Where a level changes and where it turns: what noise and dumps are both told by."""

    level: Floats
    first: Indices
    """Samples that differ from the one before, the very first too."""
    turns_there: Flags
    """Of these less the two at the ends: whether the level turns."""

    @staticmethod
    def of(level: Floats) -> "Shape":
        """Return the shape of samples in order of time."""
        if not level.size:
            return Shape(level, _NO_INDICES, np.zeros(0, dtype=bool))
        changed = level[1:] != level[:-1]
        if changed.all():
            first, rises = np.arange(level.size), level[1:] > level[:-1]
        else:
            first = np.append(0, np.flatnonzero(changed) + 1)
            value = level[first]
            rises = value[1:] > value[:-1]
        return Shape(level, first, rises[1:] != rises[:-1])

    @property
    def turning(self) -> Indices:
        """Return the samples at which the level turns, each flat top or bottom once."""
        return self.first[1:-1][self.turns_there]


def noise(shape: Shape, height_m: float) -> float:
    """Return the height of the swings that noise makes between neighbouring turning points, 0 if they are not noise's.

    The median of all swings, where more samples are turning points than a sawtooth of `height_m` has. White noise of
    standard deviation s swings by 1.6 s in the median. Where next to nothing but turning points is stored, swings of
    half the sawtooth are the sawtooth itself.
    """
    turning = np.count_nonzero(shape.turns_there)
    share = turning / max(shape.level.size, 1)
    if turning < _ENOUGH_SWINGS or share < _RANDOM:
        return 0.0
    swing = float(np.median(np.abs(np.diff(shape.level[shape.turning]))))
    return 0.0 if share > _TURNS_ALONE and swing > 0.5 * height_m else swing


def turns(shape: Shape, least: float, gap_m: float = np.inf) -> Turns:
    """Return the dumps of a level as the peak and the trough of each.

    Parameters
    ----------
    shape : Shape
        Of the level. [m]
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
    found, level = _zigzag(shape, least), shape.level
    if found.peak.size == 0:
        return found
    for reach in _AROUND:
        found = _merged(level, found, _usual_fall(level, found, reach, gap_m))
    return found


def _zigzag(shape: Shape, prominence: float) -> Turns:
    level = shape.level
    if level.size < 3:
        return NO_TURNS
    peaks = prominent_peaks(shape, prominence)
    # The padding makes a peak of a level that only rises at the end: a peak needs the fall after it to be seen.
    if peaks.size and level[peaks[-1]] - level[peaks[-1] :].min() < prominence:
        peaks = peaks[:-1]
    if peaks.size == 0:
        return NO_TURNS
    edges = [*peaks.tolist(), level.size]
    troughs = np.array([a + int(level[a:b].argmin()) for a, b in pairwise(edges)], dtype=np.intp)
    if level[troughs[-1] :].max() - level[troughs[-1]] < prominence:
        troughs[-1] = -1
    return Turns(np.asarray(peaks, dtype=np.intp), troughs)


def prominent_peaks(shape: Shape, prominence: float) -> Indices:
    """Return the peaks of at least a prominence, each flat top by its middle, as if the level came from far below.

    Most turning points of a noisy level are noise's and far less prominent: they are taken out before `find_peaks`
    looks at each, which it does one by one.
    """
    level, first = shape.level, shape.first
    # Coming from far below and going there, the level turns at an end too if that is higher than what is beside it.
    rises_first, falls_last = level[first[:1]] < level[first[1:2]], level[first[-1:]] < level[first[-2:-1]]
    ends_too = np.concatenate([~rises_first, shape.turns_there, ~falls_last])
    turning = np.flatnonzero(ends_too) if first.size > 1 else np.zeros(1, dtype=np.intp)
    floor = float(level.min()) - 2.0 * prominence
    value = np.concatenate([[floor], level[first[turning]], [floor]])
    kept = _without_small_moves(value, prominence)
    at = turning[kept[find_peaks(value[kept], prominence=prominence)[0]] - 1]
    after = np.where(at + 1 < first.size, first[np.minimum(at + 1, first.size - 1)], level.size)
    return np.asarray((first[at] + after - 1) // 2, dtype=np.intp)


def _without_small_moves(value: Floats, prominence: float) -> Indices:
    """Return which turning points (low, high, low, ... low) to keep so that no prominent peak changes.

    A move smaller than the prominence, with a larger one on both sides, goes with both its ends. Its peak is not
    prominent, for a higher one stands beyond its low; any other peak sees a low as deep on the same way. Of peaks as
    high as each other neither hides the other, as `find_peaks` has it.
    """
    kept = np.arange(value.size)
    while kept.size > 3:
        low, high = value[::2], value[1::2]
        small = np.abs(value[2:-1] - value[1:-2]) < prominence
        # Of a fall: the low before is no higher than its own, the high after higher than its own; of a rise likewise.
        small[::2] &= (low[:-2] <= low[1:-1]) & (high[:-1] < high[1:])
        small[1::2] &= (high[:-1] > high[1:]) & (low[1:-1] >= low[2:])
        small[1:] &= ~small[:-1]
        gone = np.flatnonzero(small)
        if not gone.size:
            break
        remains = np.ones(kept.size, dtype=bool)
        remains[gone + 1] = remains[gone + 2] = False
        stay = np.flatnonzero(remains)
        kept, value = kept[stay], value[stay]
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
    padded = np.concatenate([falls[reach:0:-1], falls, falls[-2 : -reach - 2 : -1]])
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
    moved = np.abs(np.diff(level[turn])) / needed[:-1]
    if moved.size < 2 or moved.min() >= 1.0:
        return found
    turn = turn[_left_by_small_moves(level[turn].tolist(), needed.tolist(), moved.tolist())]
    peak, trough = turn[::2], turn[1::2].copy()
    if found.trough[-1] < 0 and trough[-1] == last:
        trough[-1] = -1
    return Turns(peak, trough)


def _left_by_small_moves(height: list[float], needed: list[float], moved: list[float]) -> list[int]:
    """Return which turns are left when moves below what is needed (1) have gone, the smallest first.

    Lists, for few moves go and each changes one other only.
    """
    left = list(range(len(height)))
    while len(left) > 2:
        least = moved.index(min(moved))
        if moved[least] >= 1.0:
            break
        for values in (left, height, needed, moved):
            del values[least : least + 2]
        if 0 < least < len(left):
            moved[least - 1] = abs(height[least] - height[least - 1]) / needed[least - 1]
        elif least:
            moved.pop()
    return left


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
    step = np.diff(level)
    far = np.abs(step) > height_m / 3.0
    rising = step > 0.0
    if not np.any(far[1:] & far[:-1]) or not np.any(rising):
        return kept
    span_s = np.diff(time_us) / 1e6
    fastest = 5.0 * float(np.median(step[rising] / span_s[rising]))
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
    spacing_us = np.diff(time_us)
    falls = _corners(level, found.peak, last, _scatter(time_us, spacing_us, level))
    begin, end = falls.begin, falls.end
    before, after = np.append(0, last[:-1]), np.append(found.peak[1:], level.size - 1)
    half = np.clip((begin - before) // 2, _SHORTEST_FIT, _LONGEST_FIT)
    early = np.maximum(begin - half, before)
    # Near its ends the fall has this many samples within the edges, and one more for a corner between samples.
    rounded = np.ceil((end - begin) * falls.edge / (1.0 - 2.0 * falls.edge)).astype(np.intp)
    margin = np.where(end - begin > 2, rounded + 1, 0)
    half = np.clip((after - end) // 2, _SHORTEST_FIT, _LONGEST_FIT)
    late = np.minimum(end + half, after) + 1
    rise, refill, first, rest = _lines(
        time_us, level, time_us[begin],
        (early, np.maximum(begin + 1 - margin, early + 1)),
        (np.minimum(end + margin, late - 1), late),
        (begin + 1, np.minimum(np.maximum(falls.half_down, begin + 3), end)),
        (np.maximum(np.minimum(falls.half_left, end - 2), begin + 1), end),
    )  # fmt: skip
    clear = (end - begin > 2) & (first.slope_per_s < 0.0) & (rest.slope_per_s < 0.0)
    start_us, end_us = _meeting(first, rise, time_us[begin]), _meeting(rest, refill, time_us[begin])
    soonest, latest = time_us[np.maximum(begin - margin, 0)], time_us[np.minimum(end + margin, level.size - 1)]
    # A dead band keeps quiet while the level stays near: the fall began within the last scan before it was seen.
    unclear_us = np.maximum(time_us[begin], time_us[np.minimum(begin + 1, level.size - 1)] - _scan_us(spacing_us))
    start_us = np.where(clear, np.clip(start_us, soonest, time_us[begin + clear]), unclear_us)
    end_us = np.where(clear, np.clip(end_us, time_us[end - clear], latest), time_us[end])
    leaves = _leaving(level, last, after, level[last] + falls.edge * (level[found.peak] - level[last]))
    return Timed(start_us, np.maximum(end_us, start_us + 1), time_us[leaves])


def _lines(time_us: Times, level: Floats, at_us: Times, *spans: tuple[Indices, Indices]) -> list[Lines]:
    """Return the lines through several stretches of each fall, each by its first and one past its last sample."""
    bounds = np.concatenate(spans, axis=1)
    made = lines(time_us, level, bounds[0], bounds[1], np.tile(at_us, len(spans)))
    parts = (np.split(one, len(spans)) for one in (made.value, made.slope_per_s, made.samples))
    return [Lines(*part) for part in zip(*parts, strict=True)]


def _leaving(level: Floats, trough: Indices, until: Indices, near: Floats) -> Indices:
    """Return the last sample from each trough on that still lies near it."""
    limit = np.repeat(near, np.diff(trough, append=level.size))
    held = np.flatnonzero(level[trough[0] :] <= limit) + trough[0]
    return np.asarray(held[np.searchsorted(held, until, side="right") - 1])


def _scan_us(spacing_us: Times) -> int:
    """Return about how often the signal is looked at: the shortest spacing but for a few. [us]"""
    if is_even(spacing_us):
        return int(spacing_us[0])
    return int(np.quantile(spacing_us, 0.05)) if spacing_us.size else SECOND_US


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


def _scatter(time_us: Times, spacing_us: Times, level: Floats) -> float:
    """Return the standard deviation of the noise, from how samples depart from the line of their neighbours.

    The lower quartile of the departures ignores dumps even where each has few samples; dividing by 0.3186 makes it a
    normal standard deviation and by sqrt(1.5) takes out the neighbours' own share.
    """
    if level.size < 3:
        return 0.0
    share: Floats | float = 0.5
    if not is_even(spacing_us):
        share = spacing_us[:-1] / (time_us[2:] - time_us[:-2])
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
