"""Rows of an export in one form, whatever file they came from."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.streams.stamps import Stamps
from nightgauge.streams.words import Words

RAW_LENGTH = 200
"""Characters of a row that the quarantine keeps. Fixed by the quarantine table."""

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Batch:
    """Some rows of one export.

    Rows of one tag stand in the order of the file; those of different tags do where `place` is None.
    """

    row: Integers
    """(n,) Number in the file."""
    tag: Words
    stamps: Stamps
    number: pl.Series
    """(n,) Float64, null where the value is no plain number."""
    quality: Words | None
    """None where the export has none."""
    written: Callable[[Integers], pl.DataFrame]
    """Some rows as they were written: columns `tag`, `stamp`, `text` (the value; null where the number is all there
    is) and, where the export has one, `quality`. Few rows need it, so it is found for those only."""
    raw: tuple[str, ...]
    """Columns that make up the raw text, in the order of the file."""
    separator: str
    time_header: str
    place: Integers | None = None
    """(n,) Order of the file, where the rows stand in another."""

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self.row)

    def take(self, rows: Integers) -> "Batch":
        """Return some of the rows."""
        return replace(
            self,
            row=self.row[rows],
            tag=self.tag.take(rows),
            stamps=self.stamps.take(rows),
            number=self.number.gather(rows),
            quality=None if self.quality is None else self.quality.take(rows),
            written=lambda places: self.written(rows[places]),
            place=None if self.place is None else self.place[rows],
        )

    def headers(self) -> Bools | None:
        """Return the rows whose stamp is the header of the stamps, for exports were joined there; None without any."""
        header = self.time_header.lower()
        if not header or self.stamps.is_read.all():
            return None
        unread = np.flatnonzero(~self.stamps.is_read)
        stamp = self.written(unread)["stamp"].cast(pl.String).fill_null("").str.strip_chars().str.to_lowercase()
        is_header = np.zeros(len(self), np.bool_)
        is_header[unread[(stamp == header).to_numpy()]] = True
        return is_header if is_header.any() else None

    def raw_text(self, rows: Integers) -> pl.Series:
        """Return what the quarantine shows of some rows."""
        written = self.written(rows).with_columns(number=self.number.gather(rows))
        value = pl.coalesce(pl.col("text"), pl.col("number").cast(pl.String))
        pieces = [value if name == "text" else pl.col(name).cast(pl.String) for name in self.raw]
        joined = pl.concat_str([piece.fill_null("") for piece in pieces], separator=self.separator)
        return written.select(raw_text=joined.str.head(RAW_LENGTH))["raw_text"]

    def texts(self, rows: Integers) -> pl.Series:
        """Return the values of some rows as text, whole numbers without a point, null where there is none."""
        written = self.written(rows).with_columns(number=self.number.gather(rows))
        whole = pl.col("number").cast(pl.Int64, strict=False)
        number = (
            pl.when(pl.col("number") == whole.cast(pl.Float64))
            .then(whole.cast(pl.String))
            .otherwise(pl.col("number").cast(pl.String))
        )
        text = pl.coalesce("text", number).str.strip_chars()
        return written.select(text=pl.when(text == "").then(None).otherwise(text))["text"]
