"""Turning points of a level that saws: slow rise, fast fall, noise upon it."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.signal import find_peaks

from nightgauge.derive.known import Floats, Indices, Times


@dataclass(frozen=True)
class Turns:
    """Peaks and the trough after each, as positions of samples; the last trough may be missing (-1)."""

    peak: Indices
    trough: Indices


def turns(level: Floats, prominence: float) -> Turns:
    """Return every fall of at least `prominence` as its peak and the trough after it.

    A trough counts once the level has risen from it by `prominence` too; the last fall has none yet if it has not.
    A fall whose peak lies before the first sample is no fall seen.
    """
    none = np.zeros(0, dtype=np.intp)
    if level.size < 3:
        return Turns(none, none)
    peaks = _prominent(level, prominence)
    if peaks.size == 0:
        return Turns(none, none)
    edges = np.append(peaks, level.size)
    troughs = np.array([a + int(np.argmin(level[a:b])) for a, b in pairwise(edges)], dtype=np.intp)
    confirmed = level[edges[1:-1]] - level[troughs[:-1]] >= prominence
    settled = bool(np.max(level[troughs[-1] :]) - level[troughs[-1]] >= prominence)
    troughs[np.append(~confirmed, not settled)] = -1
    return Turns(peaks, troughs)


def _prominent(level: Floats, prominence: float) -> Indices:
    """Return peaks that stand out by `prominence` on both sides; the record's start counts as a rise."""
    padded = np.concatenate([[np.min(level) - 2.0 * prominence], level, [np.min(level) - 2.0 * prominence]])
    found, _ = find_peaks(padded, prominence=prominence)
    found = found - 1
    # The padding makes a peak of a level that only rises: a peak needs the fall after it to be seen.
    falls = np.array([_falls_after(level, k, prominence) for k in found[-1:]], dtype=bool)
    return np.asarray(found[:-1] if falls.size and not falls[0] else found, dtype=np.intp)


def _falls_after(level: Floats, peak: int, prominence: float) -> bool:
    return bool(level[peak] - np.min(level[peak:]) >= prominence)


def noise(level: Floats, time_us: Times) -> float:
    """Return the standard deviation of the reading's noise, from how samples depart from the line of their neighbours.

    The median of the departures ignores dumps; 1.4826 makes it a normal standard deviation and sqrt(1.5) takes
    out the neighbours' own share.
    """
    if level.size < 5:
        return 0.0
    span = (time_us[2:] - time_us[:-2]).astype(np.float64)
    share = (time_us[1:-1] - time_us[:-2]) / span
    departure = level[1:-1] - (level[:-2] + (level[2:] - level[:-2]) * share)
    return float(1.4826 * np.median(np.abs(departure)) / np.sqrt(1.5))
