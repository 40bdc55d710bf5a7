"""Rows that become samples, from the batches of a file to one row per tag and time.

Rows are held as a few small arrays: a long export has tens of millions.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.vocabulary.exports import EXPORT_SAMPLES
from nightgauge.vocabulary.flags import FLAG

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

KEY = ["tag_id", "time_utc"]
SAID = ["value", "text_value", "flag"]


@dataclass(frozen=True)
class Rows:
    """Rows of known tags in the order of the file."""

    index: npt.NDArray[np.int32]
    """Row of the tag table."""
    time_us: Integers
    """UTC, of the first pass in a doubled hour. [us]"""
    value: npt.NDArray[np.float64]
    """NaN where there is none."""
    flag: npt.NDArray[np.uint8]
    """Place among the flags."""
    is_local: Bools
    """The stamp was of the wall clock."""
    window: npt.NDArray[np.int16]
    """Number of the doubled hour the wall-clock stamp lies in, or -1."""
    texts: pl.DataFrame
    """Columns `place` (which row) and `text_value`, for rows of text signals only."""

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self.index)


_ARRAYS = ("index", "time_us", "value", "flag", "is_local", "window")
NO_TEXTS = pl.DataFrame(schema={"place": pl.Int64, "text_value": pl.String})


def no_rows() -> Rows:
    """Return no rows."""
    return Rows(
        np.zeros(0, np.int32),
        np.zeros(0, np.int64),
        np.zeros(0, np.float64),
        np.zeros(0, np.uint8),
        np.zeros(0, np.bool_),
        np.zeros(0, np.int16),
        NO_TEXTS,
    )


def joined(parts: list[Rows]) -> Rows:
    """Return the rows of several batches as one, and empty the list so that their memory is free."""
    starts = np.cumsum([0, *(len(part) for part in parts)]).tolist()
    texts = [part.texts.with_columns(pl.col("place") + start) for part, start in zip(parts, starts, strict=False)]
    columns = {name: [getattr(part, name) for part in parts] for name in _ARRAYS}
    parts.clear()
    whole = {}
    for name in _ARRAYS:
        whole[name] = np.concatenate(columns.pop(name))
    return Rows(**whole, texts=pl.concat(texts))


@dataclass(frozen=True)
class Settled:
    """Rows of a file, one per tag and time, and what became of the others."""

    samples: pl.DataFrame
    losers: pl.DataFrame
    rows_repeated: int


def settle(rows: Rows, tag_ids: npt.NDArray[np.int32]) -> Settled:
    """Return the last word of a file on each tag and time.

    Parameters
    ----------
    rows : Rows
        In the order of the file, their doubled hours resolved.
    tag_ids : (n_tags,) int32
        Number of the store for each row of the tag table.

    Returns
    -------
    Settled
        Samples and losers (distinct earlier words that differ from the last), sorted by tag and time; and
        how many rows said again what an earlier row had said.

    """
    order = _order(rows, tag_ids)
    placed = _Placed(order, tag_ids[rows.index[order]], rows.time_us[order])
    is_again = (placed.tag_id[1:] == placed.tag_id[:-1]) & (placed.time_us[1:] == placed.time_us[:-1])
    if not is_again.any():
        return Settled(_frame(rows, placed), EXPORT_SAMPLES.empty(), 0)
    is_last = np.append(~is_again, True)
    is_shared = ~is_last | np.insert(is_again, 0, False)
    shared = _frame(rows, _Placed(order[is_shared], placed.tag_id[is_shared], placed.time_us[is_shared]))
    distinct = shared.unique([*KEY, *SAID], keep="first", maintain_order=True)
    last = shared.filter(pl.Series(is_last[is_shared]))
    losers = distinct.join(last, on=[*KEY, *SAID], how="anti", nulls_equal=True, maintain_order="left")
    del order
    placed.keep(is_last)
    return Settled(_frame(rows, placed), losers, shared.height - distinct.height)


@dataclass
class _Placed:
    """Rows in order of tag and time."""

    order: Integers
    """Place of each in the file."""
    tag_id: npt.NDArray[np.int32]
    time_us: Integers

    def keep(self, chosen: Bools) -> None:
        """Drop the other rows, one array after the other: two copies of all would be the peak of memory."""
        self.order = self.order[chosen]
        self.tag_id = self.tag_id[chosen]
        self.time_us = self.time_us[chosen]


def _order(rows: Rows, tag_ids: npt.NDArray[np.int32]) -> Integers:
    """Return the rows by tag number and time, those of the same tag and time in the order of the file."""
    rank = np.empty(len(tag_ids), np.min_scalar_type(max(len(tag_ids), 1)))  # numpy sorts up to 16 bits by radix
    rank[np.argsort(tag_ids, kind="stable")] = np.arange(len(tag_ids))
    key = rank[rows.index]
    order = np.argsort(key, kind="stable")
    if _is_sorted(key[order], rows.time_us[order]):
        return order
    by_time = np.argsort(rows.time_us, kind="stable")
    return by_time[np.argsort(key[by_time], kind="stable")]


def _is_sorted(key: npt.NDArray[np.generic], time_us: Integers) -> bool:
    return not ((key[1:] == key[:-1]) & (time_us[1:] < time_us[:-1])).any()


def _frame(rows: Rows, placed: _Placed) -> pl.DataFrame:
    value = pl.Series(rows.value[placed.order])
    frame = pl.DataFrame(
        {
            "tag_id": pl.Series(placed.tag_id, dtype=pl.Int32),
            "time_utc": pl.Series(placed.time_us).cast(EXPORT_SAMPLES.schema["time_utc"]),
            "value": value.fill_nan(None) if value.is_nan().any() else value,
            "text_value": _texts(rows, placed.order),
            "flag": pl.Series(rows.flag[placed.order]).cat.to(FLAG),
        }
    )
    return EXPORT_SAMPLES.check(frame)


def _texts(rows: Rows, places: Integers) -> pl.Series:
    if rows.texts.is_empty():
        return pl.Series([None], dtype=pl.String).new_from_index(0, len(places))
    frame = pl.DataFrame({"place": pl.Series(places)})
    return frame.join(rows.texts, on="place", how="left", maintain_order="left")["text_value"]


def flag_places(flags: Sequence[str]) -> npt.NDArray[np.uint8]:
    """Return the place of each flag among the flags, worst last."""
    names = FLAG.categories.to_list()
    return np.array([names.index(flag) for flag in flags], np.uint8)
