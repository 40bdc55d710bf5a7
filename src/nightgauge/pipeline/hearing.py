"""Which tags have data: what `nightgauge check` says of a field's exports."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from nightgauge.errors import SourceError, StoreMissing
from nightgauge.field.settings import Field
from nightgauge.store import Store
from nightgauge.streams import UNKNOWN_TAG, TagTable, discover, fingerprint, read_export
from nightgauge.vocabulary.frames import TIME


@dataclass(frozen=True)
class Heard:
    """Which tags have data, as far as is known."""

    source: str
    """Where this is known from, in words."""
    tags: pl.DataFrame
    """TAG_ACTIVITY columns tag, vessel, signal, samples, first_utc, last_utc; one row per row of tags.csv."""
    unknown: Mapping[str, int]
    """Tags of the exports that tags.csv does not have, with their rows."""
    refused: tuple[str, ...]
    """Exports that cannot be read, with the reason."""


def heard(field_: Field, store: Store, until: datetime, clock: datetime) -> Heard:
    """Return what came in before `until` from each tag: by the database, or by the exports before a first night."""
    try:
        with store.reading() as reader:
            activity = reader.tag_activity(until)
            files, kept_out = reader.source_files(), reader.quarantine()
    except StoreMissing:
        return _heard_in_exports(field_, clock)
    is_unknown = pl.col("reason").str.starts_with(UNKNOWN_TAG) & pl.col("superseded_utc").is_null()
    unknown = kept_out.filter(is_unknown).group_by("tag").agg(pl.col("rows").sum()).sort("tag")
    latest = files.sort("file_id").group_by("path", maintain_order=True).last().filter(pl.col("state") == "refused")
    return Heard(
        "the database",
        activity,
        dict(unknown.iter_rows()),
        tuple(str(reason) for reason in latest["reason"]),
    )


def _heard_in_exports(field_: Field, clock: datetime) -> Heard:
    table = TagTable(tuple(enumerate(field_.tags)))
    samples = [_NOTHING_HEARD]
    unknown: dict[str, int] = {}
    refused = []
    for path in discover(field_):
        try:
            parsed = read_export(fingerprint(path, field_.folder), field_, table, clock)
        except SourceError as error:
            refused.append(str(error))
            continue
        samples.append(_per_tag(parsed.samples, pl.len(), pl.col("time_utc"), pl.col("time_utc")))
        strangers = parsed.quarantine.filter(pl.col("reason").str.starts_with(UNKNOWN_TAG))
        for tag, rows in strangers.select("tag", "rows").iter_rows():
            unknown[tag] = unknown.get(tag, 0) + rows
    heard_of = _per_tag(pl.concat(samples), pl.col("samples").sum(), pl.col("first_utc"), pl.col("last_utc"))
    tags = _tag_rows(field_).join(heard_of, on="tag_id", how="left", maintain_order="left")
    return Heard(
        "the exports, as no night has run yet",
        tags.with_columns(pl.col("samples").fill_null(0)),
        unknown,
        tuple(refused),
    )


_NOTHING_HEARD = pl.DataFrame(schema={"tag_id": pl.Int32, "samples": pl.Int64, "first_utc": TIME, "last_utc": TIME})


def _per_tag(frame: pl.DataFrame, samples: pl.Expr, first: pl.Expr, last: pl.Expr) -> pl.DataFrame:
    return frame.group_by("tag_id").agg(samples=samples.cast(pl.Int64), first_utc=first.min(), last_utc=last.max())


def _tag_rows(field_: Field) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "tag_id": range(len(field_.tags)),
            "tag": [row.tag for row in field_.tags],
            "vessel": [row.vessel for row in field_.tags],
            "signal": [row.signal for row in field_.tags],
        },
        schema_overrides={"tag_id": pl.Int32},
    )
