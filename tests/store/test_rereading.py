"""Reading again: whatever happens to tags.csv, the samples end up as if all exports were read with it at first."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.field.settings import TagRow
from nightgauge.store import Store, Writer
from nightgauge.store.schema import IN_FORCE
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, EXPORT_SAMPLES, TAGS_SEEN, ParsedExport
from nightgauge.vocabulary.signals import SIGNALS

from .naive import from_scratch

NAMES = ("A", "B")
NamedRow = tuple[str, int, str]
"""tag name, minute, raw text: one row of an export, before tags.csv has a say."""


@dataclass(frozen=True)
class Reading:
    """The part of reading an export that hangs on tags.csv: names, dates, units and states."""

    ids: tuple[tuple[int, TagRow], ...]
    at: Any

    def row_of(self, name: str, minute: int) -> tuple[int, TagRow] | None:
        """Return the row of tags.csv in force for a name at a time."""
        time = self.at(minute)
        for tag_id, row in self.ids:
            in_dates = (row.from_utc is None or time >= row.from_utc) and (row.to_utc is None or time < row.to_utc)
            if row.tag == name and in_dates:
                return tag_id, row
        return None

    def value(self, raw: str, row: TagRow) -> float | None:
        """Return the stored value of a raw text, or None where it has none in this row."""
        if raw in row.states:
            return row.states[raw]
        if SIGNALS[row.signal].kind == "state" and row.states:
            return None
        return row.conversion.apply(float(raw)) if raw.replace(".", "").isdigit() else None

    def meaning(self, found: NamedRow) -> tuple[Any, Any] | None:
        """Return what a row says in vessel, signal, time and value: what the rest of the program sees of it."""
        name, minute, raw = found
        in_force = self.row_of(name, minute)
        value = None if in_force is None else self.value(raw, in_force[1])
        if in_force is None or value is None:
            return None
        return (in_force[1].vessel, in_force[1].signal, self.at(minute)), value

    def parse(self, rows: Iterable[NamedRow], only: frozenset[str] | None = None) -> ParsedExport:
        """Take a file apart as `streams` does; each name and minute stands once in these files."""
        good, kept_out = [], []
        rows = [row for row in rows if only is None or row[0] in only]
        for number, (name, minute, raw) in enumerate(rows, start=2):
            in_force = self.row_of(name, minute)
            value = None if in_force is None else self.value(raw, in_force[1])
            if in_force is None or value is None:
                kept_out.append({"row_number": number, "rows": 1, "reason": "kept out", "raw_text": raw, "tag": name})
            else:
                good.append({"tag_id": in_force[0], "time_utc": self.at(minute), "value": value, "flag": "good"})
        seen = (
            pl.DataFrame({"tag": [row[0] for row in rows]}, schema={"tag": pl.String})
            .group_by("tag")
            .agg(rows=pl.len())
        )
        samples = EXPORT_SAMPLES.build(pl.DataFrame(good) if good else EXPORT_SAMPLES.empty())
        quarantine = EXPORT_QUARANTINE.build(pl.DataFrame(kept_out) if kept_out else EXPORT_QUARANTINE.empty())
        return ParsedExport(samples, EXPORT_SAMPLES.empty(), quarantine, len(rows), 0, 0, 0, TAGS_SEEN.build(seen), {})


def read_again(
    writer: Writer, reading: Reading, reread: frozenset[str], files: Mapping[int, list[NamedRow]], at: Any
) -> None:
    """Do what the pipeline does with what is owed."""
    for file_id in writer.files_with_tags(reread)["file_id"]:
        if file_id in files:
            writer.land_again(file_id, reading.parse(files[file_id], reread), at)


def meanings(writer: Writer, make: Any) -> dict[Any, Any]:
    return {
        (vessel, signal, time): value
        for vessel in [f"{name} {place}" for name in NAMES for place in ("first", "second")]
        for signal, time, value, *_ in writer.vessel_samples(vessel, make.at(-10), make.at(10_000)).rows()
    }


def lying_beside(writer: Writer, table: list[TagRow]) -> list[Any]:
    """Return the samples of names in tags.csv that stand in `sample` without counting for a vessel."""
    joined = writer._con.sql(
        f"SELECT tag, time_utc FROM sample JOIN tag USING (tag_id) WHERE NOT coalesce({IN_FORCE}, false)"
    )
    return [found for found in joined.fetchall() if found[0] in {row.tag for row in table}]


# Few times and texts, so that exports overlap, agree and contradict each other; decimals as a historian writes them.
MINUTES = (0, 2, 4)
RAW = st.sampled_from(["46.1", "0.3", "117.35", "OPEN", "SHUT", "1"])
FILES = st.lists(
    st.lists(st.none() | RAW, min_size=6, max_size=6).map(
        lambda raws: [(NAMES[n // 3], MINUTES[n % 3], raw) for n, raw in enumerate(raws) if raw is not None]
    ),
    min_size=1,
    max_size=4,
)
SIGNAL_AND_UNIT = st.sampled_from(
    [
        ("interface_level", "in"), ("interface_level", "cm"), ("oil_level", "in"), ("vessel_pressure", "psig"),
        ("water_dump_open", ""), ("water_dump_open", ""),
    ]
)  # fmt: skip
STATES = st.sampled_from([{}, {"OPEN": 1.0, "SHUT": 0.0}, {"OPEN": 0.0, "SHUT": 1.0}])


@st.composite
def tag_tables(draw: st.DrawFn, make: Any) -> list[TagRow]:
    """Draw a tags.csv: each name in one or two rows, or not at all, of any vessel, signal, unit, states and dates."""
    rows = []
    for name in NAMES:
        split = draw(st.sampled_from([None, None, 2, 3]))
        dates = [(None, None)] if split is None else [(None, make.at(split)), (make.at(split), None)]
        for start, end in dates:
            if draw(st.integers(0, 5)) == 0:
                continue
            signal, unit = draw(SIGNAL_AND_UNIT)
            states = draw(STATES) if signal == "water_dump_open" else {}
            vessel = draw(st.sampled_from([f"{name} first", f"{name} second"]))
            rows.append(make.tag(name, signal, unit, vessel, from_utc=start, to_utc=end, states=states))
    return rows


@given(data=st.data())
@settings(max_examples=18, deadline=None)
def test_samples_are_as_if_all_exports_had_been_read_with_the_last_tags(rolled_back: Any, make: Any, data: Any) -> None:
    files = dict(enumerate(data.draw(FILES), start=1))
    tables = [data.draw(tag_tables(make)) for _ in range(3)]
    with rolled_back() as writer:
        synced = writer.sync_tags(make.field(tables[0]), make.read_at)
        for file_id, rows in files.items():
            parsed = Reading(synced.ids, make.at).parse(rows)
            counts = writer.land(make.export(f"{file_id}.csv"), parsed, make.read_at)
            assert counts.rows_read == counts.rows_stored + counts.rows_repeated + counts.rows_quarantined
        for table in tables[1:]:
            ledger = writer.source_files()
            synced = writer.sync_tags(make.field(table), make.read_at)
            read_again(writer, Reading(synced.ids, make.at), synced.reread, files, make.read_at)
            assert meanings(writer, make) == from_scratch(files.values(), Reading(synced.ids, make.at).meaning)
            assert writer.source_files().equals(ledger)
            assert not lying_beside(writer, table)
            assert writer.sync_tags(make.field(table), make.read_at).reread == frozenset()


SAMPLED = st.dictionaries(st.integers(0, 4), st.sampled_from([1.5, 2.5]), max_size=5)


@given(files=st.lists(st.tuples(SAMPLED, SAMPLED), min_size=1, max_size=4))
@settings(max_examples=18, deadline=None)
def test_a_second_reading_that_finds_other_rows_leaves_what_it_found(
    rolled_back: Any, make: Any, files: list[tuple[dict[int, float], dict[int, float]]]
) -> None:
    """As when the field's zone is corrected: any sample may vanish, move or change."""

    def parsed(values: dict[int, float]) -> ParsedExport:
        rows: ParsedExport = make.parsed([(1, minute, v, "good") for minute, v in values.items()], tags=["LI-1"])
        return rows

    expected: dict[int, float] = {}
    with rolled_back() as writer:
        for number, (first, second) in enumerate(files, start=1):
            writer.land(make.export(f"{number}.csv"), parsed(first), make.read_at)
            expected |= second
        before = writer.vessel_samples("V-1", make.at(0), make.at(9)).select("time_utc", "value").rows()
        writer._con.execute("DELETE FROM changed_range")
        synced = writer.sync_tags(make.field(time_zone="UTC"), make.read_at)
        for file_id in writer.files_with_tags(synced.reread)["file_id"]:
            writer.land_again(file_id, parsed(files[file_id - 1][1]), make.read_at)
        after = writer.vessel_samples("V-1", make.at(0), make.at(9)).select("time_utc", "value").rows()
        marked = writer.changed_ranges().rows()
    assert dict(after) == {make.at(minute): value for minute, value in expected.items()}
    for time, _ in set(before) ^ set(after):
        assert any(start <= time < end for _, start, end in marked)


