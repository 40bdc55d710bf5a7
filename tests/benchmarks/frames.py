"""Derived rows of a fleet's vessels, kept in the cache in such a way that each night sees what it would have seen.

A day's rows may be revised once by the next night (see `derive.vessel`). So each vessel is derived once over all its
days, and once more for each night over the night's own day up to its end. A night reads the final rows before its
day and that day's rows as told then: the same rows as nights in turn leave in the database.
"""

from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path

import polars as pl

from nightgauge.derive import CONTEXT, Derived, derive_vessel
from nightgauge.field.calendar import day_bounds, midnights
from nightgauge.field.settings import Field, Vessel
from nightgauge.pipeline.judging import HISTORY
from nightgauge.vocabulary.frames import (
    DUMP_CYCLES,
    SIGNAL_HOURS,
    TIME,
    VESSEL_DAYS,
    VESSEL_HOURS,
    WELL_TESTS,
)

NAMES = ("cycles", "hours", "days", "signal_hours", "tests")
_FRAMES = (DUMP_CYCLES, VESSEL_HOURS, VESSEL_DAYS, SIGNAL_HOURS, WELL_TESTS)
_BEGINS = ("opened_utc", "hour_utc", "day", "hour_utc", "start_utc")
_TOLD = "told_utc"
"""Night whose own day the row belongs to, as told then; null for final rows."""


@dataclass(frozen=True)
class Nights:
    """The nights of a fleet, in turn, and the first midnight with data."""

    start: datetime
    untils: tuple[datetime, ...]


def nights_of(field: Field, first: datetime, last: datetime) -> Nights:
    """Return every night from the end of the first day with data to the last midnight of the data."""
    start = day_bounds(field.zone, first.astimezone(field.zone).date())[0]
    return Nights(start, tuple(m for m in midnights(field.zone, start, last) if m > start))


def derive_nights(field: Field, vessel: Vessel, samples: pl.DataFrame, nights: Nights) -> Derived:
    """Return the vessel's final rows together with those of each night's own day; column told_utc tells them apart."""
    first = samples["time_utc"].min()
    first_night = nights.untils[0]
    begins = nights.start if isinstance(first, datetime) and first < first_night else first_night
    end = nights.untils[-1]
    final = derive_vessel(vessel, field, samples, begins, end, VESSEL_DAYS.empty())
    parts = [_marked(final, None)]
    for day, until in pairwise((nights.start, *nights.untils)):
        if day >= begins:
            shown = samples.filter((pl.col("time_utc") >= day - CONTEXT) & (pl.col("time_utc") < until))
            earlier = final.days.filter(pl.col("day") < _date(field, day))
            parts.append(_marked(derive_vessel(vessel, field, shown, day, until, earlier), until))
    return Derived(**{name: pl.concat([getattr(part, name) for part in parts]) for name in NAMES})


def _marked(derived: Derived, until: datetime | None) -> Derived:
    mark = pl.lit(until, dtype=TIME).alias(_TOLD)
    return Derived(**{name: getattr(derived, name).with_columns(mark) for name in NAMES})


def _date(field: Field, midnight: datetime) -> date:
    return midnight.astimezone(field.zone).date()


def as_of(derived: Derived, field: Field, nights: Nights, number: int) -> Derived:
    """Return the rows that the database holds on the night of this number, as far back as a night looks."""
    until = nights.untils[number]
    day = nights.untils[number - 1] if number else nights.start
    oldest = until - HISTORY
    shown = {}
    for name, begins, frame in zip(NAMES, _BEGINS, _FRAMES, strict=True):
        edges = (_date(field, oldest), _date(field, day)) if begins == "day" else (oldest, day)
        is_final = pl.col(_TOLD).is_null() & (pl.col(begins) >= edges[0]) & (pl.col(begins) < edges[1])
        rows = getattr(derived, name).filter(is_final | (pl.col(_TOLD) == until)).drop(_TOLD)
        shown[name] = rows.sort(frame.order, nulls_last=True, maintain_order=True)
    return Derived(**shown)


def final(derived: Derived) -> Derived:
    """Return the rows as the last night left them."""
    is_final = pl.col(_TOLD).is_null()
    return Derived(**{name: getattr(derived, name).filter(is_final).drop(_TOLD) for name in NAMES})


def save(derived: Derived, home: Path, place: int) -> None:
    """Keep a vessel's rows; the last file's presence says that all are there."""
    for name in NAMES:
        part = home / f"{place:03d}-{name}.part"
        getattr(derived, name).write_parquet(part)
        part.replace(part.with_suffix(".parquet"))


def load(home: Path, place: int) -> Derived:
    """Return a vessel's rows as kept."""
    return Derived(**{name: pl.read_parquet(home / f"{place:03d}-{name}.parquet") for name in NAMES})


def is_saved(home: Path, place: int) -> bool:
    """Return whether a vessel's rows are kept."""
    return (home / f"{place:03d}-{NAMES[-1]}.parquet").is_file()
