"""How long samples are kept: those before a time go, and none from before it come in again.

Exports outlive the samples, and tags that are added or changed have them read again. So the time is remembered, and
whatever an export holds from before it is kept out and told: rows derived then stay as they are, with nothing to
derive them from anew.
"""

from dataclasses import replace
from datetime import datetime

import duckdb
import polars as pl

from nightgauge.store import ranges
from nightgauge.store.bookmarks import DERIVE_FROM, SAMPLES_FROM, bookmark, set_bookmark
from nightgauge.store.home import SampleHome
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, ParsedExport

TOO_OLD = "older than the samples that are kept"


def drop_before(con: duckdb.DuckDBPyConnection, home: SampleHome, time: datetime, derive_from: datetime) -> int:
    """Drop all samples before a midnight of UTC, and what is owed before `derive_from`; return how many samples."""
    dropped = home.drop_before(time)
    set_bookmark(con, SAMPLES_FROM, time)
    set_bookmark(con, DERIVE_FROM, derive_from)
    ranges.forget_underivable(con)
    return dropped


def without_old(con: duckdb.DuckDBPyConnection, parsed: ParsedExport) -> ParsedExport:
    """Return an export with what lies before the samples that are kept in its quarantine: one row for each tag."""
    kept_from = bookmark(con, SAMPLES_FROM)
    if kept_from is None:
        return parsed
    is_old = pl.col("time_utc") < kept_from
    old = pl.concat([parsed.samples.filter(is_old), parsed.losers.filter(is_old)])
    if old.is_empty():
        return parsed
    names = con.sql("SELECT tag_id, tag FROM tag").pl()
    told = old.group_by("tag_id").agg(
        rows=pl.len().cast(pl.Int64),
        reason=pl.lit(TOO_OLD),
        raw_text=pl.format(
            "{} to {}", pl.col("time_utc").min().dt.to_string("iso"), pl.col("time_utc").max().dt.to_string("iso")
        ),
    )
    kept_out = EXPORT_QUARANTINE.build(told.join(names, on="tag_id").drop("tag_id"))
    return replace(
        parsed,
        samples=parsed.samples.filter(~is_old),
        losers=parsed.losers.filter(~is_old),
        quarantine=pl.concat([parsed.quarantine, kept_out]),
    )