@given(data=st.data())
@settings(max_examples=15, deadline=None)
def test_changed_ranges_cover_every_sample_that_means_something_else(rolled_back: Any, make: Any, data: Any) -> None:
    files = dict(enumerate(data.draw(FILES), start=1))
    tables = [data.draw(tag_tables(make)) for _ in range(2)]
    with rolled_back() as writer:
        synced = writer.sync_tags(make.field(tables[0]), make.read_at)
        for file_id, rows in files.items():
            writer.land(make.export(f"{file_id}.csv"), Reading(synced.ids, make.at).parse(rows), make.read_at)
        writer._con.execute("DELETE FROM changed_range")
        before = meanings(writer, make)
        synced = writer.sync_tags(make.field(tables[1]), make.read_at)
        read_again(writer, Reading(synced.ids, make.at), synced.reread, files, make.read_at)
        after = meanings(writer, make)
        marked = writer.changed_ranges().rows()
    for key in before.keys() | after.keys():
        if before.get(key) != after.get(key):
            vessel, _, time = key
            assert any(vessel == v and start <= time < end for v, start, end in marked), key


def test_a_new_tag_is_owed_by_the_exports_that_held_it_until_they_are_read_again(store: Store, make: Any) -> None:
    files = {1: [("NEW", 0, "10.0"), ("LI-1", 0, "46.0")], 2: [("LI-1", 5, "46.5")]}
    field = make.field([make.level, make.tag("NEW", "vessel_pressure", "kPag")])
    with store.writing() as w:
        ids = ((1, make.level),)
        for file_id, rows in files.items():
            w.land(make.export(f"{file_id}.csv"), Reading(ids, make.at).parse(rows), make.read_at)
    with store.writing() as w:
        synced = w.sync_tags(field, make.read_at)
        assert synced.reread == {"NEW"}
        assert w.files_with_tags(synced.reread).select("file_id", "path").rows() == [(1, "1.csv")]
    # A night killed here owes it still.
    with store.writing() as w:
        synced = w.sync_tags(field, make.read_at)
        assert synced.reread == {"NEW"}
        w._con.execute("DELETE FROM changed_range")
        assert w.land_again(1, Reading(synced.ids, make.at).parse(files[1], synced.reread), make.read_at) == 1
    with store.writing() as w:
        assert w.sync_tags(field, make.read_at).reread == frozenset()
        assert w.changed_ranges()["from_utc"].to_list() == [make.at(0)]
        assert w.vessel_samples("V-1", make.at(0), make.at(1)).filter(pl.col("signal") == "vessel_pressure")[
            "value"
        ].to_list() == [10.0]


