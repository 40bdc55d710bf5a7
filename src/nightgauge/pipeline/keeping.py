"""Keeping: samples older than field.toml wants are dropped once nights no longer need them.

What was derived from them, findings, quarantine and the ledger of exports stay.
"""

from datetime import UTC, datetime, time, timedelta

import polars as pl

from nightgauge.derive import CONTEXT
from nightgauge.field.settings import Field
from nightgauge.pipeline.deriving import REVISED, midnight_after
from nightgauge.store import Reader, Store


def drop_old_samples(field_: Field, store: Store) -> int:
    """Drop what is older than `keep_samples` of field.toml; return how many samples.

    It is called after a night is kept, in a transaction of its own: where it fails, the night stands.
    """
    if field_.keep_samples_s is None:
        return 0
    with store.reading() as reader:
        before = _kept_from(field_.keep_samples_s, reader)
        dropped_before = reader.samples_from()
    if before is None or (dropped_before is not None and before <= dropped_before):
        return 0
    with store.writing() as writer:
        return writer.drop_samples(before, midnight_after(field_, before + CONTEXT))


def _kept_from(keep_s: float, reader: Reader) -> datetime | None:
    """Return the midnight (UTC) before which samples can go.

    It is counted from the last night or the last sample, whichever is earlier, so that neither a clock that runs
    ahead nor a stamp in the future drops anything; and what is still owed can be derived.
    """
    files = reader.source_files()
    ends = [reader.last_night(), files.filter(pl.col("state") == "stored")["last_utc"].max()]
    known = [end for end in ends if isinstance(end, datetime)]
    if len(known) < len(ends):
        return None
    limit = min(known) - timedelta(seconds=keep_s)
    owed = reader.changed_ranges()["from_utc"].min()
    if isinstance(owed, datetime):
        limit = min(limit, owed - REVISED - CONTEXT - timedelta(days=1))  # a day: it is derived from its midnight
    return datetime.combine(limit.astimezone(UTC).date(), time(), UTC)
