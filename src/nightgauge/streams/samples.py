"""Rows that become samples, from the batches of a file to one row per tag and time.

Rows are held as a few small arrays, for a long export has tens of millions; each batch is sorted by tag while it is
in the processor's cache, and at the end of the file its runs go straight to where they belong.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.streams.side_by_side import side_by_side
from nightgauge.vocabulary.exports import EXPORT_SAMPLES
from nightgauge.vocabulary.flags import FLAG

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Number = TypeVar("Number", bound=np.generic)

KEY = ["tag_id", "time_utc"]
SAID = ["value", "text_value", "flag"]
NO_TEXTS = pl.DataFrame(schema={"place": pl.Int64, "text_value": pl.String})


@dataclass(frozen=True)
class Rows:
    """Rows of known tags of one batch, those of one tag in the order of the file.

    Arrays of one value throughout may be broadcast: they take no memory.
    """

    tag: npt.NDArray[np.integer]
    """(n,) Rank of the tag among the tags of the field by their numbers in the store."""
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
    place: Integers | None = None
    """(n,) Order of the file, where the rows stand in another."""

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self.time_us)

    def take(self, rows: Integers) -> "Rows":
        """Return some of the rows, each once, in their new order."""
        texts = self.texts
        if not texts.is_empty():
            now_at = np.full(len(self), -1)
            now_at[rows] = np.arange(len(rows))
            texts = texts.with_columns(place=pl.Series(now_at).gather(texts["place"])).filter(pl.col("place") >= 0)
        return Rows(
            tag=self.tag[rows],
            time_us=self.time_us[rows],
            value=self.value[rows],
            flag=_taken(self.flag, rows),
            is_local=_taken(self.is_local, rows),
            window=_taken(self.window, rows),
            texts=texts,
            place=None if self.place is None else self.place[rows],
        )


@dataclass(frozen=True)
class TagRuns:
    """The rows of one batch by tag."""

    counts: Integers
    """(n_tags,) Rows of each tag, by rank."""
    rows: Rows

    @staticmethod
    def of(rows: Rows, tags: int) -> "TagRuns":
        """Sort the rows of a batch by tag."""
        counts = np.bincount(rows.tag, minlength=tags)
        if (rows.tag[1:] >= rows.tag[:-1]).all():
            return TagRuns(counts, rows)
        order = np.argsort(rows.tag, kind="stable")  # by radix up to 16 bits
        if rows.place is None and rows.is_local.any():  # only doubled hours need the order of the file
            rows = replace(rows, place=np.arange(len(order)))
        return TagRuns(counts, rows.take(order))

    def in_file_order(self) -> Integers:
        """Return the places of the rows in the order of the file."""
        return np.arange(len(self.rows)) if self.rows.place is None else np.argsort(self.rows.place, kind="stable")

    def with_times(self, time_us: Integers) -> "TagRuns":
        """Return the rows at other times."""
        return replace(self, rows=replace(self.rows, time_us=time_us))


def _taken(array: npt.NDArray[Number], rows: Integers) -> npt.NDArray[Number]:
    return np.broadcast_to(array[0], len(rows)) if array.strides == (0,) else array[rows]


@dataclass(frozen=True)
class Settled:
    """Rows of a file, one per tag and time, and what became of the others."""

    samples: pl.DataFrame
    losers: pl.DataFrame
    rows_repeated: int


def settle(parts: list[TagRuns], tag_ids: npt.NDArray[np.int32]) -> Settled:
    """Return the last word of a file on each tag and time; the parts are used up.

    Parameters
    ----------
    parts : list of TagRuns
        In the order of the file, their doubled hours resolved.
    tag_ids : (n_tags,) int32
        Number of the store of each tag, rising.

    Returns
    -------
    Settled
        Samples and losers (distinct earlier words that differ from the last), sorted by tag and time; and
        how many rows said again what an earlier row had said.

    """
    whole = _Whole.of(parts, len(tag_ids))
    whole.sort_times()
    is_again = whole.is_same_tag(whole.time_us[1:] == whole.time_us[:-1])
    frame = whole.frame(tag_ids)
    if not is_again.any():
        return Settled(frame, EXPORT_SAMPLES.empty(), 0)
    is_last = np.append(~is_again, True)
    is_shared = ~is_last | np.insert(is_again, 0, False)
    shared = frame.filter(pl.Series(is_shared))
    distinct = shared.unique([*KEY, *SAID], keep="first", maintain_order=True)
    last = shared.filter(pl.Series(is_last[is_shared]))
    losers = distinct.join(last, on=[*KEY, *SAID], how="anti", nulls_equal=True, maintain_order="left")
    return Settled(frame.filter(pl.Series(is_last)), losers, shared.height - distinct.height)


@dataclass
class _Whole:
    """All rows of a file by tag and, within a tag, in the order of the file."""

    ends: Integers
    """(n_tags,) Where the rows of each tag end."""
    time_us: Integers
    value: npt.NDArray[np.float64]
    flag: npt.NDArray[np.uint8]
    texts: pl.DataFrame

    @staticmethod
    def of(parts: list[TagRuns], tags: int) -> "_Whole":
        counts = np.array([part.counts for part in parts], np.int64).reshape(len(parts), tags)
        by_tag = counts.T.ravel()
        starts = (np.cumsum(by_tag) - by_tag).reshape(tags, len(parts)).T
        total = int(by_tag.sum())
        whole = _Whole(
            np.cumsum(counts.sum(axis=0)),
            np.empty(total, np.int64),
            np.empty(total, np.float64),
            _one_flag(parts, total),
            NO_TEXTS,
        )
        places = (parts.pop(0) for _ in range(len(parts)))  # a part's memory is free once its rows have moved
        moves = zip(places, starts, strict=True)
        whole.texts = pl.concat([NO_TEXTS, *side_by_side(whole._take_over, moves)])
        return whole

    def _take_over(self, move: tuple[TagRuns, Integers]) -> pl.DataFrame:
        """Put a part's rows where they belong; return its texts with their new places."""
        part, starts = move
        rows, counts = part.rows, part.counts
        target = np.repeat(starts - (np.cumsum(counts) - counts), counts)
        target += np.arange(len(rows))
        self.time_us[target] = rows.time_us
        self.value[target] = rows.value
        if self.flag.strides != (0,):
            self.flag[target] = rows.flag
        return rows.texts.with_columns(place=pl.Series(target).gather(rows.texts["place"]))

    def is_same_tag(self, steps: Bools) -> Bools:
        """Take out of (n - 1,) marks of steps from row to row those from one tag to the next."""
        between = self.ends[(self.ends > 0) & (self.ends < len(self.time_us))] - 1
        steps[between] = False
        return steps

    def sort_times(self) -> None:
        """Sort the rows of those tags whose rows do not stand in time order; equal times keep the file's order."""
        is_back = self.is_same_tag(self.time_us[1:] < self.time_us[:-1])
        if not is_back.any():
            return
        strays = np.unique(np.searchsorted(self.ends, np.flatnonzero(is_back), side="right"))
        starts = np.concatenate(([0], self.ends[:-1]))[strays]
        lengths = self.ends[strays] - starts
        firsts = np.cumsum(lengths) - lengths
        rows = np.arange(int(lengths.sum())) + np.repeat(starts - firsts, lengths)
        by_time = rows[np.argsort(self.time_us[rows], kind="stable")]
        tag = np.searchsorted(starts, by_time, side="right").astype(np.min_scalar_type(len(strays)))
        order = by_time[np.argsort(tag, kind="stable")]
        for array in (self.time_us, self.value, self.flag):
            if array.strides != (0,):
                array[rows] = array[order]
        if not self.texts.is_empty():
            now_at = pl.DataFrame({"place": order, "now_at": rows})
            moved = self.texts.join(now_at, on="place", how="left").with_columns(
                pl.coalesce("now_at", "place").alias("place")
            )
            self.texts = moved.select("place", "text_value")

    def frame(self, tag_ids: npt.NDArray[np.int32]) -> pl.DataFrame:
        """Return the rows as EXPORT_SAMPLES."""
        value = pl.Series(self.value)
        frame = pl.DataFrame(
            {
                "tag_id": pl.Series(np.repeat(tag_ids, np.diff(self.ends, prepend=0)), dtype=pl.Int32),
                "time_utc": pl.Series(self.time_us).cast(EXPORT_SAMPLES.schema["time_utc"]),
                "value": value.fill_nan(None) if value.is_nan().any() else value,
                "text_value": _spread(self.texts.sort("place"), len(value)),
                "flag": pl.Series(self.flag).cat.to(FLAG),
            }
        )
        return EXPORT_SAMPLES.check(frame)


