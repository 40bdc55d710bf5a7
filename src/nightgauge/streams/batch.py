"""Rows of an export in one form, whatever file they came from."""

from dataclasses import dataclass

import polars as pl

RAW_LENGTH = 200
"""Characters of a row that the quarantine keeps. Fixed by the quarantine table."""


@dataclass(frozen=True)
class Batch:
    """Some rows of one export, in the order of the file.

    ``rows`` has columns `row` (number in the file), `tag`, `stamp` (as written), `time_us` (null where that is
    unreadable), `is_local`, `number` (null where the value is no plain number), `text` (the value as written;
    null where the number is all there is) and, where the export has one, `quality`.
    """

    rows: pl.DataFrame
    raw: tuple[str, ...]
    """Columns that make up the raw text, in the order of the file."""
    separator: str
    time_header: str

    def with_header_marks(self) -> pl.DataFrame:
        """Return the rows with `is_header`: their stamp is the header of the stamps, for exports were joined there."""
        rows, header = self.rows, self.time_header.lower()
        if not header or rows["time_us"].null_count() == 0 or rows["stamp"].dtype != pl.String:
            return rows.with_columns(is_header=pl.lit(value=False))
        stamp = pl.col("stamp").fill_null("").str.strip_chars().str.to_lowercase()
        return rows.with_columns(is_header=pl.col("time_us").is_null() & (stamp == header))

    def raw_text(self) -> pl.Expr:
        """Return what the quarantine shows of a row."""
        value = pl.coalesce(pl.col("text"), pl.col("number").cast(pl.String))
        pieces = [value if name == "text" else pl.col(name).cast(pl.String) for name in self.raw]
        return pl.concat_str([piece.fill_null("") for piece in pieces], separator=self.separator).str.head(RAW_LENGTH)


def value_texts(rows: pl.DataFrame) -> pl.Series:
    """Return the values as text, whole numbers without a point, null where there is none."""
    whole = pl.col("number").cast(pl.Int64, strict=False)
    number = (
        pl.when(pl.col("number") == whole.cast(pl.Float64))
        .then(whole.cast(pl.String))
        .otherwise(pl.col("number").cast(pl.String))
    )
    text = pl.coalesce("text", number).str.strip_chars()
    return rows.select(text=pl.when(text == "").then(None).otherwise(text))["text"]
