"""What becomes of one partition of the lake (a group of vessels, a day): pure rules on frames.

The rules are those of the table: the later file wins, what says the same changes nothing, a reading again never
displaces a sample of a later file.
"""

from dataclasses import dataclass
from datetime import date

import polars as pl

from nightgauge.store import ranges
from nightgauge.store.home import KEY, Merged
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
        kept = held.join(self.rows, on=KEY, how="anti").join(self.gone, on=KEY, how="anti")
        return pl.concat([kept, self.rows]).sort(KEY)


def meeting(incoming: pl.DataFrame, held: pl.DataFrame) -> pl.DataFrame:
    """Return the keys of incoming EXPORT_SAMPLES that are stored: with file_id, part_id, and whether both say the same.

    Parameters
    ----------
    held : DataFrame
        Columns of `HELD`.

    """
    same = pl.all_horizontal(pl.col(name).eq_missing(pl.col(f"{name}_held")) for name in SAID)
    met = incoming.join(held, on=KEY, how="inner", suffix="_held")
    return met.select(*KEY, "file_id", "part_id", same=same)


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
    same, other = met.filter("same"), met.filter(~pl.col("same"))
    changed = incoming.join(same, on=KEY, how="anti") if same.height else incoming
    span = changed.select(first=pl.col("time_utc").min(), last=pl.col("time_utc").max()).row(0)
    merged = Merged(
        fresh=changed.height - other.height,
        overwrote=other.height,
        repeated=same.height,
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
    mine = pl.col("file_id") <= file_id
    met = meeting(incoming, held)
    fresh = incoming.join(met, on=KEY, how="anti")
    # Equal samples of earlier files become this file's: those are read again after it and must not displace it.
    taken = met.filter(mine)
    written = held.filter((pl.col("file_id") == file_id) & pl.col("tag_id").is_in(tag_ids.implode()))
    vanished = written.join(incoming, on=KEY, how="anti")
    rows = pl.concat([fresh, incoming.join(taken, on=KEY, how="semi")])
    rewritten = frozenset(pl.concat([taken["part_id"], vanished["part_id"]]))
    changed = pl.concat([vanished.select(KEY), fresh.select(KEY), taken.filter(~pl.col("same")).select(KEY)])
    return Plan(*where, _of_file(rows, file_id), vanished.select(KEY), rewritten), changed


_NO_KEYS = SAMPLES.empty().select(KEY)


def _of_file(samples: pl.DataFrame, file_id: int) -> pl.DataFrame:
    """Return EXPORT_SAMPLES of a file as SAMPLES."""
    return samples.select(*(c for c in SAMPLES.schema if c != "file_id"), file_id=pl.lit(file_id, pl.Int32))


def partitions(samples: pl.DataFrame, groups: pl.DataFrame) -> dict[tuple[int, date], pl.DataFrame]:
    """Return samples by group and day (UTC).

    Parameters
    ----------
    groups : DataFrame
        Columns tag_id, group_number.

    """
    by = samples.join(groups, on="tag_id", maintain_order="left").with_columns(day=pl.col("time_utc").dt.date())
    cut = by.partition_by("group_number", "day", as_dict=True, include_key=False)
    return {(int(group), day): piece for (group, day), piece in sorted(cut.items())}
