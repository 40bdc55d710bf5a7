"""Tables made from the vocabulary's frames, and the store's own bookkeeping declared the same way."""

from collections.abc import Iterator

import polars as pl

from nightgauge.vocabulary.flags import FLAG
from nightgauge.vocabulary.frames import (
    ANODES,
    BACK_PRESSURE,
    CARRYOVER,
    DUMP_CYCLES,
    SIGNAL_HOURS,
    STORED_FRAMES,
    TIME,
    VESSEL_CAPACITY,
    VESSEL_DAYS,
    VESSEL_HOURS,
    WELL_TESTS,
    Column,
    Frame,
)

CHANGED_RANGES = Frame(
    "changed_range",
    "one stretch of one vessel whose samples or settings changed since it was derived",
    ("vessel", "from_utc"),
    (
        Column("vessel", pl.String, "", "vessel id"),
        Column("from_utc", TIME, "", "first changed time"),
        Column("to_utc", TIME, "", "first time after the last change"),
    ),
)

FILE_TAGS = Frame(
    "file_tag",
    "one tag name found in one export, known or not",
    ("file_id", "tag"),
    (
        Column("file_id", pl.Int32, "", "export"),
        Column("tag", pl.String, "", "name as written in the export"),
        Column("rows", pl.Int64, "", "rows of it"),
        Column("reread_owed", pl.Boolean, "", "tags.csv changed so that the export must be read again for this tag"),
    ),
)

VESSEL_SETUPS = Frame(
    "vessel_setup",
    "one dated part of the settings a vessel was last derived with",
    ("vessel", "part", "valid_from_utc"),
    (
        Column("vessel", pl.String, "", "vessel id"),
        Column("part", pl.String, "", "settings, water_dump, oil_valve, gas_valve or outage"),
        Column("valid_from_utc", TIME, "", "in force from; null = always"),
        Column("valid_to_utc", TIME, "", "in force to; null = as long as nothing follows"),
        Column("digest", pl.String, "", "hash of the settings"),
    ),
)

FIELD_SETTINGS = Frame(
    "field_setting",
    "one setting of the field that the database itself needs",
    ("name",),
    (
        Column("name", pl.String, "", "time_zone or display_units"),
        Column("value", pl.String, "", "as in field.toml"),
    ),
)

BOOKMARKS = Frame(
    "bookmark",
    "one time that the database has to remember between runs",
    ("name",),
    (
        Column("name", pl.String, "", "reckon_from, samples_from or derive_from"),
        Column("at_utc", TIME, "", "the time"),
    ),
)

LAKE_GROUPS = Frame(
    "lake_group",
    "one tag of the lake and the group of vessels whose objects hold its samples, for good",
    ("tag_id",),
    (
        Column("tag_id", pl.Int32, "", "row of `tag`"),
        Column("vessel", pl.String, "", "vessel it was first seen with"),
        Column("group_number", pl.Int32, "", "group of vessels"),
    ),
)

LAKE_PARTS = Frame(
    "lake_part",
    "one Parquet object of the lake: what is not named here does not exist",
    ("group_number", "day", "part_id"),
    (
        Column("part_id", pl.Int32, "", "number"),
        Column("group_number", pl.Int32, "", "group of vessels"),
        Column("day", pl.Date, "", "day in UTC"),
        Column("name", pl.String, "", "path of the object below the lake's address"),
        Column("rows", pl.Int64, "", "samples in it"),
        Column("size_bytes", pl.Int64, "", "size of the object"),
    ),
)

LAKE_PART_TAGS = Frame(
    "lake_part_tag",
    "one tag in one object of the lake",
    ("part_id", "tag_id"),
    (
        Column("part_id", pl.Int32, "", "object"),
        Column("tag_id", pl.Int32, "", "row of `tag`"),
        Column("rows", pl.Int64, "", "samples of it"),
        Column("bad_rows", pl.Int64, "", "of these: bad"),
        Column("first_utc", TIME, "", "earliest"),
        Column("last_utc", TIME, "", "latest"),
    ),
)

TABLES = (
    *STORED_FRAMES,
    CHANGED_RANGES,
    FILE_TAGS,
    VESSEL_SETUPS,
    FIELD_SETTINGS,
    BOOKMARKS,
    LAKE_GROUPS,
    LAKE_PARTS,
    LAKE_PART_TAGS,
)
"""Every table of the database but the record of migrations."""

DERIVED_FRAMES = (DUMP_CYCLES, VESSEL_HOURS, VESSEL_DAYS, SIGNAL_HOURS, WELL_TESTS)
"""Tables that can be made again from samples and settings, each row in its own range of time."""

RECKONED_FRAMES = (VESSEL_CAPACITY, BACK_PRESSURE, CARRYOVER, ANODES)
"""Tables that each night reckons anew from derived rows and settings."""

IN_FORCE = """removed_utc IS NULL AND (from_utc IS NULL OR time_utc >= from_utc)
    AND (to_utc IS NULL OR time_utc < to_utc)"""
"""Condition on sample joined with tag: the row of tags.csv is still there, and valid at the sample's time."""

FLAG_TYPE = "flag"
"""Name of the database's type for a sample's worth, made from `FLAG` in that order."""

_TYPES: tuple[tuple[pl.DataType | type[pl.DataType], str], ...] = (
    (pl.String, "VARCHAR"),
    (pl.Int32, "INTEGER"),
    (pl.Int64, "BIGINT"),
    (pl.Float64, "DOUBLE"),
    (pl.Boolean, "BOOLEAN"),
    (pl.Date, "DATE"),
    (TIME, "TIMESTAMP WITH TIME ZONE"),
    (FLAG, FLAG_TYPE),
)


def sql_type(dtype: pl.DataType | type[pl.DataType]) -> str:
    """Return the database's type for a frame's column type."""
    return next(name for known, name in _TYPES if known == dtype)


def create_statements() -> Iterator[str]:
    """Yield the statements that make an empty database as the frames are now; steps are written from them."""
    flags = ", ".join(f"'{category}'" for category in FLAG.categories)
    yield f"CREATE TYPE {FLAG_TYPE} AS ENUM ({flags})"
    for frame in TABLES:
        columns = ",\n    ".join(f'"{column.name}" {sql_type(column.dtype)}' for column in frame.columns)
        yield f"CREATE TABLE {frame.name} (\n    {columns}\n)"
