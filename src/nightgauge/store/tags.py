"""The table `tag` kept equal to tags.csv, and what that means for samples already stored.

A row keeps its `tag_id` as long as name, `from`, states and the dimension of its signal stay; a row that
means something else gets a new one, and the old stays as the home of samples it still explains.

* Unit, scale, offset, zero or span changed: stored values are converted in place.
* Vessel, signal of the same dimension or `max_gap` changed: the samples count for the new.
* A name is new, or its rows' dates, states or dimension changed: exports that held it are owed a reading
  again; until then, and for good where the export is gone, numbers are carried over to the row now in force.
* The field's time zone, time format or quality codes changed: all exports are owed a reading again.
* A row is gone from tags.csv: its samples stay, but belong to no vessel's samples.

In all cases the stretch of the samples concerned is marked as changed for the vessels concerned.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import duckdb
import polars as pl

from nightgauge.field.settings import Field, TagRow
from nightgauge.store import ranges, rereading
from nightgauge.store.conversions import Remake
from nightgauge.store.frames_io import insert, select
from nightgauge.store.home import STRETCHES, SampleHome
from nightgauge.store.ranges import TICK
from nightgauge.store.remembered import remember
from nightgauge.units import Conversion
from nightgauge.vocabulary.frames import TAGS
from nightgauge.vocabulary.signals import signal_of


@dataclass(frozen=True)
class TagSync:
    """The tags in force, and those for which exports must be read again."""

    ids: tuple[tuple[int, TagRow], ...]
    reread: frozenset[str]


@dataclass(frozen=True)
class _Tag:
    """One row of table `tag`."""

    tag_id: int
    tag: str
    vessel: str
    signal: str
    unit: str
    factor: float
    constant: float
    states: str
    from_utc: datetime | None
    to_utc: datetime | None
    max_gap_s: float
    removed_utc: datetime | None = None

    @staticmethod
    def of(tag_id: int, row: TagRow) -> "_Tag":
        """Return the table row that a row of tags.csv makes."""
        return _Tag(
            tag_id, row.tag, row.vessel, row.signal, row.unit, row.conversion.factor, row.conversion.constant,
            states_text(row.states), row.from_utc, row.to_utc, row.max_gap_s,
        )  # fmt: skip

    @property
    def meaning(self) -> tuple[object, ...]:
        """Return what a tag_id stands for."""
        return (self.tag, self.from_utc, self.states, signal_of(self.signal).dimension)

    @property
    def dates(self) -> tuple[object, ...]:
        """Return which raw rows it takes and how it reads them."""
        return (self.tag_id, self.from_utc, self.to_utc)

    @property
    def is_affine(self) -> bool:
        """Return whether every stored value is raw x factor + constant, so that the raw value is known."""
        return not self.states and signal_of(self.signal).kind in {"analogue", "total"}

    @property
    def conversion(self) -> Conversion:
        """Return the map from raw to stored value."""
        return Conversion(self.factor, self.constant)


def states_text(states: Mapping[str, float]) -> str:
    """Return text states as one text, the same for the same states.

    Examples
    --------
    >>> states_text({"OPEN": 1.0, "CLOSED": 0.0})
    'CLOSED=0;OPEN=1'

    """
    return ";".join(f"{text}={value:g}" for text, value in sorted(states.items()))


def sync_tags(con: duckdb.DuckDBPyConnection, home: SampleHome, field: Field, now: datetime) -> TagSync:
    """Make the table equal to tags.csv and mark what that changes, within the caller's transaction."""
    stored = [_Tag(**row) for row in select(con, TAGS).iter_rows(named=True)]
    old = {tag.tag_id: tag for tag in stored}
    new = {tag_id: _Tag.of(tag_id, row) for tag_id, row in _numbered(stored, field.tags)}
    moved = [tag for tag in old.values() if tag.removed_utc is None and new.get(tag.tag_id) != tag]
    returned = [tag for tag in old.values() if tag.removed_utc is not None and tag.tag_id in new]
    reread = _renewed_names(old, new)
    _mark(con, home, [*moved, *returned], new)
    for tag in [*moved, *returned]:
        _carry_over(home, tag, new, old)
    if moved or returned or new.keys() - old.keys():
        _rewrite(con, old, new, now)
    rereading.owe(con, reread)
    if remember(con, "reading", repr((field.time_zone, field.time_format, field.quality_codes))):
        rereading.owe_all(con)
    return TagSync(tuple(zip(new, field.tags, strict=True)), rereading.owed_tags(con))


