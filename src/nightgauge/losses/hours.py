"""Hours of a signal and the days of the field that they belong to, as arrays.

A frame of one vessel is short, so that a query of it costs more to plan than to run: all is done on arrays.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from nightgauge.field.calendar import day_bounds

Numbers = NDArray[np.float64]
Days = NDArray[np.int64]
"""Days since 1970."""

_KNOWN = 0.5
"""Share of an hour from which its mean stands for it. House choice: the larger part."""
_HOUR_US = 3_600_000_000
_BLOCK_H = 2048
"""Hours whose days are found at once: a quarter, so that two serve the weeks that a night reckons."""


@dataclass(frozen=True)
class Hours:
    """The known hours of one signal in order of time."""

    number: NDArray[np.int64]
    """Hours since 1970, UTC."""
    mean: Numbers
    """In the signal's unit."""

    def less(self, other: "Hours") -> "Hours":
        """Return the difference in the hours that both know."""
        both, mine, its = np.intersect1d(self.number, other.number, assume_unique=True, return_indices=True)
        return Hours(both, self.mean[mine] - other.mean[its])

    def days(self, zone: ZoneInfo) -> Days:
        """Return the day of the field's zone in which each hour begins."""
        if not len(self.number):
            return np.empty(0, dtype=np.int64)
        first, last = int(self.number[0]) // _BLOCK_H, int(self.number[-1]) // _BLOCK_H
        table = np.concatenate([_days_of_block(zone.key, block) for block in range(first, last + 1)])
        return np.asarray(table[self.number - first * _BLOCK_H])


def hours_of(signal_hours: pl.DataFrame, vessel: str, signal: str) -> Hours:
    """Return the hours in which a signal of a vessel is known for half of the time at least.

    Parameters
    ----------
    signal_hours : SIGNAL_HOURS
        Of any vessels.

    """
    here = (signal_hours["signal"] == signal).to_numpy() & (signal_hours["vessel"] == vessel).to_numpy()
    mean = numbers(signal_hours, "mean")
    rows = np.flatnonzero(here & (numbers(signal_hours, "coverage") >= _KNOWN) & ~np.isnan(mean))
    number = signal_hours["hour_utc"].cast(pl.Int64).to_numpy()[rows] // _HOUR_US
    order = np.argsort(number, kind="stable")
    return Hours(number[order], mean[rows[order]])


@lru_cache(maxsize=256)
def _days_of_block(zone: str, block: int) -> Days:
    """Return the days of the zone in which the hours of a block begin."""
    begins = pl.Series(np.arange(block * _BLOCK_H, (block + 1) * _BLOCK_H) * _HOUR_US).cast(pl.Datetime("us", "UTC"))
    days: Days = begins.dt.convert_time_zone(zone).dt.date().cast(pl.Int64).to_numpy()
    return days


def on_days(wanted: Days, days: Days, values: Numbers) -> Numbers:
    """Return values of days, rising, for the days that are wanted; NaN where there is none."""
    if not len(days):
        return np.full(len(wanted), np.nan)
    place = np.minimum(np.searchsorted(days, wanted), len(days) - 1)
    return np.where(days[place] == wanted, values[place], np.nan)


def rows_of(days: pl.DataFrame, vessel: str) -> tuple[NDArray[np.int64], Days]:
    """Return the rows of a vessel in VESSEL_DAYS in order of the day, and their days."""
    rows = np.flatnonzero((days["vessel"] == vessel).to_numpy())
    day = days["day"].cast(pl.Int64).to_numpy()[rows]
    order = np.argsort(day, kind="stable")
    return rows[order], day[order]


def numbers(frame: pl.DataFrame, column: str) -> Numbers:
    """Return a column as numbers, NaN where null."""
    return frame[column].cast(pl.Float64).to_numpy().astype(np.float64, copy=False)


def bounds_of(days: Sequence[date], zone: ZoneInfo) -> list[tuple[datetime, datetime]]:
    """Return the first instant of each day and that of the next; those of a night are the same for all vessels."""
    return [_bounds(zone.key, day) for day in days]


@lru_cache(maxsize=4096)
def _bounds(zone: str, day: date) -> tuple[datetime, datetime]:
    return day_bounds(ZoneInfo(zone), day)
