"""Single settings of the field that the database keeps, to notice when they change."""

import duckdb
import polars as pl

from nightgauge.store.frames_io import insert
from nightgauge.store.schema import FIELD_SETTINGS


def remember(con: duckdb.DuckDBPyConnection, name: str, value: str) -> bool:
    """Keep one setting of the field; return whether it is another than before."""
    if recall(con, name) == value:
        return False
    con.execute("DELETE FROM field_setting WHERE name = $name", {"name": name})
    insert(con, FIELD_SETTINGS, pl.DataFrame({"name": [name], "value": [value]}))
    return True


def recall(con: duckdb.DuckDBPyConnection, name: str) -> str | None:
    """Return one setting of the field as last kept."""
    rows = con.execute("SELECT value FROM field_setting WHERE name = $name", {"name": name}).fetchall()
    return str(rows[0][0]) if rows else None