def _numbered(stored: Sequence[_Tag], rows: Sequence[TagRow]) -> list[tuple[int, TagRow]]:
    """Return each row of tags.csv with its number: kept where its meaning was known, in use or not, else new."""
    latest_last = sorted(stored, key=lambda tag: (tag.removed_utc is None, tag.tag_id))
    known = {tag.meaning: tag.tag_id for tag in latest_last}
    following = max((tag.tag_id for tag in stored), default=0) + 1
    numbered = []
    for row in rows:
        tag_id = known.get(_Tag.of(0, row).meaning)
        if tag_id is None:
            tag_id, following = following, following + 1
        numbered.append((tag_id, row))
    return numbered


def _renewed_names(old: Mapping[int, _Tag], new: Mapping[int, _Tag]) -> frozenset[str]:
    """Return the names whose exports must be read again."""

    def dates_by_name(tags: Mapping[int, _Tag]) -> dict[str, set[object]]:
        dates: dict[str, set[object]] = {}
        for tag in tags.values():
            if tag.removed_utc is None:
                dates.setdefault(tag.tag, set()).add(tag.dates)
        return dates

    before = dates_by_name(old)
    renewed = {name for name, dates in dates_by_name(new).items() if dates != before.get(name)}
    # With text states the stored number does not tell the raw text, so another unit or scale needs the raw again.
    rescaled = {
        tag.tag for tag in new.values()
        if tag.tag_id in old and not tag.is_affine and tag.conversion != old[tag.tag_id].conversion
    }  # fmt: skip
    return frozenset(renewed | rescaled)


def _mark(con: duckdb.DuckDBPyConnection, home: SampleHome, concerned: Sequence[_Tag], new: Mapping[int, _Tag]) -> None:
    """Mark the stretch of the samples of tags that changed, for the vessels they belonged to and belong to now.

    Where only the dates of a row changed, only samples that come under it or fall out of it are concerned.
    """
    rows = [stretch for tag in concerned for stretch in _stretches(tag, new)]
    stretches = pl.DataFrame(rows, schema={**STRETCHES, "vessel": pl.String}, orient="row")
    stretches = stretches.with_columns(stretch=pl.int_range(pl.len(), dtype=pl.Int32))
    found = home.extents(stretches.select(*STRETCHES)).join(stretches.select("stretch", "vessel"), on="stretch")
    spans = found.group_by("vessel").agg(from_utc=pl.col("first_utc").min(), to_utc=pl.col("last_utc").max() + TICK)
    ranges.add(con, spans)


def _stretches(tag: _Tag, new: Mapping[int, _Tag]) -> list[tuple[object, ...]]:
    """Return what is concerned of a changed tag's samples, as `STRETCHES` and vessel, not yet numbered."""
    itself = new.get(tag.tag_id)
    if itself is not None and replace(itself, to_utc=tag.to_utc) == tag:
        # A row that ends earlier or later: what lies between its two ends comes under it or falls out.
        ends = {tag.to_utc, itself.to_utc}
        dates = sorted(end for end in ends if end is not None)
        start = dates[0] if tag.from_utc is None else max(tag.from_utc, dates[0])
        return [(0, tag.tag_id, start, None if None in ends else dates[-1], tag.vessel)]
    vessels = {tag.vessel} | {row.vessel for row in new.values() if row.tag == tag.tag}
    return [(0, tag.tag_id, None, None, vessel) for vessel in sorted(vessels)]


def _carry_over(home: SampleHome, tag: _Tag, new: Mapping[int, _Tag], old: Mapping[int, _Tag]) -> None:
    """Convert a changed tag's numbers to the row now in force at their time, where there is one that can take them."""
    if not tag.is_affine:
        return
    for heir in new.values():
        is_itself = heir.tag_id == tag.tag_id
        is_new_row = heir.tag == tag.tag and heir.tag_id not in old
        if heir.is_affine and (is_itself or is_new_row) and (not is_itself or heir.conversion != tag.conversion):
            home.remake(Remake(tag.tag_id, heir.tag_id, tag.conversion, heir.conversion, heir.from_utc, heir.to_utc))


def _rewrite(con: duckdb.DuckDBPyConnection, old: Mapping[int, _Tag], new: Mapping[int, _Tag], now: datetime) -> None:
    """Write the table: rows of tags.csv as they are now, others kept and dated as removed."""
    removed = [tag for tag_id, tag in old.items() if tag_id not in new]
    rows = [vars(tag) | {"removed_utc": tag.removed_utc or now} for tag in removed] + [
        vars(tag) for tag in new.values()
    ]
    con.execute("DELETE FROM tag")
    insert(con, TAGS, pl.DataFrame(rows, schema=TAGS.schema))
