"""What adopting works on: the raw samples of tags nobody knows yet, and how they lie on one grid of minutes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

Floats = npt.NDArray[np.float32]
Bools = npt.NDArray[np.bool_]
Matrix = npt.NDArray[Any]

RAW = {"tag_id": pl.Int32, "time_s": pl.Float64, "value": pl.Float64}
"""Raw samples: place among the tags, seconds since 1970 UTC, value as the historian has it; by tag and time.

A text is the number of its place among the tag's texts.
"""
STEP_S = 60.0
"""Step of the grid: fast enough to see which level falls when which valve opens, slow enough for thousands of tags.
House choice. [s]"""
WINDOW_DAYS = 14
"""How much of the newest data is looked at: two weeks show weekdays and weekends twice. House choice. [d]"""
HELD_FOR_S = 4.0 * 3600.0
"""How long a number stands on the grid without a new one: longer than the longest interval of common historians
(an hour or two), so that a quiet process is no gap. Common practice, no source. [s]"""
TEXT_HELD_FOR_S = 24.0 * 3600.0
"""How long a text does: the field format's longest silence of states. [s]"""


@dataclass(frozen=True)
class Readings:
    """The raw samples of an export folder."""

    tags: tuple[str, ...]
    samples: pl.DataFrame
    """RAW."""
    texts: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    """By place of a tag whose values are texts: the texts, in the order of their numbers."""
    units: Mapping[str, str] = field(default_factory=dict)
    """By tag: its unit, where the exports have a column of units."""

    @cached_property
    def bounds(self) -> npt.NDArray[np.int64]:
        """Return where each tag's rows begin, and the end of the last."""
        return np.asarray(np.searchsorted(self.samples["tag_id"].to_numpy(), np.arange(len(self.tags) + 1)))

    @cached_property
    def latest_s(self) -> float:
        """Return the time of the newest sample."""
        newest = self.samples["time_s"].max()
        return float(newest) if isinstance(newest, int | float) else 0.0

    def recent(self) -> "Readings":
        """Return the readings without what is older than the window."""
        since = self.latest_s - WINDOW_DAYS * 86400.0
        return Readings(self.tags, self.samples.filter(pl.col("time_s") > since), self.texts, self.units)

    def of(self, tag: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Return times [s] and values of one tag."""
        first, last = int(self.bounds[tag]), int(self.bounds[tag + 1])
        rows = self.samples[first:last]
        return rows["time_s"].to_numpy(), rows["value"].to_numpy()


@dataclass(frozen=True)
class Minutes:
    """Values of some tags minute by minute."""

    last: Matrix
    """Value that stands at the end of each minute, NaN where none does; (tags, minutes)."""
    highest: Matrix
    """Highest value that stood at some time of the minute."""


def minutes_of(readings: Readings, tags: Sequence[int], first_s: float, count: int) -> Minutes:
    """Return the tags' values on the grid of `count` minutes that begins at `first_s`.

    Parameters
    ----------
    readings : Readings
        The samples.
    tags : sequence of int
        Places of the tags.
    first_s : float
        Start of the first minute. [s]
    count : int
        Minutes.

    """
    last = np.full((len(tags), count), np.nan)
    highest = np.full((len(tags), count), -np.inf)
    for row, tag in enumerate(tags):
        time_s, value = readings.of(tag)
        at = ((time_s - first_s) / STEP_S).astype(np.int64)
        is_in = (at >= 0) & (at < count)
        at, value = at[is_in], value[is_in]
        if not len(at):
            continue
        ends = np.append(np.flatnonzero(np.diff(at)), len(at) - 1)
        starts = np.insert(ends[:-1] + 1, 0, 0)
        peaks = np.maximum.reduceat(value, starts)
        filled = at[ends]
        gaps = np.append(np.diff(filled), count - filled[-1])
        place = np.repeat(np.arange(len(filled)), gaps)
        minute = np.arange(filled[0], count)
        held_s = TEXT_HELD_FOR_S if tag in readings.texts else HELD_FOR_S
        stands = minute - filled[place] < held_s / STEP_S
        last[row, filled[0] :] = np.where(stands, value[ends][place], np.nan)
        before = np.roll(last[row], 1)[filled]
        highest[row, filled[0] :] = last[row, filled[0] :]
        highest[row, filled] = np.fmax(peaks, before)
    return Minutes(last, np.where(np.isfinite(highest), highest, np.nan))
