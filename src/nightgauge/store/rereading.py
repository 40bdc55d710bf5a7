"""Reading an export again for tags that tags.csv did not know, or knew otherwise, when it was first read.

Where a setting of the field changed that all reading hangs on, it is read again for all its tags.

What is owed stands in `file_tag`, so a killed night, or an export that is away, loses nothing: it stays owed.
The file's ledger row never changes. Quarantine rows of these tags get `superseded_utc`; what the second
reading keeps out is added beside them with `reread_utc`. So the rows without `reread_utc` always add up to
the ledger's count, and those without `superseded_utc` are what is kept out today.
"""

from datetime import datetime

import duckdb
import polars as pl

from nightgauge.store import ranges
from nightgauge.store.frames_io import insert, select
from nightgauge.store.home import SampleHome
from nightgauge.store.landing import changed_ranges_of
from nightgauge.vocabulary.exports import ParsedExport
from nightgauge.vocabulary.frames import QUARANTINE, TIME


def owed_tags(con: duckdb.DuckDBPyConnection) -> frozenset[str]:
    """Return the names of the tags for which some export must be read again."""
    rows = con.execute("SELECT DISTINCT tag FROM file_tag WHERE reread_owed").fetchall()
    return frozenset(str(row[0]) for row in rows)


def owe(con: duckdb.DuckDBPyConnection, tags: frozenset[str]) -> None:
    """Note that every export that held one of these tags must be read again for it."""
    con.register("renewed", pl.DataFrame({"tag": sorted(tags)}, schema={"tag": pl.String}))
    con.execute("UPDATE file_tag SET reread_owed = true FROM renewed WHERE file_tag.tag = renewed.tag")
    con.unregister("renewed")


def owe_all(con: duckdb.DuckDBPyConnection) -> None:
    """Note that every export must be read again for all its tags."""
    con.execute("UPDATE file_tag SET reread_owed = true")


def files_with_tags(con: duckdb.DuckDBPyConnection, tags: frozenset[str]) -> pl.DataFrame:
    """Return the exports that must still be read again for any of these tags, the latest first.

    Latest first, because a reading again never displaces a sample of a later file: so each time ends up
    with the last word of the last file that still has one.

    Returns
    -------
    DataFrame
        Columns file_id, path (where the same content was last seen), sha256.

    """
    con.register("asked", pl.DataFrame({"tag": sorted(tags)}, schema={"tag": pl.String}))
    files: pl.DataFrame = con.sql(
        """SELECT stored.file_id, arg_max(twin.path, twin.file_id) AS path, stored.sha256
        FROM source_file AS stored JOIN file_tag USING (file_id) JOIN asked USING (tag)
            JOIN source_file AS twin ON twin.sha256 = stored.sha256
        WHERE reread_owed GROUP BY stored.file_id, stored.sha256"""
    ).pl()
    con.unregister("asked")
    return files.sort("file_id", descending=True)


def land_again(
    con: duckdb.DuckDBPyConnection, home: SampleHome, file_id: int, parsed: ParsedExport, read_at: datetime
) -> int:
    """Replace one export's samples of the tags it is owed for, within the caller's transaction.

    Returns
    -------
    int
        Samples that are new or other than before.

    """
    held = con.sql("SELECT tag, reread_owed FROM file_tag WHERE file_id = $file_id", params={"file_id": file_id}).pl()
    owed = held.filter("reread_owed")["tag"]
    ids = con.sql("SELECT tag_id, tag FROM tag").pl().filter(pl.col("tag").is_in(owed.implode()))["tag_id"]
    samples = parsed.samples.filter(pl.col("tag_id").is_in(ids.implode()))
    changed = home.merge_again(samples, ids, file_id)
    ranges.add(con, changed_ranges_of(con, changed))
    # A row without a readable tag is told again only when the whole file is.
    concerned = pl.col("tag").is_in(owed.implode()) | pl.lit(value=owed.len() == held.height)
    _renew_quarantine(con, file_id, parsed.quarantine.filter(concerned), concerned, read_at)
    con.execute("UPDATE file_tag SET reread_owed = false WHERE file_id = $file_id", {"file_id": file_id})
    return changed.height


def _renew_quarantine(
    con: duckdb.DuckDBPyConnection, file_id: int, kept_out: pl.DataFrame, concerned: pl.Expr, read_at: datetime
) -> None:
    """Put what the second reading keeps out beside what the first one did, which it supersedes."""
    stored = select(con, QUARANTINE, "file_id = $file_id", {"file_id": file_id})
    con.execute("DELETE FROM quarantine WHERE file_id = $file_id", {"file_id": file_id})
    superseded = pl.when(concerned).then(pl.coalesce("superseded_utc", pl.lit(read_at).cast(TIME)))
    insert(con, QUARANTINE, stored.with_columns(superseded_utc=superseded.otherwise("superseded_utc")))
    insert(con, QUARANTINE, kept_out.with_columns(file_id=pl.lit(file_id), reread_utc=pl.lit(read_at)))
