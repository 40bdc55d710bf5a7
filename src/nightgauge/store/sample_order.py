"""Samples put in order: cheap where they lie in order already, or file by file, as they mostly do."""

from itertools import pairwise

import numpy as np
import polars as pl

from nightgauge.vocabulary.frames import SAMPLES

_MOST_RUNS = 5_000
"""Stretches in order that are put together one by one. House choice: more of them are sorted as fast."""


def in_order(samples: pl.DataFrame) -> pl.DataFrame:
    """Return rows of SAMPLES, in any order, as SAMPLES in its own order.

    What files brought lies in order within each file and tag, so whole stretches are moved instead of rows.
    """
    frame = samples.select(pl.col(name).cast(dtype) for name, dtype in SAMPLES.schema.items())
    falls, tag_starts = _falls(frame)
    if not falls.any():
        return frame
    heads = np.flatnonzero(falls | tag_starts) + 1
    if heads.size <= _MOST_RUNS:
        runs = [frame.slice(a, b - a) for a, b in pairwise([0, *heads.tolist(), frame.height])]
        runs.sort(key=lambda run: (run["tag_id"][0], run["time_utc"][0]))
        frame = pl.concat(runs, rechunk=True)
        if not _falls(frame)[0].any():
            return frame
    return frame.sort(SAMPLES.order, maintain_order=True)


def is_in_order(samples: pl.DataFrame) -> bool:
    """Return whether samples (columns tag_id, time_utc) lie by tag and time already."""
    return not _falls(samples)[0].any()


def _falls(frame: pl.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return where a row should not follow the one before, and where another tag begins."""
    tag, time = frame["tag_id"].to_numpy(), frame["time_utc"].to_physical().to_numpy()
    other = tag[1:] != tag[:-1]
    return np.where(other, tag[1:] < tag[:-1], time[1:] < time[:-1]), other
