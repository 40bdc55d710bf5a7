"""Time-weighted quantiles of many bins at once."""

import numpy as np

from nightgauge.derive.known import Pieces
from nightgauge.derive.spans import SECOND_US, Flags, Floats, Indices, Times

_FINEST_US = 60 * SECOND_US
"""Lines are cut this fine for quantiles. [us] Sixty points an hour place a 10th percentile well."""


def quantiles(cut: Pieces, count: int, shares: tuple[float, ...]) -> list[Floats]:
    """Return the time-weighted quantiles of each bin: the lowest value not exceeded for that share of the time."""
    fine = _finer(cut)
    middle = 0.5 * (fine.start_value + fine.end_value)
    edges = np.searchsorted(fine.bin, np.arange(count + 1))
    size = np.diff(edges)
    held = np.flatnonzero(size)
    if not held.size:
        return [np.full(count, np.nan) for _ in shares]
    if np.all(fine.length_us == fine.length_us[0]):
        told = _of_even(middle, int(fine.length_us[0]), size[held], shares)
    else:
        told = _of_uneven(middle, fine.length_us, size[held], shares)
    found = [np.full(count, np.nan) for _ in shares]
    for whole, values in zip(found, told, strict=True):
        whole[held] = values
    return found


def _side_by_side(values: Floats, size: Indices) -> tuple[Floats, Flags]:
    """Return bins of so many values each as rows, padded to the longest, and where values stand in them.

    Sorting rows is several times faster than sorting all of them as one.
    """
    there = np.arange(size.max()) < size[:, np.newaxis]
    padded = np.full(there.shape, np.inf)
    padded[there] = values
    return padded, there


def _of_even(values: Floats, length_us: int, size: Indices, shares: tuple[float, ...]) -> list[Floats]:
    """Return the quantiles of bins of so many values each that all count alike: then nothing has to be sorted."""
    wanted = [np.ceil(share * (size * length_us)).astype(np.int64) for share in shares]
    ranks = [np.maximum(-(-one // length_us) - 1, 0) for one in wanted]
    parted = np.partition(_side_by_side(values, size)[0], np.unique(np.concatenate(ranks)), axis=1)
    return [parted[np.arange(size.size), rank] for rank in ranks]


def _of_uneven(values: Floats, length_us: Times, size: Indices, shares: tuple[float, ...]) -> list[Floats]:
    """Return the quantiles of bins of so many values each."""
    padded, there = _side_by_side(values, size)
    lengths = np.zeros(there.shape, dtype=np.int64)
    lengths[there] = length_us
    order = np.argsort(padded, axis=1)
    # Whole microseconds: the running sums are exact.
    running = np.cumsum(np.take_along_axis(lengths, order, axis=1), axis=1)
    found = []
    for share in shares:
        wanted = np.ceil(share * running[:, -1:]).astype(np.int64)
        place = np.minimum(np.count_nonzero(running < wanted, axis=1), size - 1)
        found.append(padded[np.arange(size.size), order[np.arange(size.size), place]])
    return found


def _finer(cut: Pieces) -> Pieces:
    if cut.length_us.max(initial=0) <= _FINEST_US:
        return cut
    parts = np.maximum(-(-cut.length_us // _FINEST_US), 1)
    whole = np.repeat(np.arange(parts.size), parts)
    step = np.arange(whole.size) - np.repeat(np.cumsum(parts) - parts, parts)
    length, rise, parts = cut.length_us[whole], (cut.end_value - cut.start_value)[whole], parts[whole]
    start = cut.start_us[whole] + length * step // parts
    end = cut.start_us[whole] + length * (step + 1) // parts
    low = cut.start_value[whole] + rise * (step / parts)
    high = cut.start_value[whole] + rise * ((step + 1) / parts)
    return Pieces(cut.bin[whole], start, end, low, high)
