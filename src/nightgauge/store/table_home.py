"""Samples at home in the database's own table `sample`."""

from collections.abc import Iterator
from datetime import datetime, timedelta

import duckdb
import polars as pl

from nightgauge.store.conversions import INVERTED, REMADE, Remake
from nightgauge.store.frames_io import insert, scalar
from nightgauge.store.home import EXTENTS, KEY, Merged
from nightgauge.store.landing import Meeting, append, merge, overwrite, slices
from nightgauge.store.sample_order import in_order
from nightgauge.vocabulary.frames import SAMPLES

_TAGS_AT_A_TIME = 160
"""Tags whose day is handed on together. House choice: about three million samples at five seconds."""


class TableHome:
    """The table `sample`: sorted as it came, without a key, so that landing is fast and the file small."""

    def __init__(self, con: duckdb.DuckDBPyConnection) -> None:
        self._con = con

    def count_same(self, samples: pl.DataFrame) -> int:
        """Return how many of these EXPORT_SAMPLES say what is stored already."""
        return Meeting.of(self._con, samples).same.height

    def merge(self, samples: pl.DataFrame, file_id: int) -> Merged:
        """Merge EXPORT_SAMPLES of a file that is later than all stored ones."""
        return merge(self._con, samples, file_id)

    def merge_again(self, samples: pl.DataFrame, tag_ids: pl.Series, file_id: int) -> pl.DataFrame:
        """Put a file's samples of these tags in the place of those stored of it; return the keys that changed."""
        vanished = self._drop_vanished(samples, tag_ids, file_id)
        return pl.concat([vanished, *(self._merge_again(piece, file_id) for piece in slices(samples))])

    def _drop_vanished(self, samples: pl.DataFrame, tag_ids: pl.Series, file_id: int) -> pl.DataFrame:
        """Delete the file's stored samples of these tags that the second reading no longer has; return their keys."""
        con = self._con
        con.register("again", samples.select(KEY))
        con.register("owed_ids", tag_ids.to_frame("tag_id"))
        vanished: pl.DataFrame = con.sql(
            """SELECT tag_id, time_utc
            FROM sample SEMI JOIN owed_ids USING (tag_id) ANTI JOIN again USING (tag_id, time_utc)
            WHERE file_id = $file_id""",
            params={"file_id": file_id},
        ).pl()
        if vanished.height:
            con.register("vanished", vanished)
            con.execute(
                """DELETE FROM sample USING vanished WHERE sample.tag_id = vanished.tag_id
                AND sample.time_utc = vanished.time_utc AND sample.file_id = $file_id""",
                {"file_id": file_id},
            )
            con.unregister("vanished")
        con.unregister("again")
        con.unregister("owed_ids")
        return vanished

    def _merge_again(self, samples: pl.DataFrame, file_id: int) -> pl.DataFrame:
        """Merge a slice of a file that may be earlier than what is stored; return the keys that changed."""
        met = Meeting.of(self._con, samples)
        mine = pl.col("file_id") <= file_id
        all_met = pl.concat([met.same, met.other])
        fresh = samples.join(all_met, on=KEY, how="anti", maintain_order="left")
        # Equal samples of earlier files become this file's: those are read again after it and must not displace it.
        taken = samples.join(all_met.filter(mine), on=KEY, how="semi")
        if taken.height:
            overwrite(self._con, taken, file_id)
        append(self._con, fresh, file_id)
        return pl.concat([fresh.select(KEY), met.other.filter(mine).select(KEY)])

    def remake(self, change: Remake) -> None:
        """Move and convert stored samples of one tag that lie in the dates of another."""
        self._con.execute(
            f"""UPDATE sample SET tag_id = $heir, value = remade.value
            FROM (
                SELECT row_id, {REMADE} AS value FROM (
                    SELECT rowid AS row_id, value, {INVERTED} FROM sample
                    WHERE tag_id = $tag AND ($from IS NULL OR time_utc >= $from) AND ($to IS NULL OR time_utc < $to)
                )
            ) AS remade WHERE sample.rowid = remade.row_id AND sample.tag_id = $tag""",  # noqa: S608  constants
            {
                **change.parameters,
                "tag": change.tag_id,
                "heir": change.heir_id,
                "from": change.from_utc,
                "to": change.to_utc,
            },
        )

    def extents(self, stretches: pl.DataFrame) -> pl.DataFrame:
        """Return what is stored in stretches (columns of `STRETCHES`) as EXTENTS."""
        self._con.register("stretches", stretches)
        found = self._con.sql(
            """SELECT stretch, count(*) AS samples, count(*) FILTER (WHERE flag = 'bad') AS bad_samples,
                min(time_utc) AS first_utc, max(time_utc) AS last_utc
            FROM sample JOIN stretches USING (tag_id)
            WHERE coalesce(time_utc >= from_utc, true) AND coalesce(time_utc < to_utc, true) GROUP BY stretch"""
        ).pl()
        self._con.unregister("stretches")
        return EXTENTS.build(found)

    def samples_of(self, tag_ids: pl.Series, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the samples of tags in [start, end) as SAMPLES."""
        if tag_ids.is_empty():
            return SAMPLES.empty()
        # The window stands beside the list so that the engine skips the row groups of other tags.
        found = self._con.sql(
            """SELECT tag_id, time_utc, value, text_value, flag, file_id FROM sample
            WHERE tag_id BETWEEN $low AND $high AND tag_id IN (SELECT unnest($ids))
                AND time_utc >= $start AND time_utc < $end""",
            params={
                "low": tag_ids.min(), "high": tag_ids.max(), "ids": tag_ids.to_list(), "start": start, "end": end,
            },
        ).pl()  # fmt: skip
        return in_order(found)

    def everything(self) -> Iterator[pl.DataFrame]:
        """Yield all samples as SAMPLES: so many tags and one day (UTC) at a time."""
        for row in self._con.sql(
            """SELECT tag_id // $tags AS batch, time_bucket(INTERVAL 1 DAY, time_utc) AS day
            FROM sample GROUP BY ALL ORDER BY ALL""",
            params={"tags": _TAGS_AT_A_TIME},
        ).fetchall():
            batch, day = int(row[0]), row[1]
            tag_ids = pl.Series(range(batch * _TAGS_AT_A_TIME, (batch + 1) * _TAGS_AT_A_TIME), dtype=pl.Int32)
            yield self.samples_of(tag_ids, day, day + timedelta(days=1))

    def put(self, samples: pl.DataFrame) -> None:
        """Add SAMPLES that meet no stored one."""
        insert(self._con, SAMPLES, samples)

    def drop_before(self, time: datetime) -> int:
        """Drop the samples before a midnight of UTC; return how many. New ones fill the room they leave."""
        return int(scalar(self._con, "DELETE FROM sample WHERE time_utc < $time", {"time": time}))

    def clear(self) -> None:
        """Drop all samples; the file keeps its size and fills up again."""
        self._con.execute("DELETE FROM sample")

    def committed(self) -> None:
        """Do nothing: all is in the database."""
