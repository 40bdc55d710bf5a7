"""Parquet exports to batches: typed columns, long or wide."""

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq

from nightgauge.streams.content import refusal
from nightgauge.streams.headers import Layout, layout_of
from nightgauge.streams.stamps import Stamps, read_numbers, read_texts, read_times
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
    columns: pl.DataFrame
    """Columns `row` (from 1) and `c0`, `c1`, ... by column number."""


def tables(export: Export, known_tags: frozenset[str]) -> Iterator[TypedTable]:
    """Yield a Parquet export piece by piece.

    Raises
    ------
    SourceError
        If it is cut, damaged, has no recognisable columns, or holds cells beyond the guard of this module.

    """
    try:
        with pq.ParquetFile(export.path, page_checksum_verification=True) as file:
            layout = _layout(export, file, known_tags)
            _refuse_bomb(export, file)
            first = 1
            width = max(len(file.schema_arrow.names), 1)
            for batch in file.iter_batches(batch_size=max(BATCH_CELLS // width, 1)):
                yield TypedTable(layout, _frame(batch, first))
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


def _frame(batch: pa.RecordBatch, first: int) -> pl.DataFrame:
    columns = {f"c{i}": _series(batch.column(i)) for i in range(batch.num_columns)}
    row = pl.int_range(first, first + batch.num_rows, dtype=pl.Int64, eager=True)
    return pl.DataFrame({"row": row, **columns})


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
        return read_texts(column.fill_null(""), time_format)
    return Stamps.unread(len(column))


def number_and_text(column: pl.Series) -> tuple[pl.Series, pl.Series]:
    """Return a column as numbers (null where not plain) and as texts (null where the number is all there is)."""
    nothing = pl.Series([None], dtype=pl.String).new_from_index(0, len(column))
    if column.dtype.is_numeric():
        return column.cast(pl.Float64), nothing
    texts = column if column.dtype == pl.String else column.cast(pl.String)
    return texts.cast(pl.Float64, strict=False), texts
