"""Frames from the columns of many days at once: one frame is far cheaper to build than one per day."""

from collections.abc import Mapping, Sequence
from typing import cast

import numpy as np
import polars as pl

from nightgauge.vocabulary.frames import TIME, Column, Frame

NO_TIME = -1
"""Stands for no time in a column of microseconds."""

Table = Mapping[str, object]
"""Columns by name: arrays of floats (NaN is null), of microseconds (`NO_TIME` is null), or lists of texts and dates."""


def rows_of(table: Table) -> int:
    """Return the number of rows."""
    return len(cast("Sequence[object]", next(iter(table.values()))))


def build(frame: Frame, parts: Sequence[Table]) -> pl.DataFrame:
    """Return a frame of the rows of all parts; a column that a part lacks is null there."""
    parts = [part for part in parts if rows_of(part)]
    if not parts:
        return frame.empty()
    return frame.build(pl.DataFrame([_series(column, parts) for column in frame.columns]))


def _series(column: Column, parts: Sequence[Table]) -> pl.Series:
    given = [part.get(column.name) for part in parts]
    if all(one is None for one in given):
        return pl.Series(column.name, [None] * sum(map(rows_of, parts)), dtype=column.dtype)
    if column.dtype in (pl.String, pl.Date):
        lists = [one if one is not None else [None] * rows_of(part) for one, part in zip(given, parts, strict=True)]
        return pl.Series(column.name, [v for one in lists for v in cast("Sequence[object]", one)], dtype=column.dtype)
    if column.dtype == TIME:
        series = pl.Series(column.name, np.concatenate([np.asarray(one, dtype=np.int64) for one in given]))
        return series.to_frame().select(pl.when(pl.first() != NO_TIME).then(pl.first())).to_series().cast(TIME)
    numbers = [np.full(rows_of(p), np.nan) if one is None else one for one, p in zip(given, parts, strict=True)]
    values = np.concatenate([np.asarray(one, dtype=np.float64) for one in numbers])
    return pl.Series(column.name, values, nan_to_null=True).cast(column.dtype)