def test_quarantine_keeps_what_was_kept_out_and_says_that_it_was_read_since(store: Store, make: Any) -> None:
    rows = [("NEW", 0, "10.0"), ("NEW", 1, "broken"), ("OTHER", 0, "1.0")]
    with store.writing() as w:
        w.land(make.export("a.csv"), Reading((), make.at).parse(rows), make.read_at)
        synced = w.sync_tags(make.field([make.tag("NEW", "vessel_pressure", "kPag")]), make.read_at)
        later = make.at(100_000)
        w.land_again(1, Reading(synced.ids, make.at).parse(rows, synced.reread), later)
    with store.reading() as r:
        kept_out, ledger = r.quarantine(), r.source_files()
    first_reading = kept_out.filter(pl.col("reread_utc").is_null())
    assert first_reading["rows"].sum() == ledger["rows_quarantined"].sum() == 3
    assert first_reading.filter(pl.col("superseded_utc").is_null())["tag"].to_list() == ["OTHER"]
    assert kept_out.filter(reread_utc=later).select("tag", "raw_text").rows() == [("NEW", "broken")]


def test_an_export_that_is_gone_stays_owed_and_its_samples_stay(store: Store, make: Any) -> None:
    rows = [("LI-1", 0, "46.0"), ("LI-1", 10, "47.0")]
    with store.writing() as w:
        w.land(make.export("a.csv"), Reading(((1, make.level),), make.at).parse(rows), make.read_at)
        split = [
            make.tag("LI-1", "interface_level", "in", to_utc=make.at(5)),
            make.tag("LI-1", "interface_level", "cm", from_utc=make.at(5)),
        ]
        assert w.sync_tags(make.field(split), make.read_at).reread == {"LI-1"}
    with store.writing() as w:
        assert w.sync_tags(make.field(split), make.read_at).reread == {"LI-1"}
        values = w.vessel_samples("V-1", make.at(0), make.at(20))["value"].to_list()
    # 46 in is 1.1684 m and 47 cm is 0.47 m, by definition of the inch (25.4 mm).
    assert values == pytest.approx([1.1684, 0.47], rel=1e-12)


def test_an_export_that_was_moved_is_offered_where_it_was_last_seen(writer: Writer, make: Any) -> None:
    writer.land(make.export("a.csv", "same"), Reading((), make.at).parse([("NEW", 0, "1.0")]), make.read_at)
    writer.duplicate(make.export("archive/a.csv", "same"), "a.csv", make.read_at)
    reread = writer.sync_tags(make.field([make.tag("NEW", "vessel_pressure", "kPag")]), make.read_at).reread
    assert writer.files_with_tags(reread).rows(named=True) == [
        {"file_id": 1, "path": "archive/a.csv", "sha256": "same"}
    ]


def test_nothing_asked_means_no_file_to_read_again(writer: Writer) -> None:
    assert writer.files_with_tags(frozenset()).is_empty()
