"""Dumps gathered into windows of a day or more, counted back from the night's end."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from nightgauge.detect.history import DAY_S, Floats, History, Mask
from nightgauge.detect.past import joined_runs
from nightgauge.statistics.medians import quantile, run_medians


@dataclass(frozen=True)
class Windows:
    """Windows in order of time: where each begins and ends, and which dumps lie in it."""

    begin_s: Floats
    end_s: Floats
    first: np.ndarray[tuple[int], np.dtype[np.int64]]
    stop: np.ndarray[tuple[int], np.dtype[np.int64]]

    def __len__(self) -> int:
        """Return the number of windows."""
        return len(self.begin_s)

    def each(self, values: Floats, statistic: Callable[[Floats], float], least: int) -> Floats:
        """Return a statistic of what is known in each window, NaN where fewer than `least` are."""
        result = np.full(len(self), np.nan)
        for number, (a, b) in enumerate(zip(self.first, self.stop, strict=True)):
            part = values[a:b]
            part = part[np.isfinite(part)]
            if len(part) >= least:
                result[number] = statistic(part)
        return result

    def medians(self, values: Floats, least: int) -> Floats:
        """Return the median of what is known in each window, NaN where fewer than `least` are."""
        sizes = self.stop - self.first
        window = np.repeat(np.arange(len(self)), sizes)
        inside = values[np.arange(len(window)) + np.repeat(self.first - np.cumsum(sizes) + sizes, sizes)]
        known = np.isfinite(inside)
        counts, found = run_medians(inside[known], window[known])
        result = np.full(len(self), np.nan)
        result[np.unique(window[known])] = np.where(counts >= least, found, np.nan)
        return result


def windows_of(history: History, least_dumps: float) -> Windows:
    """Return windows of a whole number of days, long enough to hold `least_dumps` of this vessel's dumps."""
    opened = history.dumps.opened
    span = history.until_s - history.start_s
    if not len(opened) or span <= 0:
        empty = np.empty(0)
        return Windows(empty, empty, np.empty(0, np.int64), np.empty(0, np.int64))
    # The busier half of the days decides: gaps and shut-ins do not stretch the windows.
    per_day = np.histogram(opened, bins=max(1, int(np.ceil(span / DAY_S))))[0]
    usual = max(quantile(per_day, 0.6), 0.25)
    length = DAY_S * float(np.clip(np.ceil(least_dumps / usual), 1, 7))
    count = int(np.ceil(span / length))
    ends = history.until_s - length * np.arange(count)[::-1].astype(np.float64)
    begins = ends - length
    return Windows(begins, ends, np.searchsorted(opened, begins), np.searchsorted(opened, ends))


def reference_windows(windows: Windows, values: Floats, reference_s: float = 14 * DAY_S) -> Mask:
    """Return the windows of the reference: the first two weeks that are known, at most half of all known ones."""
    known = np.isfinite(values)
    length = float(windows.end_s[0] - windows.begin_s[0]) if len(windows) else DAY_S
    order = np.cumsum(known)
    most = min(reference_s / length, float(known.sum()) / 2.0)
    return np.asarray(known & (order <= max(most, 1.0)))


def episodes(windows: Windows, over: Mask, half_over: Mask, known: Mask) -> list[tuple[float, float, bool]]:
    """Return (onset, end, is over) of runs of windows over a line; the onset goes back while half over it."""
    found = []
    for first, stop in joined_runs(over, ~known, 1):
        begin = first
        while begin > 0 and half_over[begin - 1] and known[begin - 1]:
            begin -= 1
        is_over = bool(known[stop:].any())
        found.append((float(windows.begin_s[begin]), float(windows.end_s[stop - 1]), is_over))
    return found
