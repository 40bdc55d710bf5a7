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

TOLD_ONE_BY_ONE = 10_000
"""Rows of one export told one by one for each reason; those after them are told together, by tag. House choice: enough
to see what is wrong, and an export of which no row can be read does not fill the database."""

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

    @property
    def is_none(self) -> bool:
        """Return whether nothing is kept out so far."""
        return len(self._texts) == 1

    def open_rows(self) -> Integers:
        """Return the rows that nothing keeps out so far."""
        return np.arange(len(self._code)) if self.is_none else np.flatnonzero(self._code == 0)

    def kept_out(self, reason: str) -> Integers:
        """Return the rows that are kept out for one reason."""
        if reason not in self._texts:
            return np.zeros(0, np.int64)
        return np.flatnonzero(self._code == self._texts.index(reason))

    def kept_out_but_for(self, reason: str) -> tuple[Integers, pl.Series]:
        """Return the rows that are kept out for any other reason, and why."""
        is_out = self._code != 0
        if reason in self._texts:
            is_out &= self._code != self._texts.index(reason)
        rows = np.flatnonzero(is_out)
        return rows, pl.Series(self._texts, dtype=pl.String).gather(self._code[rows])


def one_by_one(batch: Batch, rows: Integers, reasons: pl.Series) -> pl.DataFrame:
    """Return EXPORT_QUARANTINE with one row for each of some rows of a batch, as far as they are told so."""
    if not len(rows):
        return EXPORT_QUARANTINE.empty()
    told = pl.DataFrame({"at": rows, "row_number": batch.row[rows], "rows": 1, "reason": reasons})
    if len(rows) > TOLD_ONE_BY_ONE:  # those told together are so before they are texts
        told = _together(
            told.with_columns(tag=pl.Series(batch.tag.place[rows])).sort("row_number", maintain_order=True)
        )
    chosen = told["at"].to_numpy()
    tag = batch.tag.written(chosen).str.strip_chars()
    return pl.DataFrame(
        {
            "row_number": told["row_number"],
            "rows": told["rows"],
            "reason": told["reason"],
            "raw_text": batch.raw_text(chosen),
            "tag": tag.set(tag == "", None),
        },
        schema=_SCHEMA,
    )


def by_tag(batch: Batch, rows: Integers, reason: str) -> pl.DataFrame:
    """Return EXPORT_QUARANTINE with one row for each tag: the first row it stands in, and how many there are."""
    if not len(rows):
        return EXPORT_QUARANTINE.empty()
    place = batch.tag.place[rows]
    first = np.zeros(len(batch.tag.texts), np.int64)
    first[place[::-1]] = rows[::-1]  # of several, the last that is put stands: the first row
    counts = np.bincount(place, minlength=len(first))
    found = np.flatnonzero(counts)
    found = found[np.argsort(first[found], kind="stable")]
    frame = pl.DataFrame(
        {
            "row_number": batch.row[first[found]],
            "rows": counts[found],
            "reason": pl.Series([reason]).new_from_index(0, len(found)),
            "raw_text": batch.raw_text(first[found]),
            "tag": batch.tag.texts.gather(found).str.strip_chars(),
        },
        schema=_SCHEMA,
    )
    return told_once([frame])


def few(parts: list[pl.DataFrame]) -> pl.DataFrame:
    """Return EXPORT_QUARANTINE rows with those beyond the first of each reason told together, one row for each tag.

    What it returns is the same however the rows are parted, and for parts that are few already.
    """
    whole = pl.concat([EXPORT_QUARANTINE.empty(), *parts]).sort("row_number", maintain_order=True)
    return whole if whole.height <= TOLD_ONE_BY_ONE else _together(whole)


def _together(frame: pl.DataFrame) -> pl.DataFrame:
    """Return rows (reason, tag, rows and others) with those beyond the first of a reason as one for each tag."""
    is_told = frame.select(told=pl.int_range(pl.len()).over("reason") < TOLD_ONE_BY_ONE)["told"]
    others = frame.filter(~is_told).group_by("reason", "tag", maintain_order=True)
    together = others.agg(pl.col("rows").sum(), pl.exclude("rows").first())
    return pl.concat([frame.filter(is_told), together.select(frame.columns)])


def told_once(parts: list[pl.DataFrame]) -> pl.DataFrame:
    """Return EXPORT_QUARANTINE rows by tag of several batches as one row for each tag and reason."""
    return (
        pl.concat([EXPORT_QUARANTINE.empty(), *parts])
        .group_by("tag", "reason", maintain_order=True)
        .agg(pl.col("row_number").first(), pl.col("rows").sum(), pl.col("raw_text").first())
        .select(*_SCHEMA)
    )
