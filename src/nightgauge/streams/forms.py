"""The two forms of an export, long and wide, of text or typed columns, brought to one: a batch of rows."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.streams import delimited, parquet
from nightgauge.streams.batch import Batch
from nightgauge.streams.headers import Layout
from nightgauge.streams.stamps import Stamps, read_in_runs
from nightgauge.streams.words import Words

Integers = npt.NDArray[np.int64]


def of_text(table: delimited.Table, time_format: str | None) -> Batch:
    """Return the rows of a piece of delimited text."""
    layout, fields = table.layout, table.fields
    stamps = read_in_runs(fields[f"c{layout.time}"], time_format).of_header(is_utc=layout.is_utc)
    if layout.form == "wide":
        return _wide_text(table, stamps)
    value = fields[f"c{layout.value}"]

    def written(rows: Integers) -> pl.DataFrame:
        return _named(table.written(rows), layout.roles)

    return Batch(
        row=table.row,
        tag=Words.of(fields[f"c{layout.tag}"]),
        stamps=stamps,
        number=value if value.dtype == pl.Float64 else value.cast(pl.Float64, strict=False),
        quality=None if layout.quality is None else Words.of(fields[f"c{layout.quality}"]),
        written=written,
        raw=_raw_of_long(layout),
        separator=table.separator,
        time_header=layout.names[layout.time],
    )


def of_types(table: parquet.TypedTable, time_format: str | None) -> Batch:
    """Return the rows of a piece of typed columns."""
    layout = table.layout
    stamp = table.column(layout.time)
    stamps = parquet.stamps_of(stamp, time_format).of_header(is_utc=layout.is_utc)
    if layout.form == "wide":
        return _wide_types(table, stamp, stamps)
    roles = layout.roles
    number, text = parquet.number_and_text(table.column(roles["text"]))
    tag = table.words(roles["tag"])
    quality = table.words(roles["quality"]) if "quality" in roles else None

    def written(rows: Integers) -> pl.DataFrame:
        columns = {"tag": tag.written(rows), "stamp": stamp.gather(rows), "text": _some(text, rows)}
        return pl.DataFrame(columns if quality is None else {**columns, "quality": quality.written(rows)})

    return Batch(
        row=table.row,
        tag=tag,
        stamps=stamps,
        number=number,
        quality=quality,
        written=written,
        raw=_raw_of_long(layout),
        separator=",",
        time_header=layout.names[layout.time],
    )


def _named(fields: pl.DataFrame, roles: dict[str, int]) -> pl.DataFrame:
    return fields.select(**{role: f"c{place}" for role, place in roles.items()})


def _raw_of_long(layout: Layout) -> tuple[str, ...]:
    return tuple(sorted(layout.roles, key=layout.roles.__getitem__))


def _some(texts: pl.Series | None, rows: Integers) -> pl.Series:
    return pl.Series([None], dtype=pl.String).new_from_index(0, len(rows)) if texts is None else texts.gather(rows)


@dataclass(frozen=True)
class _Grid:
    """The cells of a wide piece, column after column: each is (lines,) long."""

    layout: Layout
    row: Integers
    """(lines,)"""
    stamps: Stamps
    separator: str

    def batch(self, number: pl.Series, is_filled: pl.Series, written: Callable[[Integers], pl.DataFrame]) -> Batch:
        """Return the filled cells of all columns as rows; `number` and `is_filled` are of (columns x lines,)."""
        lines, columns = len(self.row), len(self.layout.cells)
        line = np.tile(np.arange(lines), columns)
        names = pl.Series([self.layout.names[place] for place in self.layout.cells], dtype=pl.String)
        column = np.repeat(np.arange(columns), lines)
        batch = Batch(
            row=self.row[line],
            tag=Words(column, names),
            stamps=self.stamps.take(line),
            number=number,
            quality=None,
            written=written,
            raw=("stamp", "text"),
            separator=self.separator,
            time_header=self.layout.names[self.layout.time],
            place=line * columns + column,
        )
        if not is_filled.all():
            batch = batch.take(np.flatnonzero(is_filled.to_numpy()))
        if names.n_unique() < columns and batch.place is not None:  # a tag in two columns: both line by line
            batch = batch.take(np.argsort(batch.place, kind="stable"))
        return batch


def _wide_text(table: delimited.Table, stamps: Stamps) -> Batch:
    layout, lines = table.layout, len(table.row)
    cells = [table.fields[f"c{place}"] for place in layout.cells]
    if table.text is None:
        texts = _end_to_end(cells, pl.String).str.strip_chars()
        number, is_filled = texts.cast(pl.Float64, strict=False), texts != ""
    else:
        number = _end_to_end(cells, pl.Float64)
        is_filled = number.is_not_null()

    def written(rows: Integers) -> pl.DataFrame:
        if table.text is None:
            stamp, text = table.fields[f"c{layout.time}"].gather(rows % lines), texts.gather(rows)
        else:
            fields = table.written(rows % lines)
            stamp = fields[f"c{layout.time}"]
            text = _picked(fields, rows // lines, layout.cells)
        return pl.DataFrame({"tag": _names(layout, rows // lines), "stamp": stamp, "text": text})

    return _Grid(layout, table.row, stamps, table.separator).batch(number, is_filled, written)


def _picked(fields: pl.DataFrame, column: Integers, cells: Sequence[int]) -> pl.Series:
    """Return of each row of fields the text in one of its columns."""
    picked = pl.Series("text", [""], dtype=pl.String).new_from_index(0, fields.height)
    for place in np.unique(column).tolist():
        rows = np.flatnonzero(column == place)
        picked = picked.scatter(rows, fields[f"c{cells[place]}"].gather(rows).str.strip_chars())
    return picked


def _names(layout: Layout, column: Integers) -> pl.Series:
    return pl.Series([layout.names[place] for place in layout.cells], dtype=pl.String).gather(column)


def _wide_types(table: parquet.TypedTable, stamp: pl.Series, stamps: Stamps) -> Batch:
    layout, lines = table.layout, len(table.row)
    cells = [parquet.number_and_text(table.column(place)) for place in layout.cells]
    number = _end_to_end([number for number, _ in cells], pl.Float64)
    is_filled = number.is_not_null()
    texts = None
    if any(text is not None for _, text in cells):
        every_line = np.arange(lines)
        texts = _end_to_end([_some(text, every_line) for _, text in cells], pl.String)
        is_filled |= texts.str.strip_chars().fill_null("") != ""

    def written(rows: Integers) -> pl.DataFrame:
        return pl.DataFrame(
            {
                "tag": _names(layout, rows // lines),
                "stamp": stamp.gather(rows % lines),
                "text": _some(texts, rows),
            }
        )

    return _Grid(layout, table.row, stamps, ",").batch(number, is_filled, written)


def _end_to_end(columns: list[pl.Series], dtype: type[pl.DataType]) -> pl.Series:
    return pl.concat([pl.Series([], dtype=dtype), *(column.alias("") for column in columns)], rechunk=True)
