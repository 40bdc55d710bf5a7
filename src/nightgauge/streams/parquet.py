"""Parquet exports to batches: typed columns, long or wide."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from nightgauge.streams.content import refusal
from nightgauge.streams.headers import MAX_COLUMNS, Layout, layout_of
from nightgauge.streams.stamps import Stamps, read_in_runs, read_numbers, read_times
from nightgauge.streams.words import Words
from nightgauge.vocabulary.exports import Export

BATCH_CELLS = 4_000_000
"""Cells read at a time. House choice: about 100 MB as columns."""
MAX_CELLS_PER_BYTE = 1000
"""Cells per byte of file beyond which a file is refused. House choice: exports hold one cell in a byte or more;
runs of one value pack without limit."""
CELLS_COUNT_FROM = 20_000_000
"""Cells from which that is looked at: a short file of equal rows is no harm."""
MAX_TEXT_BYTES = 256 << 20
"""Texts read at a time beyond which a file is refused: 64 bytes in each cell. A dictionary holds one long text for any
number of cells, so they are counted before they are written out."""
MAX_RATIO = 500
"""Columns over the whole file, both in bytes, beyond which it is refused, as for packed text."""
RATIO_COUNTS_FROM_BYTES = 256 << 20
"""Size of the columns from which the ratio is looked at; the cells of plain numbers are counted above."""

_FIRST_DAY, _END_DAY = -719_162, 2_932_897
"""Days from 1970-01-01 to 0001-01-01 and to 10000-01-01."""


@dataclass(frozen=True)
class TypedTable:
    """A piece of a Parquet export."""

    layout: Layout
    batch: pa.RecordBatch
    types: tuple[pa.DataType, ...]
    """Of the columns of the file."""
    places: tuple[int | None, ...]
    """Where each column of the file stands in the batch, None for those that were not read."""
    row: npt.NDArray[np.int64]
    """Number of each row, from 1."""

    def column(self, place: int) -> pl.Series:
        """Return a column as number, truth value, time or text; one of nested values as the name of its type."""
        found = self.places[place]
        if found is None:
            return pl.Series([str(self.types[place])[:80]], dtype=pl.String).new_from_index(0, len(self.row))
        return _series(self.batch.column(found))

    def words(self, place: int) -> Words:
        """Return a column as texts of which few differ; those the file itself keeps so are taken as they are."""
        found = self.places[place]
        array = None if found is None else self.batch.column(found)
        if array is None or not pa.types.is_dictionary(array.type) or _is_foreign(array.dictionary):
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
            file_names = file.schema_arrow.names
            layout = _layout(export, file_names, known_tags)
            _refuse_bomb(export, file)
            types = tuple(file.schema_arrow.types)
            names, places = _chosen(layout, file.schema_arrow)
        texts = [name for name, kind in zip(file_names, types, strict=True) if name in set(names) and _is_text(kind)]
        with pq.ParquetFile(export.path, read_dictionary=texts, page_checksum_verification=True) as file:
            first = 1
            for batch in file.iter_batches(batch_size=max(BATCH_CELLS // len(names), 1), columns=names):
                _refuse_batch(export, batch, names)
                yield TypedTable(layout, batch, types, places, np.arange(first, first + batch.num_rows))
                first += batch.num_rows
    except (pa.ArrowException, OSError, EOFError, NotImplementedError, MemoryError, UnicodeDecodeError) as error:
        found = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise refusal(export, "reading it as Parquet", found, "a whole Parquet file") from error


def _layout(export: Export, names: Sequence[str], known_tags: frozenset[str]) -> Layout:
    layout = layout_of(names, known_tags) if len(names) <= MAX_COLUMNS else None
    if layout is None:
        raise refusal(
            export,
            "its columns",
            ", ".join(names)[:80] or "none",
            "columns for tag, time stamp and value, or a time stamp column and one column per tag, "
            f"{MAX_COLUMNS:,} at most",
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
    columns = sum(file.metadata.row_group(place).total_byte_size for place in range(file.metadata.num_row_groups))
    if columns > max(RATIO_COUNTS_FROM_BYTES, MAX_RATIO * export.size_bytes):
        raise refusal(
            export,
            "its size",
            f"{columns >> 20} MiB of columns in {export.size_bytes} bytes",
            f"at most {MAX_RATIO} times its size",
            "split the export into shorter times",
        )


def _chosen(layout: Layout, schema: pa.Schema) -> tuple[list[str], tuple[int | None, ...]]:
    """Return the columns to read in their order, and where each column of the file then stands.

    Those of nested values are none of an export, and one such cell may hold millions of values: they stay unread.
    """
    asked = range(len(schema.names)) if layout.form == "wide" else sorted(layout.roles.values())
    flat = {schema.names[place] for place in asked if not pa.types.is_nested(schema.types[place])}
    chosen = [place for place, name in enumerate(schema.names) if name in flat]
    places = {place: i for i, place in enumerate(chosen)}
    return [schema.names[place] for place in chosen], tuple(places.get(place) for place in range(len(schema.names)))


def _is_text(kind: pa.DataType) -> bool:
    return any(is_kind(kind) for is_kind in (
        pa.types.is_string, pa.types.is_large_string, pa.types.is_binary, pa.types.is_large_binary,
    ))  # fmt: skip


def _refuse_batch(export: Export, batch: pa.RecordBatch, names: list[str]) -> None:
    """Refuse columns that are not those asked for, and texts beyond the guard of this module."""
    if batch.schema.names != names:
        raise refusal(
            export, "its columns", "columns within columns of the same names", "columns with names of their own"
        )
    total = sum(_text_bytes(array) for array in batch.columns)
    if total > MAX_TEXT_BYTES:
        raise refusal(
            export,
            "its texts",
            f"{total >> 20} MiB of them in {batch.num_rows} rows",
            f"at most {MAX_TEXT_BYTES >> 20} MiB",
            "split the export into shorter times, or leave out long texts",
        )


def _text_bytes(array: pa.Array) -> int:
    """Return how many bytes the texts of a column take, written out."""
    if not pa.types.is_dictionary(array.type):
        return int(array.nbytes) if _is_text(array.type) or pa.types.is_fixed_size_binary(array.type) else 0
    if not _is_text(array.dictionary.type):
        return 0
    lengths = pc.fill_null(pc.binary_length(array.dictionary), 0).to_numpy().astype(np.int64)
    counts = np.bincount(pc.drop_null(array.indices).to_numpy(), minlength=len(lengths))
    return int(lengths @ counts)


def _series(array: pa.Array) -> pl.Series:
    """Return a column as number, truth value, time or text; types of no export come as the text of their values."""
    if pa.types.is_dictionary(array.type):
        array = array.dictionary_decode()
    if pa.types.is_timestamp(array.type) and array.type.tz is not None:
        array = array.cast(pa.timestamp(array.type.unit, "UTC"))  # the same instants; the engine need not know the zone
    series = None if _is_foreign(array) else pl.from_arrow(array)
    if not isinstance(series, pl.Series):
        return pl.Series([_text_of(value) for value in array], dtype=pl.String)
    if series.dtype.is_temporal():
        return _within_calendar(series)
    return series.cast(pl.Float64) if series.dtype.is_decimal() else series


def _within_calendar(times: pl.Series) -> pl.Series:
    """Return times without those before the year 1 or after 9999, of which the engine can make no text."""
    unit = times.dtype.time_unit if isinstance(times.dtype, pl.Datetime) else "d"
    if unit == "ns":  # 64 bits of nanoseconds end in 2262
        return times
    per_day = {"d": 1, "ms": 86_400_000, "us": 86_400_000_000}[unit]
    count = times.to_physical()
    return times.set((count < _FIRST_DAY * per_day) | (count >= _END_DAY * per_day), None)


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
    try:
        return str(value)
    except (ValueError, OverflowError):  # times and durations beyond what the language has
        return str(value.type)


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
