"""What all of statistics shares: its arrays, and a series without its gaps."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def known(values: Floats, times: Floats | None = None) -> tuple[Floats, Floats]:
    """Return values and times without the points whose value is NaN; without times they are numbered from 0."""
    series = np.asarray(values, dtype=np.float64)
    clock = np.arange(series.size, dtype=np.float64) if times is None else np.asarray(times, dtype=np.float64)
    there = ~np.isnan(series)
    return series[there], clock[there]


_ROUNDING = 1e-12


def lies_still(values: Floats) -> bool:
    """Return whether a series varies by no more than rounding."""
    return bool(np.ptp(values) <= _ROUNDING * np.max(np.abs(values)))
