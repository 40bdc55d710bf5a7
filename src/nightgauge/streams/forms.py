"""The two forms of an export, long and wide, of text or typed columns, brought to one: a batch of rows."""

import numpy as np
import polars as pl

from nightgauge.streams import delimited, parquet
from nightgauge.streams.batch import Batch
from nightgauge.streams.headers import Layout
from nightgauge.streams.stamps import read_texts


def of_text(table: delimited.Table, time_format: str | None) -> Batch:
    """Return the rows of a piece of delimited text."""
    layout, fields = table.layout, table.fields
    stamp = fields[f"c{layout.time}"]
    stamps = read_texts(stamp, time_format).of_header(is_utc=layout.is_utc)
    index = pl.DataFrame({"row": fields["row"], "stamp": stamp, **stamps.columns()})
    if layout.form == "long":
        roles = {role: fields[f"c{place}"] for role, place in layout.roles.items() if role != "stamp"}
        rows = index.with_columns(**roles)
    else:
        cells = [fields[f"c{place}"].str.strip_chars() for place in layout.cells]
        rows = _unpivoted(index, cells, layout, "text").filter(pl.col("text") != "")
    return _batch(rows.with_columns(number=pl.col("text").cast(pl.Float64, strict=False)), layout, table.separator)


def of_types(table: parquet.TypedTable, time_format: str | None) -> Batch:
    """Return the rows of a piece of typed columns."""
    layout, columns = table.layout, table.columns
    stamp = columns[f"c{layout.time}"]
    stamps = parquet.stamps_of(stamp, time_format).of_header(is_utc=layout.is_utc)
    index = pl.DataFrame({"row": columns["row"], "stamp": stamp, **stamps.columns()})
    if layout.form == "long":
        number, text = parquet.number_and_text(columns[f"c{layout.value}"])
        rows = index.with_columns(number=number, text=text, tag=columns[f"c{layout.tag}"].cast(pl.String))
        if layout.quality is not None:
            rows = rows.with_columns(quality=columns[f"c{layout.quality}"])
    else:
        cells = [parquet.number_and_text(columns[f"c{place}"]) for place in layout.cells]
        texts = _unpivoted(index, [text for _, text in cells], layout, "text")
        rows = _unpivoted(index, [number for number, _ in cells], layout, "number").with_columns(texts["text"])
        is_filled = pl.col("text").str.strip_chars().fill_null("") != ""
        rows = rows.filter(pl.col("number").is_not_null() | is_filled)
    return _batch(rows, layout, ",")


def _unpivoted(index: pl.DataFrame, cells: list[pl.Series], layout: Layout, called: str) -> pl.DataFrame:
    """Return one row per cell, row by row and within a row by column."""
    names = [f"v{i}" for i in range(len(cells))]
    wide = index.hstack([cell.alias(name) for cell, name in zip(cells, names, strict=True)])
    long = wide.unpivot(names, index=index.columns, value_name=called).drop("variable")
    tags = pl.Series([layout.names[place] for place in layout.cells], dtype=pl.String)
    row_by_row = np.arange(long.height).reshape(len(cells), index.height).T.ravel()
    return long[row_by_row].with_columns(tag=tags.gather(np.tile(np.arange(len(cells)), index.height)))


def _batch(rows: pl.DataFrame, layout: Layout, separator: str) -> Batch:
    raw = sorted(layout.roles, key=layout.roles.__getitem__) if layout.form == "long" else ["stamp", "text"]
    return Batch(rows, tuple(raw), separator, layout.names[layout.time])
