"""Wall-clock times of a zone to UTC: which exist, which exist twice, and what the two candidates are."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

FIRST_DAY = date(1989, 12, 30)
"""Changes of the clock are looked up from here on: rows before 1990 are kept out anyway."""

_FAR = 1 << 62
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class LocalTimes:
    """Wall-clock times laid on UTC."""

    utc_us: Integers
    """UTC; of the first pass where the hour comes twice."""
    is_missing: Bools
    """The clock jumped over this time."""
    window: npt.NDArray[np.int16]
    """Number of the clock change whose doubled hour this lies in, else -1."""


@dataclass(frozen=True)
class Clock:
    """Spans of constant offset of one zone, in order."""

    begins_us: Integers
    """First wall-clock time of each span. [us]"""
    ends_us: Integers
    """Wall-clock time at which each span ends. [us]"""
    offsets_us: Integers
    """Wall clock minus UTC. [us]"""

    def to_utc(self, local_us: Integers) -> LocalTimes:
        """Return wall-clock times as UTC, with those that are missing or doubled told."""
        span = np.searchsorted(self.begins_us, local_us, side="right") - 1
        before = np.maximum(span - 1, 0)
        is_doubled = (local_us < self.ends_us[before]) & (span > 0)
        first = np.where(is_doubled, before, span)
        return LocalTimes(
            local_us - self.offsets_us[first],
            local_us >= self.ends_us[span],
            np.where(is_doubled, span, -1).astype(np.int16),
        )

    def second_pass_delay_us(self, window: npt.NDArray[np.int16]) -> Integers:
        """Return how much later the second pass of a doubled hour is than its first. [us]"""
        return self.offsets_us[window - 1] - self.offsets_us[window]

    def offset_at_us(self, utc_us: Integers) -> Integers:
        """Return wall clock minus UTC at UTC times. [us]"""
        changes = self.begins_us[1:] - self.offsets_us[1:]
        return self.offsets_us[np.searchsorted(changes, utc_us, side="right")]


@lru_cache(maxsize=16)
def clock_of(zone: ZoneInfo, last_day: date) -> Clock:
    """Return the spans of constant offset of a zone from `FIRST_DAY` to a day."""
    start = datetime(FIRST_DAY.year, FIRST_DAY.month, FIRST_DAY.day, tzinfo=UTC)
    days = (last_day - FIRST_DAY).days
    moments = [start + timedelta(days=i) for i in range(days + 1)]
    changes = [
        _change_between(zone, before, after)
        for before, after in pairwise(moments)
        if _offset(zone, before) != _offset(zone, after)
    ]
    offsets = np.array([_microseconds(_offset(zone, moment)) for moment in (start, *changes)], np.int64)
    changes_us = np.array([_microseconds(moment - _EPOCH) for moment in changes], np.int64)
    return Clock(
        begins_us=np.concatenate(([-_FAR], changes_us + offsets[1:])),
        ends_us=np.concatenate((changes_us + offsets[:-1], [_FAR])),
        offsets_us=offsets,
    )


def _offset(zone: ZoneInfo, moment: datetime) -> timedelta:
    return moment.astimezone(zone).utcoffset() or timedelta(0)


def _microseconds(span: timedelta) -> int:
    return span // timedelta(microseconds=1)


def _change_between(zone: ZoneInfo, before: datetime, after: datetime) -> datetime:
    """Return the second at which the offset changes, by halving."""
    while after - before > timedelta(seconds=1):
        middle = before + timedelta(seconds=int((after - before).total_seconds()) // 2)
        if _offset(zone, middle) == _offset(zone, before):
            before = middle
        else:
            after = middle
    return after
