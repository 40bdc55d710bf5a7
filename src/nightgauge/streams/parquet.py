"""Parquet exports to batches: typed columns, long or wide."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq

from nightgauge.streams.content import refusal
from nightgauge.streams.headers import Layout, layout_of
from nightgauge.streams.stamps import Stamps, read_in_runs, read_numbers, read_times
from nightgauge.streams.words import Words
from nightgauge.vocabulary.exports import Export

BATCH_CELLS = 4_000_000
"""Cells read at a time. House choice: about 100 MB as columns."""
MAX_CELLS_PER_BYTE = 1000
"""Cells per byte of file beyond which a file is refused. House choice: exports hold one cell in a byte or more;
runs of one value pack without limit."""
CELLS_COUNT_FROM = 50_000_000
"""Cells from which that is looked at: a short file of equal rows is no harm."""


@dataclass(frozen=True)
class TypedTable:
    """A piece of a Parquet export."""

    layout: Layout
    batch: pa.RecordBatch
    row: npt.NDArray[np.int64]
    """Number of each row, from 1."""

    def column(self, place: int) -> pl.Series:
        """Return a column as number, truth value, time or text."""
        return _series(self.batch.column(place))

    def words(self, place: int) -> Words:
        """Return a column as texts of which few differ; those the file itself keeps so are taken as they are."""
        array = self.batch.column(place)
        if not pa.types.is_dictionary(array.type) or _is_foreign(array.dictionary):
            return Words.of(self.column(place))
        texts = pl.Series(pl.from_arrow(array.dictionary), dtype=pl.String).fill_null("")
        if array.null_count:
            array, texts = array.indices.fill_null(len(texts)), pl.concat([texts, pl.Series([""])])
            return Words(array.to_numpy(), texts)
        return Words(array.indices.to_numpy(), texts)


def tables(export: Export, known_tags: frozenset[str]) -> Iterator[TypedTable]:
    """Yield a Parquet export piece by piece.

    Raises
    ------
    SourceError
        If it is cut, damaged, has no recognisable columns, or holds cells beyond the guard of this module.

    """
    try:
        with pq.ParquetFile(export.path) as file:
            layout = _layout(export, file, known_tags)
            _refuse_bomb(export, file)
            few = _texts_of_few(layout, file.schema_arrow)
        with pq.ParquetFile(export.path, read_dictionary=few, page_checksum_verification=True) as file:
            first = 1
            width = max(len(file.schema_arrow.names), 1)
            for batch in file.iter_batches(batch_size=max(BATCH_CELLS // width, 1)):
                yield TypedTable(layout, batch, np.arange(first, first + batch.num_rows))
                first += batch.num_rows
    except (pa.ArrowException, OSError, EOFError, NotImplementedError) as error:
        found = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise refusal(export, "reading it as Parquet", found, "a whole Parquet file") from error


def _layout(export: Export, file: pq.ParquetFile, known_tags: frozenset[str]) -> Layout:
    names = file.schema_arrow.names
    layout = layout_of(names, known_tags)
    if layout is None:
        raise refusal(
            export,
            "its columns",
            ", ".join(names)[:80] or "none",
            "columns for tag, time stamp and value, or a time stamp column and one column per tag",
            "name the columns, or keep the file out of `streams`",
        )
    return layout


def _refuse_bomb(export: Export, file: pq.ParquetFile) -> None:
    cells = file.metadata.num_rows * file.metadata.num_columns
    if cells > CELLS_COUNT_FROM and cells > MAX_CELLS_PER_BYTE * export.size_bytes:
        raise refusal(
            export,
            "its size",
            f"{cells} cells in {export.size_bytes} bytes",
            f"at most {MAX_CELLS_PER_BYTE} cells per byte",
            "split the export into shorter times",
        )


def _texts_of_few(layout: Layout, schema: pa.Schema) -> list[str]:
    """Return the columns of tags and quality that are texts."""
    places = [place for place in (layout.tag, layout.quality) if place is not None]
    kinds = [(schema.names[place], schema.types[place]) for place in places]
    return [name for name, kind in kinds if pa.types.is_string(kind) or pa.types.is_large_string(kind)]


def _series(array: pa.Array) -> pl.Series:
    """Return a column as number, truth value, time or text; types of no export come as the text of their values."""
    if pa.types.is_dictionary(array.type):
        array = array.dictionary_decode()
    series = None if _is_foreign(array) else pl.from_arrow(array)
    if not isinstance(series, pl.Series):
        return pl.Series([_text_of(value) for value in array], dtype=pl.String)
    return series.cast(pl.Float64) if series.dtype.is_decimal() else series


def _is_foreign(array: pa.Array) -> bool:
    kind = array.type
    is_number = pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)
    if is_number or pa.types.is_boolean(kind) or pa.types.is_timestamp(kind) or pa.types.is_date(kind):
        return False
    if not (pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind)):
        return True
    try:
        array.validate(full=True)
    except pa.ArrowInvalid:  # bytes that are not UTF-8
        return True
    return False


def _text_of(value: pa.Scalar) -> str | None:
    if not value.is_valid:
        return None
    if hasattr(value, "as_buffer"):
        return bytes(value.as_buffer()).decode("utf-8", errors="replace")
    return str(value)


def stamps_of(column: pl.Series, time_format: str | None) -> Stamps:
    """Return the times of a typed column: times, dates, epoch numbers or texts."""
    if column.dtype in (pl.Date, pl.Datetime):
        return read_times(column)
    if column.dtype.is_numeric():
        return read_numbers(column)
    if column.dtype == pl.String:
        return read_in_runs(column.fill_null(""), time_format)
    return Stamps.unread(len(column))


def number_and_text(column: pl.Series) -> tuple[pl.Series, pl.Series | None]:
    """Return a column as numbers (null where not plain) and as texts (None where the numbers are all there is)."""
    if column.dtype.is_numeric():
        return column.cast(pl.Float64), None
    texts = column if column.dtype == pl.String else column.cast(pl.String)
    return texts.cast(pl.Float64, strict=False), texts
