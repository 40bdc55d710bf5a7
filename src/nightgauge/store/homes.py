"""Which home the samples have: what the database remembers, and what field.toml wants from now on."""

import uuid
from pathlib import Path

import duckdb

from nightgauge.errors import SettingError
from nightgauge.field.settings import Field
from nightgauge.store.home import SampleHome
from nightgauge.store.lake_home import LakeHome
from nightgauge.store.lake_objects import Objects
from nightgauge.store.remembered import recall, remember
from nightgauge.store.table_home import TableHome


def home_of(con: duckdb.DuckDBPyConnection, folder: Path) -> SampleHome:
    """Return the home the database's samples have.

    Parameters
    ----------
    folder : Path
        Where the database lies; a lake below it is remembered without it, so that both can be moved together.

    """
    if recall(con, "samples") != "lake":
        return TableHome(con)
    return lake_at(con, recall(con, "lake") or "", folder)


def lake_at(con: duckdb.DuckDBPyConnection, lake: str, folder: Path) -> LakeHome:
    """Return the database's part of a lake: each database has a folder of its own in it."""
    address = lake if "://" in lake else str(folder / lake)
    return LakeHome(con, Objects(f"{address}/{recall(con, 'lake_id')}"))


def sync_home(con: duckdb.DuckDBPyConnection, home: SampleHome, field: Field, folder: Path) -> SampleHome:
    """Give the samples the home that field.toml wants, within the caller's transaction; return it.

    All samples move where that is another kind of home. A lake that lies elsewhere now must have been copied there.

    Raises
    ------
    SettingError
        If the lake's new place does not hold the samples.

    """
    wanted = _within(field.lake, folder)
    if field.samples == "lake" and recall(con, "lake_id") is None:
        remember(con, "lake_id", uuid.uuid4().hex[:8])
    if field.samples != (recall(con, "samples") or "duckdb"):
        new: SampleHome = lake_at(con, wanted, folder) if field.samples == "lake" else TableHome(con)
        for piece in home.everything():
            new.put(piece)
        home.clear()
        remember(con, "samples", field.samples)
        remember(con, "lake", wanted)
        return new
    if field.samples == "lake" and recall(con, "lake") != wanted:
        moved = lake_at(con, wanted, folder)
        missing = moved.missing()
        if missing:
            raise SettingError(
                f"the lake was at {recall(con, 'lake')}, and {len(missing)} of its objects are not at {field.lake},"
                f" such as {missing[0]}; copy the folder {recall(con, 'lake_id')} there first"
            )
        remember(con, "lake", wanted)
        return moved
    return home


def _within(lake: str, folder: Path) -> str:
    """Return a lake's place as it is remembered: relative where it is a folder below the database's."""
    if "://" in lake or not Path(lake).is_relative_to(folder):
        return lake
    return Path(lake).relative_to(folder).as_posix()
