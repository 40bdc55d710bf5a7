"""Reading vessels' samples from a lake without the database: what a worker on another machine holds."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from nightgauge.store.lake_objects import Objects, condition
from nightgauge.store.sample_order import in_order
from nightgauge.store.vessel_samples import by_vessel
from nightgauge.vocabulary.frames import SAMPLES


@dataclass(frozen=True)
class LakeSamples:
    """The samples of some vessels in some time, by the manifest as it was when this was made."""

    objects: Objects
    tags: pl.DataFrame
    """TAGS: the vessels' rows in force."""
    parts: pl.DataFrame
    """Columns name, tag_id, first_utc, last_utc: which objects hold which tags."""

    def samples_of(self, vessels: Sequence[str], start: datetime, end: datetime) -> dict[str, pl.DataFrame]:
        """Return the samples of each of some vessels in [start, end) as VESSEL_SAMPLES, as `Reader.samples_of` does."""
        tags = self.tags.filter(pl.col("vessel").is_in(list(vessels)))
        return by_vessel(read_samples(self.objects, self.parts, tags["tag_id"], (start, end)), tags, vessels)


def read_samples(
    objects: Objects, parts: pl.DataFrame, tag_ids: pl.Series, span: tuple[datetime, datetime]
) -> pl.DataFrame:
    """Return the samples of tags in [start, end) as SAMPLES, from objects that hold any."""
    start, end = span
    names = parts.filter(
        pl.col("tag_id").is_in(tag_ids.implode()) & (pl.col("first_utc") < end) & (pl.col("last_utc") >= start)
    )["name"]
    if names.is_empty():  # neither a condition nor an object can be made of nothing
        return SAMPLES.empty()
    found = objects.read(names.unique().sort().to_list(), condition(tag_ids, start, end))
    return in_order(found)
