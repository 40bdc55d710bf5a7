"""Rows that are kept out: for which reason, and how the quarantine tells of them."""

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.streams.batch import Batch
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE

HEADER_AGAIN = "header line again"
NO_TAG = "empty tag"
UNREADABLE_STAMP = "unreadable time stamp"
MISSING_HOUR = "time stamp in the hour that the clock change left out"
TOO_EARLY = "time stamp before 1990"
TOO_LATE = "time stamp later than the clock at reading plus one day"
UNKNOWN_TAG = "tag is not in tags.csv"
NOT_VALID_THEN = "tag is in tags.csv, but not valid at that time"
NO_VALUE = "no value"
NOT_A_NUMBER = "text where a number is due"
NOT_A_STATE = "neither 0 nor 1 nor a state named in tags.csv"
NOT_FINITE = "NaN or infinite"
WRONG_LENGTH = "wrong number of fields"
STRAY_QUOTE = "quotes do not match"

_SCHEMA = pl.Schema(EXPORT_QUARANTINE.schema)

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


class Reasons:
    """Why rows are kept out; the first reason found stands."""

    def __init__(self, count: int) -> None:
        self._code = np.zeros(count, np.uint8)
        self._texts: list[str | None] = [None]

    def mark(self, mask: Bools, reason: str, rows: Integers | None = None) -> None:
        """Keep the rows of a mask out, of all rows or of the given ones, unless they are kept out already."""
        if not mask.any():
            return
        if reason not in self._texts:
            self._texts.append(reason)
        marked = np.flatnonzero(mask) if rows is None else rows[mask]
        self._code[marked[self._code[marked] == 0]] = self._texts.index(reason)

    def open_rows(self) -> Integers:
        """Return the rows that nothing keeps out so far."""
        return np.flatnonzero(self._code == 0)

    def texts(self) -> pl.Series:
        """Return the reason of each row, null where nothing keeps it out."""
        return pl.Series(self._texts, dtype=pl.String).gather(self._code)


def one_by_one(rows: pl.DataFrame, reasons: pl.Series, batch: Batch) -> pl.DataFrame:
    """Return EXPORT_QUARANTINE with one row for each row that has a reason."""
    tag = pl.col("tag").str.strip_chars()
    return (
        rows.with_columns(reason=reasons)
        .filter(pl.col("reason").is_not_null())
        .select(
            row_number="row",
            rows=pl.lit(1, pl.Int64),
            reason="reason",
            raw_text=batch.raw_text(),
            tag=pl.when(tag != "").then(tag),
        )
        .cast(_SCHEMA)
    )


def by_tag(rows: pl.DataFrame, reason: str, batch: Batch) -> pl.DataFrame:
    """Return EXPORT_QUARANTINE with one row for each tag: the first row it stands in, and how many there are."""
    first = rows.select("row", tag=pl.col("tag").str.strip_chars(), raw_text=batch.raw_text())
    return (
        first.group_by("tag", maintain_order=True)
        .agg(row_number=pl.col("row").first(), rows=pl.len(), raw_text=pl.col("raw_text").first())
        .select("row_number", "rows", pl.lit(reason).alias("reason"), "raw_text", "tag")
        .cast(_SCHEMA)
    )


def told_once(parts: list[pl.DataFrame]) -> pl.DataFrame:
    """Return EXPORT_QUARANTINE rows by tag of several batches as one row for each tag and reason."""
    return (
        pl.concat([EXPORT_QUARANTINE.empty(), *parts])
        .group_by("tag", "reason", maintain_order=True)
        .agg(pl.col("row_number").first(), pl.col("rows").sum(), pl.col("raw_text").first())
        .select(*_SCHEMA)
    )
