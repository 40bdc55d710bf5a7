"""What any home of the samples can do: the table of the database, or a lake of Parquet beside it.

Both keep the same rows: one per tag and time, the last word of the last file that has one. Whoever uses a home
does not see which one it is.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

import polars as pl

from nightgauge.store.conversions import Remake
from nightgauge.store.schema import CHANGED_RANGES
from nightgauge.vocabulary.frames import TIME, Column, Frame

KEY = ["tag_id", "time_utc"]
"""What a stored sample is known by."""

STRETCHES: Mapping[str, pl.DataType | type[pl.DataType]] = {
    "stretch": pl.Int32, "tag_id": pl.Int32, "from_utc": TIME, "to_utc": TIME,
}  # fmt: skip
"""Stretches to ask about: a number for the answer, the tag, from and to (exclusive); null is open."""


def whole_of(tag_ids: pl.Series) -> pl.DataFrame:
    """Return one stretch of all times for each tag."""
    return pl.DataFrame({"tag_id": tag_ids}).select(
        stretch=pl.int_range(pl.len(), dtype=pl.Int32),
        tag_id="tag_id",
        from_utc=pl.lit(None, TIME),
        to_utc=pl.lit(None, TIME),
    )


EXTENTS = Frame(
    "extent",
    "what is stored of one tag in one stretch; no row where there is nothing",
    ("stretch",),
    (
        Column("stretch", pl.Int32, "", "number of the stretch"),
        Column("samples", pl.Int64, "", "samples in it"),
        Column("bad_samples", pl.Int64, "", "of these: bad"),
        Column("first_utc", TIME, "", "earliest"),
        Column("last_utc", TIME, "", "latest"),
    ),
)


@dataclass(frozen=True)
class Merged:
    """What a merge did, in rows, and which ranges it changed."""

    fresh: int
    overwrote: int
    repeated: int
    uncertain: int
    first: datetime | None
    last: datetime | None
    changes: pl.DataFrame
    """CHANGED_RANGES columns, not yet put together."""

    @staticmethod
    def together(parts: Sequence["Merged"]) -> "Merged":
        """Return what merges of different rows of one file did together."""
        firsts = [part.first for part in parts if part.first is not None]
        lasts = [part.last for part in parts if part.last is not None]
        return Merged(
            fresh=sum(part.fresh for part in parts),
            overwrote=sum(part.overwrote for part in parts),
            repeated=sum(part.repeated for part in parts),
            uncertain=sum(part.uncertain for part in parts),
            first=min(firsts, default=None),
            last=max(lasts, default=None),
            changes=pl.concat([CHANGED_RANGES.empty(), *(part.changes for part in parts)]),
        )


class SampleHome(Protocol):
    """Where samples live. All changes are part of the database's open transaction."""

    def count_same(self, samples: pl.DataFrame) -> int:
        """Return how many of these EXPORT_SAMPLES say what is stored already."""
        ...

    def merge(self, samples: pl.DataFrame, file_id: int) -> Merged:
        """Merge EXPORT_SAMPLES (one row per tag and time) of a file that is later than all stored ones."""
        ...

    def merge_again(self, samples: pl.DataFrame, tag_ids: pl.Series, file_id: int) -> pl.DataFrame:
        """Put a file's samples of these tags in the place of those stored of it; later files' stay.

        Returns
        -------
        DataFrame
            Columns tag_id, time_utc: samples that are new, gone or other than before.

        """
        ...

    def remake(self, change: Remake) -> None:
        """Move and convert stored samples of one tag that lie in the dates of another."""
        ...

    def extents(self, stretches: pl.DataFrame) -> pl.DataFrame:
        """Return what is stored in stretches (columns of `STRETCHES`) as EXTENTS."""
        ...

    def samples_of(self, tag_ids: pl.Series, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the samples of tags in [start, end) as SAMPLES."""
        ...

    def everything(self) -> Iterator[pl.DataFrame]:
        """Yield all samples as SAMPLES, piece by piece."""
        ...

    def put(self, samples: pl.DataFrame) -> None:
        """Add SAMPLES that meet no stored one."""
        ...

    def drop_before(self, time: datetime) -> int:
        """Drop the samples before a midnight of UTC; return how many."""
        ...

    def clear(self) -> None:
        """Drop all samples."""
        ...

    def committed(self) -> None:
        """Do what must wait until the database's transaction is kept."""
        ...
