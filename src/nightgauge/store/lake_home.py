"""Samples at home in a lake: Parquet objects by group of vessels and day, named by a manifest in the database.

A partition may hold several objects, no two with a sample of one tag and time. Those that a change touches are
written anew as one; the rest stay, so a late file costs what it touches.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime
from typing import TypeVar

import duckdb
import polars as pl
import pyarrow.dataset as ds

from nightgauge.store.conversions import INVERTED, REMADE, Remake
from nightgauge.store.home import EXTENTS, KEY, Merged
from nightgauge.store.lake_journal import Journal, new_name
from nightgauge.store.lake_manifest import Manifest, NewPart
from nightgauge.store.lake_objects import Objects, condition
from nightgauge.store.lake_plans import HELD, Plan, meeting, of_earlier_file, of_later_file, partitions
from nightgauge.store.lake_reading import LakeSamples, read_samples
from nightgauge.vocabulary.flags import BAD
from nightgauge.vocabulary.frames import SAMPLES

MOST_OBJECTS = 8
"""Objects of one partition before they are written as one. House choice: an hourly export costs a third of its day's
rewriting, and a reader opens few."""
AT_ONCE = 4
"""Partitions worked on at the same time. House choice: hides the waiting for an object store, bounds the memory."""

_Task = TypeVar("_Task")
_Done = TypeVar("_Done")
_Partition = tuple[int, date]


class LakeHome:
    """The lake of one database, within one of its connections."""

    def __init__(self, con: duckdb.DuckDBPyConnection, objects: Objects) -> None:
        self._con = con
        self._objects = objects
        self._manifest = Manifest(con)
        self._journal = Journal(objects)

    def count_same(self, samples: pl.DataFrame) -> int:
        """Return how many of these EXPORT_SAMPLES say what is stored already."""
        work = self._with_held(samples)
        return sum(_at_once(lambda one: int(meeting(one[1], self._read(one[2], one[1]))["same"].sum()), work))

    def merge(self, samples: pl.DataFrame, file_id: int) -> Merged:
        """Merge EXPORT_SAMPLES of a file that is later than all stored ones."""
        vessels = self._con.sql("SELECT tag_id, vessel FROM tag").pl()

        def planned(one: tuple[_Partition, pl.DataFrame, pl.DataFrame]) -> tuple[Plan, Merged]:
            where, incoming, holding = one
            return of_later_file(where, incoming, self._read(holding, incoming), file_id, vessels)

        outcomes = _at_once(planned, self._with_held(samples))
        self._carry_out([plan for plan, _ in outcomes])
        return Merged.together([merged for _, merged in outcomes])

    def merge_again(self, samples: pl.DataFrame, tag_ids: pl.Series, file_id: int) -> pl.DataFrame:
        """Put a file's samples of these tags in the place of those stored of it; return the keys that changed."""
        incoming = partitions(samples, self._manifest.groups_of(samples["tag_id"]))
        holding = self._manifest.holding(tag_ids)
        held = {(group, day): part for (group, day), part in _by_partition(holding).items()}
        nothing = samples.clear()

        def planned(where: _Partition) -> tuple[Plan, pl.DataFrame]:
            stored = self._read(held.get(where, holding.clear()), None)
            return of_earlier_file(where, incoming.get(where, nothing), stored, file_id, tag_ids)

        outcomes = _at_once(planned, sorted(incoming.keys() | held.keys()))
        self._carry_out([plan for plan, _ in outcomes])
        return pl.concat([samples.clear().select(KEY), *(changed for _, changed in outcomes)])

    def remake(self, change: Remake) -> None:
        """Move and convert stored samples of one tag that lie in the dates of another."""
        tag = pl.Series("tag_id", [change.tag_id], dtype=pl.Int32)
        holding = _by_partition(self._manifest.holding(tag, change.from_utc, change.to_utc))
        if not holding:
            return
        home = self._manifest.inherit(change.heir_id, change.tag_id)
        plans = []
        for (group, day), parts in holding.items():
            held = self._read(parts, None, condition(tag, change.from_utc, change.to_utc))
            remade = self._remade(held.drop("part_id"), change)
            rewritten = frozenset(held["part_id"])
            if group == home:
                plans.append(Plan(group, day, remade, held.select(KEY), rewritten))
            else:
                plans.append(Plan(group, day, remade.clear(), held.select(KEY), rewritten))
                plans.append(Plan(home, day, remade, held.clear().select(KEY), frozenset()))
        self._carry_out(plans)

    def _remade(self, samples: pl.DataFrame, change: Remake) -> pl.DataFrame:
        """Return SAMPLES converted; the database reckons, so that they are those of its own table to the bit."""
        self._con.register("converted", samples)
        remade = self._con.sql(
            f"""SELECT $heir::INTEGER AS tag_id, time_utc, {REMADE} AS value, text_value, flag, file_id
            FROM (SELECT *, {INVERTED} FROM converted)""",  # noqa: S608  made of constants
            params={**change.parameters, "heir": change.heir_id},
        ).pl()
        self._con.unregister("converted")
        return SAMPLES.build(remade)

    def extents(self, stretches: pl.DataFrame) -> pl.DataFrame:
        """Return what is stored in stretches (columns of `STRETCHES`) as EXTENTS.

        The manifest knows this of whole objects; only those that a stretch cuts are read.
        """
        holding = self._manifest.holding(stretches["tag_id"].unique())
        asked = holding.join(stretches, on="tag_id").filter(
            pl.col("last_utc").ge(pl.col("from_utc")).fill_null(value=True)
            & pl.col("first_utc").lt(pl.col("to_utc")).fill_null(value=True)
        )
        is_whole = pl.col("first_utc").ge(pl.col("from_utc")).fill_null(value=True) & pl.col("last_utc").lt(
            pl.col("to_utc")
        ).fill_null(value=True)
        whole = asked.filter(is_whole).select("stretch", "first_utc", "last_utc", "bad_rows", samples="rows")
        cut = self._extents_of_cut(asked.filter(~is_whole))
        found = pl.concat([whole, cut]).group_by("stretch").agg(
            samples=pl.col("samples").sum(), bad_samples=pl.col("bad_rows").sum(),
            first_utc=pl.col("first_utc").min(), last_utc=pl.col("last_utc").max(),
        )  # fmt: skip
        return EXTENTS.build(found)

    def _extents_of_cut(self, asked: pl.DataFrame) -> pl.DataFrame:
        """Return the same of objects that stretches cut, from their samples."""

        def of_object(parts: pl.DataFrame) -> pl.DataFrame:
            tag_ids = parts["tag_id"].unique()
            samples = self._objects.read([parts["name"][0]], condition(tag_ids))
            inside = samples.join(parts.select("stretch", "tag_id", "from_utc", "to_utc"), on="tag_id").filter(
                pl.col("time_utc").ge(pl.col("from_utc")).fill_null(value=True)
                & pl.col("time_utc").lt(pl.col("to_utc")).fill_null(value=True)
            )
            return inside.group_by("stretch").agg(
                first_utc=pl.col("time_utc").min(), last_utc=pl.col("time_utc").max(),
                bad_rows=(pl.col("flag") == BAD).sum().cast(pl.Int64), samples=pl.len().cast(pl.Int64),
            )  # fmt: skip

        nothing = asked.clear().select("stretch", "first_utc", "last_utc", "bad_rows", samples="rows")
        return pl.concat([nothing, *_at_once(of_object, asked.partition_by("part_id"))])

    def samples_of(self, tag_ids: pl.Series, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the samples of tags in [start, end) as SAMPLES."""
        if tag_ids.is_empty():
            return SAMPLES.empty()
        return read_samples(self._objects, self._manifest.holding(tag_ids, start, end), tag_ids, (start, end))

    def sent(self, tags: pl.DataFrame, start: datetime, end: datetime) -> LakeSamples:
        """Return what reads the samples of tags (rows of TAGS) in [start, end) without the database."""
        parts = self._manifest.holding(tags["tag_id"], start, end)
        return LakeSamples(self._objects, tags, parts.select("name", "tag_id", "first_utc", "last_utc"))

    def everything(self) -> Iterator[pl.DataFrame]:
        """Yield all samples as SAMPLES, object by object."""
        for name in self._manifest.names():
            yield self._objects.read([name]).sort(KEY)

    def put(self, samples: pl.DataFrame) -> None:
        """Add SAMPLES that meet no stored one."""
        cut = partitions(samples, self._manifest.groups_of(samples["tag_id"]))
        nothing = samples.clear().select(KEY)
        self._carry_out([Plan(*where, rows, nothing, frozenset()) for where, rows in cut.items()])

    def drop_before(self, time: datetime) -> int:
        """Drop the samples before a midnight of UTC; return how many. Objects are of days of UTC, so none is cut."""
        return self._drop(self._manifest.parts_before(time.date()))

    def clear(self) -> None:
        """Drop all samples."""
        self._drop(self._manifest.parts_before(date.max))

    def _drop(self, parts: pl.DataFrame) -> int:
        self._journal.begin(self._manifest.names)
        self._journal.replaced(self._manifest.replace(parts["part_id"].to_list(), []))
        return int(parts["rows"].sum())

    def committed(self) -> None:
        """Remove the objects that the transaction replaced."""
        self._journal.committed()

    def missing(self) -> list[str]:
        """Return the names of objects that the manifest has and the lake has not."""
        return sorted(set(self._manifest.names()) - set(self._objects.names()))

    def _with_held(self, samples: pl.DataFrame) -> list[tuple[_Partition, pl.DataFrame, pl.DataFrame]]:
        """Return each partition that samples fall into: they, and which objects may hold the same keys."""
        cut = partitions(samples, self._manifest.groups_of(samples["tag_id"]))
        if not cut:
            return []
        first, last = samples.select(first=pl.col("time_utc").min(), last=pl.col("time_utc").max()).row(0)
        holding = self._manifest.holding(samples["tag_id"].unique(), first, None).filter(pl.col("first_utc") <= last)
        held = _by_partition(holding)
        return [(where, incoming, held.get(where, holding.clear())) for where, incoming in cut.items()]

    def _read(
        self, holding: pl.DataFrame, incoming: pl.DataFrame | None, where: ds.Expression | None = None
    ) -> pl.DataFrame:
        """Return the samples of objects with columns of `HELD`: of the tags that they are asked for.

        Where there are incoming samples, only objects and tags are read that can hold the same keys.
        """
        if incoming is not None and holding.height:
            reach = incoming.group_by("tag_id").agg(low=pl.col("time_utc").min(), high=pl.col("time_utc").max())
            holding = holding.join(reach, on="tag_id").filter(
                (pl.col("first_utc") <= pl.col("high")) & (pl.col("last_utc") >= pl.col("low"))
            )
        parts = [
            self._objects.read([parts["name"][0]], condition(parts["tag_id"]) if where is None else where).with_columns(
                part_id=pl.lit(parts["part_id"][0], pl.Int32)
            )
            for parts in holding.partition_by("part_id", maintain_order=True)
        ]
        return pl.concat([pl.DataFrame(schema=HELD), *parts])

    def _carry_out(self, plans: Iterable[Plan]) -> None:
        """Write what plans (of partitions that are all different) say, and tell the manifest."""
        work = [plan for plan in plans if not plan.is_empty]
        if not work:
            return
        self._journal.begin(self._manifest.names)
        by_partition = _by_partition(self._manifest.parts_of_days({plan.day for plan in work}))
        nothing = pl.DataFrame(schema={"part_id": pl.Int32, "name": pl.String})

        def written(plan: Plan) -> tuple[list[int], list[NewPart]]:
            return self._write(plan, by_partition.get((plan.group_number, plan.day), nothing))

        outcomes = _at_once(written, work)
        gone = [part_id for parts, _ in outcomes for part_id in parts]
        self._journal.replaced(self._manifest.replace(gone, [part for _, parts in outcomes for part in parts]))

    def _write(self, plan: Plan, parts: pl.DataFrame) -> tuple[list[int], list[NewPart]]:
        """Write one partition's new object; return the objects it replaces, and it, unless nothing is left."""
        is_crowded = parts.height - len(plan.rewritten) >= MOST_OBJECTS
        old = parts if is_crowded else parts.filter(pl.col("part_id").is_in(list(plan.rewritten)))
        samples = plan.applied(self._objects.read(old["name"].to_list()))
        gone = old["part_id"].to_list()
        if samples.is_empty():
            return gone, []
        name = new_name(plan.group_number, plan.day)
        size = self._objects.write(name, samples)
        return gone, [NewPart(name, plan.group_number, plan.day, size, NewPart.tags_in(samples))]


def _by_partition(parts: pl.DataFrame) -> dict[_Partition, pl.DataFrame]:
    """Return rows of the manifest by group and day."""
    cut = parts.partition_by("group_number", "day", as_dict=True, maintain_order=True)
    return {(int(group), day): piece for (group, day), piece in cut.items()}


def _at_once(work: Callable[[_Task], _Done], tasks: Sequence[_Task]) -> list[_Done]:
    """Return what work makes of each task, in their order, several at a time."""
    if len(tasks) < 2:
        return [work(task) for task in tasks]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(work, tasks))
