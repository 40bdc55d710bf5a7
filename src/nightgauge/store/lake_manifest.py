"""What the database knows of the lake: which objects there are, what is in them, which group a tag belongs to.

What is not in the manifest does not exist, so the samples of an export and its ledger row are kept or lost together,
though the objects lie outside the database.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

import duckdb
import polars as pl

from nightgauge.store.frames_io import insert, scalar, select
from nightgauge.store.schema import LAKE_GROUPS, LAKE_PART_TAGS, LAKE_PARTS
from nightgauge.vocabulary.flags import BAD

VESSELS_IN_GROUP = 16
"""Vessels whose samples of a day lie in one object. House choice: at ten signals and five seconds three million
samples, 5 MB: few objects for many vessels, and little to write anew for one that comes late."""


@dataclass(frozen=True)
class NewPart:
    """One object that has been written."""

    name: str
    group_number: int
    day: date
    size_bytes: int
    tags: pl.DataFrame
    """LAKE_PART_TAGS without part_id."""

    @staticmethod
    def tags_in(samples: pl.DataFrame) -> pl.DataFrame:
        """Return what an object of these SAMPLES holds of each tag."""
        return samples.group_by("tag_id", maintain_order=True).agg(
            rows=pl.len().cast(pl.Int64),
            bad_rows=(pl.col("flag") == BAD).sum().cast(pl.Int64),
            first_utc=pl.col("time_utc").min(),
            last_utc=pl.col("time_utc").max(),
        )


class Manifest:
    """The tables `lake_group`, `lake_part` and `lake_part_tag`."""

    def __init__(self, con: duckdb.DuckDBPyConnection) -> None:
        self._con = con

    def groups_of(self, tag_ids: pl.Series) -> pl.DataFrame:
        """Return tag_id and group_number of tags; a tag without a group gets one, for good.

        A group is filled with vessels in the order in which they are first seen: so groups are of one size however
        large the field becomes, and no vessel ever moves, which a remainder of its id could only have one of. A tag
        that tags.csv gives to another vessel later keeps its group; whoever reads asks by tag.
        """
        known = select(self._con, LAKE_GROUPS)
        wanted = tag_ids.unique().sort().to_frame("tag_id")
        if wanted.join(known, on="tag_id", how="anti").height:
            known = self._grouped(wanted, known)
        return wanted.join(known, on="tag_id").select("tag_id", "group_number")

    def inherit(self, heir_id: int, tag_id: int) -> int:
        """Return the group of a tag that takes over samples of another: that one's, where it has none yet."""
        self._con.execute(
            """INSERT INTO lake_group SELECT $heir, vessel, group_number FROM lake_group
            WHERE tag_id = $tag AND NOT EXISTS (FROM lake_group WHERE tag_id = $heir)""",
            {"heir": heir_id, "tag": tag_id},
        )
        return int(scalar(self._con, "SELECT group_number FROM lake_group WHERE tag_id = $heir", {"heir": heir_id}))

    def _grouped(self, wanted: pl.DataFrame, known: pl.DataFrame) -> pl.DataFrame:
        vessel_of = dict(self._con.sql("SELECT tag_id, vessel FROM tag").pl().iter_rows())
        group_of = dict(known.select("vessel", "group_number").unique("vessel", keep="first").iter_rows())
        new = wanted.join(known, on="tag_id", how="anti")["tag_id"]
        for vessel in dict.fromkeys(vessel_of[tag_id] for tag_id in new):
            group_of.setdefault(vessel, len(group_of) // VESSELS_IN_GROUP)
        rows = [(tag_id, vessel_of[tag_id], group_of[vessel_of[tag_id]]) for tag_id in new]
        added = pl.DataFrame(rows, schema=LAKE_GROUPS.schema, orient="row")
        insert(self._con, LAKE_GROUPS, added)
        return pl.concat([known, added])

    def parts_of_days(self, days: Collection[date]) -> pl.DataFrame:
        """Return the objects of these days as LAKE_PARTS."""
        return select(self._con, LAKE_PARTS, "day IN (SELECT unnest($days))", {"days": sorted(days)})

    def parts_before(self, day: date) -> pl.DataFrame:
        """Return the objects of the days before one as LAKE_PARTS."""
        return select(self._con, LAKE_PARTS, "day < $day", {"day": day})

    def days_of(self, tag_ids: pl.Series) -> set[date]:
        """Return the days with samples of any of these tags."""
        rows = self._con.execute(
            """SELECT DISTINCT day FROM lake_part JOIN lake_part_tag USING (part_id)
            WHERE tag_id IN (SELECT unnest($ids))""",
            {"ids": tag_ids.to_list()},
        ).fetchall()
        return {row[0] for row in rows}

    def holding(self, tag_ids: pl.Series, start: datetime | None = None, end: datetime | None = None) -> pl.DataFrame:
        """Return which objects hold samples of these tags that may lie in [start, end); None is open.

        Returns
        -------
        DataFrame
            Columns part_id, group_number, day, name, tag_id, rows, bad_rows, first_utc, last_utc.

        """
        found: pl.DataFrame = self._con.sql(
            """SELECT part_id, group_number, day, name, held.tag_id, held.rows, bad_rows, first_utc, last_utc
            FROM lake_part_tag AS held JOIN lake_part USING (part_id)
            WHERE held.tag_id IN (SELECT unnest($ids))
                AND ($start IS NULL OR last_utc >= $start) AND ($end IS NULL OR first_utc < $end)
            ORDER BY part_id, held.tag_id""",
            params={"ids": tag_ids.to_list(), "start": start, "end": end},
        ).pl()
        return found

    def names(self) -> list[str]:
        """Return the names of all objects there are."""
        return [str(row[0]) for row in self._con.execute("SELECT name FROM lake_part ORDER BY name").fetchall()]

    def replace(self, gone: Collection[int], new: Collection[NewPart]) -> list[str]:
        """Put objects in the place of others; return the names of those that are no more."""
        numbers = {"gone": sorted(gone)}
        names = self._con.execute(
            "DELETE FROM lake_part WHERE part_id IN (SELECT unnest($gone)) RETURNING name", numbers
        ).fetchall()
        self._con.execute("DELETE FROM lake_part_tag WHERE part_id IN (SELECT unnest($gone))", numbers)
        first = int(scalar(self._con, "SELECT coalesce(max(part_id), 0) + 1 FROM lake_part"))
        numbered = list(enumerate(new, start=first))
        if numbered:
            parts = [
                (number, part.group_number, part.day, part.name, int(part.tags["rows"].sum()), part.size_bytes)
                for number, part in numbered
            ]
            insert(self._con, LAKE_PARTS, pl.DataFrame(parts, schema=LAKE_PARTS.schema, orient="row"))
            tags = [part.tags.with_columns(part_id=pl.lit(number, pl.Int32)) for number, part in numbered]
            insert(self._con, LAKE_PART_TAGS, pl.concat(tags))
        return [str(row[0]) for row in names]