def _one_flag(parts: list[TagRuns], total: int) -> npt.NDArray[np.uint8]:
    """Return room for the flags of all rows; where the parts have but one and the same, that is all it needs."""
    flags = [part.rows.flag for part in parts if len(part.rows)]
    if flags and all(flag.strides == (0,) and flag[0] == flags[0][0] for flag in flags):
        return np.broadcast_to(flags[0][0], total)
    return np.empty(total, np.uint8)


def _spread(texts: pl.DataFrame, count: int) -> pl.Series:
    """Return (count,) texts at their places, null elsewhere; they stand in few runs, one for each text signal."""
    place = texts["place"].to_numpy()
    begins = np.flatnonzero(np.diff(place, prepend=-2) != 1)
    nothing = pl.Series("text_value", [None], dtype=pl.String)
    pieces, done = [nothing.clear()], 0
    ends = [*begins[1:].tolist(), len(place)][: len(begins)]
    for begin, end in zip(begins.tolist(), ends, strict=True):
        pieces += [nothing.new_from_index(0, int(place[begin]) - done), texts["text_value"][begin:end]]
        done = int(place[begin]) + end - begin
    return pl.concat([*pieces, nothing.new_from_index(0, count - done)])


def flag_places(flags: Sequence[str]) -> npt.NDArray[np.uint8]:
    """Return the place of each flag among the flags, worst last."""
    names = FLAG.categories.to_list()
    return np.array([names.index(flag) for flag in flags], np.uint8)
