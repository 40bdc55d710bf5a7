"""What becomes of one partition of the lake (a group of vessels, a day): pure rules on frames.

The rules are those of the table: the later file wins, what says the same changes nothing, a reading again never
displaces a sample of a later file.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import polars as pl

from nightgauge.store import ranges
from nightgauge.store.home import KEY, Merged
from nightgauge.store.sample_order import in_order
from nightgauge.vocabulary.flags import UNCERTAIN
from nightgauge.vocabulary.frames import SAMPLES

SAID = ("value", "text_value", "flag")
"""What a sample says."""

HELD = {**SAMPLES.schema, "part_id": pl.Int32}
"""Stored samples of a partition, with the object each lies in."""


@dataclass(frozen=True)
class Plan:
    """Samples to put into a partition, in the place of stored ones of the same tag and time, and keys to take out."""

    group_number: int
    day: date
    rows: pl.DataFrame
    """SAMPLES."""
    gone: pl.DataFrame
    """Columns tag_id, time_utc."""
    rewritten: frozenset[int]
    """The objects that hold any of these."""

    @property
    def is_empty(self) -> bool:
        """Return whether nothing changes."""
        return self.rows.is_empty() and self.gone.is_empty()

    def applied(self, held: pl.DataFrame) -> pl.DataFrame:
        """Return the rewritten objects' samples (SAMPLES) as they become, with the new ones, sorted."""
        if held.is_empty():
            return in_order(self.rows)
        touched = pl.concat([self.rows["tag_id"], self.gone["tag_id"]]).unique()
        is_touched = held["tag_id"].is_in(touched.implode())
        kept = held.filter(is_touched).join(self.rows, on=KEY, how="anti", maintain_order="left")
        kept = kept.join(self.gone, on=KEY, how="anti", maintain_order="left") if self.gone.height else kept
        return in_order(pl.concat([held.filter(~is_touched), kept, self.rows]))


def meeting(incoming: pl.DataFrame, held: pl.DataFrame) -> pl.DataFrame:
    """Return what is stored of the keys of incoming EXPORT_SAMPLES, row by row.

    Parameters
    ----------
    held : DataFrame
        Columns of `HELD`.

    Returns
    -------
    DataFrame
        Columns file_id and part_id (null where nothing is stored), and whether both say the same.

    """
    if held.is_empty():
        nothing = pl.repeat(None, incoming.height, dtype=pl.Int32)
        return pl.select(file_id=nothing, part_id=nothing, same=pl.repeat(value=False, n=incoming.height))
    met = incoming.join(held, on=KEY, how="left", suffix="_held", maintain_order="left")
    same = pl.all_horizontal(pl.col(name).eq_missing(pl.col(f"{name}_held")) for name in SAID)
    return met.select("file_id", "part_id", same=pl.col("part_id").is_not_null() & same)


def of_later_file(
    where: tuple[int, date], incoming: pl.DataFrame, held: pl.DataFrame, file_id: int, vessels: pl.DataFrame
) -> tuple[Plan, Merged]:
    """Return what a file that is later than all stored ones makes of a partition, and what that was in rows.

    Parameters
    ----------
    where : tuple
        Group and day.
    incoming : DataFrame
        EXPORT_SAMPLES of the partition.
    held : DataFrame
        Columns of `HELD`: at least the stored samples of the same keys.
    vessels : DataFrame
        Columns tag_id, vessel.

    """
    met = meeting(incoming, held)
    changed = incoming.filter(~met["same"])
    other = met.filter(~pl.col("same") & pl.col("part_id").is_not_null())
    span = changed.select(first=pl.col("time_utc").min(), last=pl.col("time_utc").max()).row(0)
    merged = Merged(
        fresh=changed.height - other.height,
        overwrote=other.height,
        repeated=incoming.height - changed.height,
        uncertain=int((changed["flag"] == UNCERTAIN).sum()),
        first=span[0],
        last=span[1],
        changes=ranges.of_samples(changed.select(KEY), vessels),
    )
    return Plan(*where, _of_file(changed, file_id), _NO_KEYS, frozenset(other["part_id"])), merged


def of_earlier_file(
    where: tuple[int, date], incoming: pl.DataFrame, held: pl.DataFrame, file_id: int, tag_ids: pl.Series
) -> tuple[Plan, pl.DataFrame]:
    """Return what the second reading of a file makes of a partition, and the keys that changed.

    Parameters
    ----------
    held : DataFrame
        Columns of `HELD`: all stored samples of the tags that were read again.

    """
    met = meeting(incoming, held)
    # Equal samples of earlier files become this file's: those are read again after it and must not displace it.
    taken = met.select((pl.col("file_id") <= file_id).fill_null(value=False)).to_series()
    fresh = met["part_id"].is_null()
    written = held.filter((pl.col("file_id") == file_id) & pl.col("tag_id").is_in(tag_ids.implode()))
    vanished = written.join(incoming, on=KEY, how="anti")
    rewritten = frozenset(pl.concat([met.filter(taken)["part_id"], vanished["part_id"]]))
    rows = incoming.filter(fresh | taken)
    changed = pl.concat([vanished.select(KEY), incoming.filter(fresh | (taken & ~met["same"])).select(KEY)])
    return Plan(*where, _of_file(rows, file_id), vanished.select(KEY), rewritten), changed


_NO_KEYS = pl.DataFrame(schema={name: SAMPLES.schema[name] for name in KEY})


def _of_file(samples: pl.DataFrame, file_id: int) -> pl.DataFrame:
    """Return EXPORT_SAMPLES of a file as SAMPLES."""
    return samples.select(*(c for c in SAMPLES.schema if c != "file_id"), file_id=pl.lit(file_id, pl.Int32))


def partitions(samples: pl.DataFrame, groups: pl.DataFrame) -> dict[tuple[int, date], pl.DataFrame]:
    """Return samples by group and day (UTC).

    Parameters
    ----------
    samples : DataFrame
        Quickest where those of a tag lie together in order of time: whole stretches are then moved instead of rows.
    groups : DataFrame
        Columns tag_id, group_number.

    """
    tags, days, heads = _stretches(samples)
    if heads.size > _MOST_STRETCHES:
        samples = samples.sort(KEY)
        tags, days, heads = _stretches(samples)
    group_of = dict(groups.iter_rows())
    cut: dict[tuple[int, date], list[pl.DataFrame]] = {}
    for start, end in pairwise([*heads.tolist(), samples.height]):
        where = group_of[int(tags[start])], _EPOCH + int(days[start]) * _DAY
        cut.setdefault(where, []).append(samples.slice(start, end - start))
    return {where: pl.concat(cut[where], rechunk=True) for where in sorted(cut)}


_EPOCH = date(1970, 1, 1)
_DAY = timedelta(days=1)
_MOST_STRETCHES = 100_000
"""Stretches that are moved one by one. House choice: more of them are sorted as fast."""


def _stretches(samples: pl.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return each sample's tag and day (since 1970), and where a stretch of one tag and day begins."""
    tags = samples["tag_id"].to_numpy()
    days = samples["time_utc"].to_physical().to_numpy() // (_DAY // timedelta(microseconds=1))
    if not tags.size:
        return tags, days, np.array([], dtype=np.int64)
    begins = np.append(True, (tags[1:] != tags[:-1]) | (days[1:] != days[:-1]))
    return tags, days, np.flatnonzero(begins)
