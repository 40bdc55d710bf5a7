"""The vessel's own past: medians, scatter, quantiles that shrug off gaps, and runs of hours."""

import numpy as np

from nightgauge.detect.history import DAY_S, Floats, History, Mask, Texts
from nightgauge.statistics.medians import quantile as quantile_of_known
from nightgauge.statistics.medians import run_medians

NORMAL_MAD = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""


def median(values: Floats) -> float:
    """Return the median of what is known, NaN if nothing is."""
    known = np.sort(values[np.isfinite(values)])
    # Ten times as fast as the library's on the short series that most of these are.
    return 0.5 * float(known[(len(known) - 1) // 2] + known[len(known) // 2]) if len(known) else float("nan")


def spread(values: Floats) -> float:
    """Return the standard deviation by the median absolute deviation, NaN if nothing is known."""
    return median_and_spread(values)[1]


def median_and_spread(values: Floats) -> tuple[float, float]:
    """Return the median and the standard deviation by the median absolute deviation, NaN if nothing is known."""
    known = values[np.isfinite(values)]
    middle = median(known)
    return middle, NORMAL_MAD * median(np.abs(known - middle))


def quantile(values: Floats, share: float) -> float:
    """Return a quantile of what is known, NaN if nothing is."""
    known = values[np.isfinite(values)]
    return quantile_of_known(known, share) if len(known) else float("nan")


def runs(mask: Mask) -> list[tuple[int, int]]:
    """Return the runs of true as (first, one past the last).

    Examples
    --------
    >>> runs(np.array([True, True, False, True]))
    [(0, 2), (3, 4)]

    """
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def joined_runs(mask: Mask, unknown: Mask, gap: int) -> list[tuple[int, int]]:
    """Return runs of true joined over at most `gap` known false places; unknown places never part a run."""
    found: list[tuple[int, int]] = []
    for begin, end in runs(mask & ~unknown):
        if found:
            between = slice(found[-1][1], begin)
            if int((~unknown[between]).sum()) <= gap:
                found[-1] = (found[-1][0], end)
                continue
        found.append((begin, end))
    return found


def first_weeks(history: History, known: Mask, reference_s: float = 14 * DAY_S, most: float = 0.5) -> Mask:
    """Return the hours of the reference: the first `reference_s` of known hours, at most half of all there are.

    Where less than twice the reference time is known, the earlier half serves, so that something is left to judge.
    """
    order = np.cumsum(known)
    wanted = min(reference_s / 3600.0, most * float(order[-1]) if len(order) else 0.0)
    return np.asarray(known & (order <= max(wanted, 1.0)))


def per_well(values: Floats, wells: Texts, reference: Mask) -> Floats:
    """Return values with each well's own level taken out and the common level put back.

    A test vessel's past is kept per well on test, else every switch of wells reads as a step. Values of a well
    that the reference does not know become NaN: there is no past to compare them with.
    """
    names = {w for w in wells if w is not None}
    if len(names) < 2:
        return values
    common = median(values[reference])
    adjusted = np.full(len(values), np.nan)
    for name in sorted(names):
        here = wells == name
        own = values[here & reference]
        if np.isfinite(own).sum() >= 3:
            adjusted[here] = values[here] - median(own) + common
    return adjusted


def blocks(seconds: Floats, values: Floats, until_s: float, block_s: float) -> tuple[Floats, Floats]:
    """Return block ends and medians of blocks counted back from `until_s`, so that the last is always whole.

    Blocks with fewer than a third of the usual number of values are NaN.
    """
    known = np.isfinite(values) & (seconds < until_s)
    if not known.any():
        return np.empty(0), np.empty(0)
    back = np.floor((until_s - seconds[known] - 1e-6) / block_s).astype(np.int64)
    count = int(back.max()) + 1
    order = np.argsort(back, kind="stable")
    sizes, found = run_medians(values[known][order], back[order])
    enough = max(1.0, float(np.median(sizes)) / 3.0)
    medians = np.full(count, np.nan)
    medians[back[order][np.cumsum(sizes) - 1]] = np.where(sizes >= enough, found, np.nan)
    ends = until_s - block_s * np.arange(count, dtype=np.float64)
    return np.ascontiguousarray(ends[::-1], dtype=np.float64), np.ascontiguousarray(medians[::-1])
