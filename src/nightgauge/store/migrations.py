"""Numbered steps from an empty file to today's schema; what is in the database says which have run."""

from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import duckdb

from nightgauge.errors import StoreDamaged, StoreError, StoreNewer
from nightgauge.store.connection import missing
from nightgauge.store.frames_io import scalar


@dataclass(frozen=True)
class Migration:
    """One step of the schema. Once released it is never edited: a later change is a later step."""

    number: int
    name: str
    run: Callable[[duckdb.DuckDBPyConnection], None]


def _create_tables(con: duckdb.DuckDBPyConnection) -> None:
    con.execute((files("nightgauge.store") / "steps" / "0001_tables.sql").read_text(encoding="utf-8"))


def _add_capacity_losses_anodes(con: duckdb.DuckDBPyConnection) -> None:
    con.execute((files("nightgauge.store") / "steps" / "0002_capacity_losses_anodes.sql").read_text(encoding="utf-8"))


def _add_lake(con: duckdb.DuckDBPyConnection) -> None:
    con.execute((files("nightgauge.store") / "steps" / "0003_lake.sql").read_text(encoding="utf-8"))


def _add_bookmarks(con: duckdb.DuckDBPyConnection) -> None:
    con.execute((files("nightgauge.store") / "steps" / "0004_bookmarks.sql").read_text(encoding="utf-8"))


def _add_night_steps(con: duckdb.DuckDBPyConnection) -> None:
    con.execute((files("nightgauge.store") / "steps" / "0005_night_steps.sql").read_text(encoding="utf-8"))


MIGRATIONS = (
    Migration(1, "create the tables", _create_tables),
    Migration(2, "add capacity, losses, anodes and more of well tests", _add_capacity_losses_anodes),
    Migration(3, "add the manifest of a lake of samples", _add_lake),
    Migration(4, "add bookmarks", _add_bookmarks),
    Migration(5, "add the steps of nights", _add_night_steps),
)
"""In order, without gaps. A test holds the outcome of all of them to the frames of the vocabulary."""

NEWEST = MIGRATIONS[-1].number


def version_of(con: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Return the number of the last migration that has run; 0 for an empty database.

    Raises
    ------
    StoreDamaged
        If the database holds something else.

    """
    try:
        # Asked at every opening, so the common case is one cheap question.
        return int(scalar(con, "SELECT coalesce(max(number), 0) FROM migration"))
    except duckdb.CatalogException:
        stranger = scalar(con, "SELECT min(table_name) FROM duckdb_tables()")
    if stranger is not None:
        raise StoreDamaged(
            f"{path} is a database, but not one of this program: it has tables like {stranger};"
            " give another file as `database` in field.toml"
        )
    return 0


def migrate(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Run the steps that are missing, each in a transaction with its record.

    Raises
    ------
    StoreNewer
        If the database has steps this program does not know.

    """
    version = version_of(con, path)
    refuse_newer(version, path)
    for step in MIGRATIONS[version:]:
        con.execute("BEGIN")
        con.execute(
            "CREATE TABLE IF NOT EXISTS migration (number INTEGER, name VARCHAR, ran_utc TIMESTAMP WITH TIME ZONE)"
        )
        step.run(con)
        con.execute("INSERT INTO migration VALUES ($number, $name, now())", {"number": step.number, "name": step.name})
        con.execute("COMMIT")


def require_current(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Refuse to read a schema that is not today's.

    Raises
    ------
    StoreNewer
        If it is newer than the program.
    StoreMissing
        If there is none yet.
    StoreError
        If it is older: only a night, which holds the lock, changes a schema.

    """
    version = version_of(con, path)
    refuse_newer(version, path)
    if version == 0:
        raise missing(path)
    if version < NEWEST:
        raise StoreError(
            f"the database {path} was made by an older version of the program (schema {version}, this one reads"
            f" {NEWEST}); run the nightly flow once, which brings it up to date"
        )


def refuse_newer(version: int, path: Path) -> None:
    """Raise StoreNewer where the database has run more steps than this program knows."""
    if version > NEWEST:
        raise StoreNewer(
            f"the database {path} was written by a newer version of the program (schema {version}, this one knows"
            f" {NEWEST}); use that version"
        )
