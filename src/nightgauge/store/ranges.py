"""Stretches of time whose samples or settings changed, per vessel: what must be derived again.

A range runs from its first changed time up to, not including, `to_utc`.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

import duckdb
import numpy as np
import polars as pl

from nightgauge.store.bookmarks import DERIVE_FROM, bookmark
from nightgauge.store.schema import CHANGED_RANGES
from nightgauge.vocabulary.frames import TIME

ONE_RANGE_GAP = timedelta(days=1)
"""Changes that lie no further apart are one range. Days are derived whole, so a smaller gap saves nothing."""
TICK = timedelta(microseconds=1)
"""The resolution of stored times."""


def of_samples(keys: pl.DataFrame, vessels: pl.DataFrame) -> pl.DataFrame:
    """Return one small range per vessel and UTC day of changed samples, to be put together by `together`.

    Parameters
    ----------
    keys : DataFrame
        Columns tag_id, time_utc: one row per changed sample, quickest where those of a tag lie together.
    vessels : DataFrame
        Columns tag_id, vessel.

    Returns
    -------
    DataFrame
        CHANGED_RANGES columns, in no order.

    """
    if keys.is_empty():
        return CHANGED_RANGES.empty()
    tag, time_us = keys["tag_id"].to_numpy(), keys["time_utc"].to_physical().to_numpy()
    day = time_us // (timedelta(days=1) // TICK)
    heads = np.concatenate(([0], np.flatnonzero((tag[1:] != tag[:-1]) | (day[1:] != day[:-1])) + 1))
    kind = keys.schema["time_utc"]
    runs = pl.DataFrame(
        {
            "tag_id": tag[heads],
            "day": day[heads],
            "from_utc": pl.Series(np.minimum.reduceat(time_us, heads)).cast(kind),
            "to_utc": pl.Series(np.maximum.reduceat(time_us, heads)).cast(kind),
        }
    )
    return (
        runs.join(vessels, on="tag_id")
        .group_by("vessel", "day")
        .agg(from_utc=pl.col("from_utc").min(), to_utc=pl.col("to_utc").max() + TICK)
        .drop("day")
    )


def together(ranges: pl.DataFrame) -> pl.DataFrame:
    """Return the ranges with those that overlap or lie within `ONE_RANGE_GAP` put together."""
    ordered = ranges.sort("vessel", "from_utc", "to_utc")
    reached = pl.col("to_utc").cum_max().shift().over("vessel")
    begins = (pl.col("from_utc") - reached > ONE_RANGE_GAP).fill_null(value=True)
    joined = (
        ordered.with_columns(island=begins.cum_sum())
        .group_by("vessel", "island")
        .agg(pl.col("from_utc").min(), pl.col("to_utc").max())
        .drop("island")
    )
    return CHANGED_RANGES.build(joined)


def without(ranges: pl.DataFrame, start: datetime, end: datetime) -> pl.DataFrame:
    """Return what is left of the ranges when [start, end) has been dealt with."""
    before = ranges.with_columns(
        pl.min_horizontal("to_utc", pl.lit(start).cast(ranges["to_utc"].dtype)).alias("to_utc")
    )
    after = ranges.with_columns(
        pl.max_horizontal("from_utc", pl.lit(end).cast(ranges["from_utc"].dtype)).alias("from_utc")
    )
    return CHANGED_RANGES.build(pl.concat([before, after]).filter(pl.col("from_utc") < pl.col("to_utc")))


def stored(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Return the ranges that are still owed, CHANGED_RANGES in its order; what cannot be derived is not owed."""
    owed = CHANGED_RANGES.build(con.sql("SELECT vessel, from_utc, to_utc FROM changed_range").pl())
    start = bookmark(con, DERIVE_FROM)
    if start is None:
        return owed
    possible = owed.filter(pl.col("to_utc") > start)
    return possible.with_columns(from_utc=pl.max_horizontal("from_utc", pl.lit(start).cast(TIME)))


def forget_underivable(con: duckdb.DuckDBPyConnection) -> None:
    """Take out what can no longer be derived."""
    _replace(con, stored(con))


def add(con: duckdb.DuckDBPyConnection, ranges: pl.DataFrame) -> None:
    """Add ranges to those that are owed."""
    if not ranges.is_empty():
        _replace(con, together(pl.concat([stored(con), CHANGED_RANGES.build(ranges)])))


def clear(con: duckdb.DuckDBPyConnection, done: Sequence[tuple[str, datetime, datetime]]) -> None:
    """Take stretches (vessel, start, end) out of what is owed."""
    owed = stored(con)
    for vessel, start, end in done:
        mine = pl.col("vessel") == vessel
        if owed.filter(mine).height:
            owed = pl.concat([owed.filter(~mine), without(owed.filter(mine), start, end)])
    _replace(con, owed)


def _replace(con: duckdb.DuckDBPyConnection, ranges: pl.DataFrame) -> None:
    con.execute("DELETE FROM changed_range")
    con.register("ranges", ranges)
    con.execute("INSERT INTO changed_range BY NAME SELECT * FROM ranges ORDER BY vessel, from_utc")
    con.unregister("ranges")
