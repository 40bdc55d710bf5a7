"""Frames into tables and back."""

from collections.abc import Iterable
from typing import Any

import duckdb
import polars as pl

from nightgauge.vocabulary.frames import Frame

Parameters = dict[str, object]


def insert(con: duckdb.DuckDBPyConnection, frame: Frame, rows: pl.DataFrame) -> None:
    """Insert rows into the frame's table; columns that are missing become null."""
    if rows.is_empty():
        return
    con.register("rows_to_insert", frame.build(rows))
    con.execute(f"INSERT INTO {frame.name} BY NAME SELECT * FROM rows_to_insert")  # noqa: S608  names are declared
    con.unregister("rows_to_insert")


def select(
    con: duckdb.DuckDBPyConnection, frame: Frame, where: str = "true", parameters: Parameters | None = None
) -> pl.DataFrame:
    """Return the rows of the frame's table that meet a condition, in the frame's order."""
    return frame.build(select_unsorted(con, frame, where, parameters))


def select_unsorted(
    con: duckdb.DuckDBPyConnection,
    frame: Frame,
    where: str,
    parameters: Parameters | None = None,
    names: Iterable[str] | None = None,
) -> pl.DataFrame:
    """Return the rows of the frame's table that meet a condition, in no order; of all columns or of those named."""
    columns = ", ".join(f'"{name}"' for name in names or frame.schema)
    query = f"SELECT {columns} FROM {frame.name} WHERE {where}"  # noqa: S608  names and conditions are this room's
    rows: pl.DataFrame = con.sql(query, params=parameters or {}).pl()
    return rows


def scalar(con: duckdb.DuckDBPyConnection, query: str, parameters: Parameters | None = None) -> Any:
    """Return the single value a query yields."""
    rows = con.execute(query, parameters or {}).fetchall()
    return rows[0][0]
