"""Times that the database remembers between runs: how far back something is owed, or was dropped."""

from datetime import datetime

import duckdb
import polars as pl

from nightgauge.store.frames_io import insert
from nightgauge.store.schema import BOOKMARKS

RECKON_FROM = "reckon_from"
"""Derived rows from here on have changed since the tables that nights reckon were reckoned last."""
SAMPLES_FROM = "samples_from"
"""Samples before it were dropped, and none are taken in any more."""
DERIVE_FROM = "derive_from"
"""Rows before it cannot be derived again, as samples that they come from were dropped."""


def bookmark(con: duckdb.DuckDBPyConnection, name: str) -> datetime | None:
    """Return a time as last set."""
    rows = con.execute("SELECT at_utc FROM bookmark WHERE name = $name", {"name": name}).fetchall()
    return rows[0][0] if rows else None


def set_bookmark(con: duckdb.DuckDBPyConnection, name: str, at: datetime) -> None:
    """Set a time."""
    unset_bookmark(con, name)
    insert(con, BOOKMARKS, pl.DataFrame({"name": [name], "at_utc": [at]}))


def unset_bookmark(con: duckdb.DuckDBPyConnection, name: str) -> None:
    """Forget a time."""
    con.execute("DELETE FROM bookmark WHERE name = $name", {"name": name})
