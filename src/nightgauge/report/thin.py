"""Thinning a trace to the pixels of its chart: the lowest and highest value of each column stay, gaps stay gaps.

A dump or a spike is never lost, because the extreme values of every column of pixels are kept as they
were measured, at their own times.
"""

from datetime import datetime

import polars as pl

POINTS_PER_COLUMN = 3
"""At most a lowest, a highest and a break per column, so columns = pixels / 3 keeps points below pixels."""


def known_runs(samples: pl.DataFrame) -> pl.DataFrame:
    """Return one signal's samples with a run number that changes at every gap.

    Parameters
    ----------
    samples : VESSEL_SAMPLES
        One signal, sorted by time.

    Returns
    -------
    pl.DataFrame
        time_utc, value, run; bad samples and those without a number are left out and break a run.

    """
    silent = pl.col("time_utc").diff().dt.total_microseconds() / 1e6 > pl.col("max_gap_s").shift(1)
    is_known = pl.col("value").is_not_null() & (pl.col("flag") != "bad")
    return (
        samples.select("time_utc", "value", known=is_known, breaks=silent.fill_null(value=False) | ~is_known)
        .with_columns(run=pl.col("breaks").cast(pl.Int64).cum_sum())
        .filter("known")
        .select("time_utc", "value", "run")
    )


def thinned(runs: pl.DataFrame, start: datetime, end: datetime, pixels: int) -> pl.DataFrame:
    """Return a trace with at most ``pixels`` rows that looks the same at that width.

    Parameters
    ----------
    runs : pl.DataFrame
        time_utc, value, run, sorted by time (see `known_runs`).
    start, end : datetime
        Bounds of the chart's time axis.
    pixels : int
        Width of the chart.

    Returns
    -------
    pl.DataFrame
        time_utc, value, sorted by time; a row with null value between two runs breaks the line.

    """
    columns = max(pixels // POINTS_PER_COLUMN, 1)
    width_us = max((end - start).total_seconds() * 1e6 / columns, 1.0)
    since_start = (pl.col("time_utc") - start).dt.total_microseconds()
    inside = runs.filter(pl.col("time_utc").is_between(start, end)).with_columns(
        column=(since_start / width_us).floor().cast(pl.Int64).clip(0, columns - 1)
    )
    value = pl.col("value")
    is_extreme = (value == value.min().over("column")) | (value == value.max().over("column"))
    extremes = inside.filter(is_extreme).unique(["column", "value"], keep="first", maintain_order=True)
    return _with_breaks(extremes)


def _with_breaks(trace: pl.DataFrame) -> pl.DataFrame:
    """Add a null row before every row that starts a new run in a new column."""
    starts = trace.filter(
        (pl.col("run") != pl.col("run").shift(1)).fill_null(value=False)
        & (pl.col("column") != pl.col("column").shift(1)).fill_null(value=False)
    )
    breaks = starts.select(pl.col("time_utc") - pl.duration(microseconds=1), value=pl.lit(None, dtype=pl.Float64))
    return pl.concat([trace.select("time_utc", "value"), breaks]).sort("time_utc", maintain_order=True)
