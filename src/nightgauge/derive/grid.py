"""The days and hours that rows are made for."""

from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

import numpy as np

from nightgauge.derive.readings import to_us
from nightgauge.derive.spans import SECOND_US, Times
from nightgauge.field.calendar import midnights
from nightgauge.field.settings import Field

HOUR_US = 3600 * SECOND_US
DAY_US = 24 * HOUR_US


@dataclass(frozen=True)
class Day:
    """One day of the field's zone, cut off at `until`, with the edges of its hours.

    Hours count from the field's midnight, so that no hour lies in two days where the zone's offset is not
    whole hours; where a clock change is half an hour, the day's last hour is short.
    """

    date: date
    start: datetime
    edges_us: Times
    until_us: int
    """Nothing at or after this is looked at. [us]"""

    @property
    def start_us(self) -> int:
        """Return the first instant. [us]"""
        return int(self.edges_us[0])

    @property
    def end_us(self) -> int:
        """Return the first instant after it. [us]"""
        return int(self.edges_us[-1])

    @property
    def hours_us(self) -> Times:
        """Return the starts of its hours. [us]"""
        return self.edges_us[:-1]

    @property
    def edges_with_day_before_us(self) -> Times:
        """Return the edges of the 24 hours before it and of its own. [us]"""
        return np.concatenate([self.start_us - DAY_US + HOUR_US * np.arange(24), self.edges_us])

    def edges_around_us(self, end_us: int) -> Times:
        """Return the edges of the hours from a day before it to the end of what is seen. [us]"""
        after = np.arange(self.end_us + HOUR_US, end_us + HOUR_US, HOUR_US, dtype=np.int64)
        return np.concatenate([self.edges_with_day_before_us, np.minimum(after, end_us)])

    @property
    def lengths_us(self) -> Times:
        """Return the lengths of its hours. [us]"""
        return np.diff(self.edges_us)


def days(field: Field, start: datetime, until: datetime) -> list[Day]:
    """Return the days of [start, until); the last ends at `until`."""
    edges = [*midnights(field.zone, start, until), until]
    if edges[0] != start:
        edges.insert(0, start)
    return [
        Day(a.astimezone(field.zone).date(), a, _hour_edges(to_us(a), to_us(b)), to_us(until))
        for a, b in pairwise(edges)
        if a < b
    ]


def _hour_edges(start_us: int, end_us: int) -> Times:
    return np.append(np.arange(start_us, end_us, HOUR_US, dtype=np.int64), end_us)
