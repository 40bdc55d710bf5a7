"""What reading an export hands on: the file as found, its rows taken apart, and the counts that must add up."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from nightgauge.vocabulary.frames import QUARANTINE, SAMPLES, Column, Frame

EXPORT_SAMPLES = Frame(
    "export_samples",
    "one sample of one export, before it is stored",
    SAMPLES.order,
    tuple(column for column in SAMPLES.columns if column.name != "file_id"),
)

EXPORT_QUARANTINE = Frame(
    "export_quarantine",
    "one row of one export that is kept out (one per tag for unknown tags, and for rows beyond the first of a reason)",
    ("row_number", "tag"),
    tuple(column for column in QUARANTINE.columns if column.name not in {"file_id", "reread_utc", "superseded_utc"}),
)

TAGS_SEEN = Frame(
    "tags_seen",
    "one tag name found in one export, known or not",
    ("tag",),
    (
        Column("tag", pl.String, "", "name as written in the export"),
        Column("rows", pl.Int64, "", "rows (wide: filled cells) of it"),
    ),
)


@dataclass(frozen=True)
class Export:
    """One file as it was found, before anything is read from it."""

    path: Path
    relative: str
    """Path relative to the field folder, with forward slashes."""
    sha256: str
    size_bytes: int
    modified_utc: datetime


@dataclass(frozen=True)
class ParsedExport:
    """One export read to its end.

    ``rows_read == samples.height + losers.height + rows_repeated + quarantine["rows"].sum()``
    """

    samples: pl.DataFrame
    """EXPORT_SAMPLES: one row per tag and time, the file's last word on it."""
    losers: pl.DataFrame
    """EXPORT_SAMPLES: earlier rows of the same tag and time that said something else."""
    quarantine: pl.DataFrame
    """EXPORT_QUARANTINE."""
    rows_read: int
    rows_repeated: int
    """Rows equal to an earlier row of the same file."""
    rows_ignored: int
    """Rows of tags named in `ignore`; not part of `rows_read`."""
    rows_assumed_first: int
    """Rows in the doubled autumn hour that were taken as its first pass."""
    tags_seen: pl.DataFrame
    """TAGS_SEEN."""
    unknown_quality: Mapping[str, int]
    """Quality words nobody knows, with the rows they stood in; those rows are uncertain."""
