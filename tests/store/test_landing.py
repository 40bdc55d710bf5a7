"""Landing an export: every row accounted for, the later file wins, only changes are marked."""

from datetime import timedelta
from itertools import pairwise
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.errors import ProgrammerError
from nightgauge.store import Store, Writer, landing
from nightgauge.store.ranges import ONE_RANGE_GAP, TICK

from .naive import NaiveStore, RawRow, ranges_of, taken_apart

# Few tags, times and values, so that files overlap, repeat and contradict each other all the time.
RAW_ROWS = st.tuples(
    st.integers(1, 4),
    st.sampled_from([0.0, 1.0, 2.0, 1500.0, 1501.0, 5000.0]),
    st.sampled_from([1.5, 2.5, None]),
    st.sampled_from(["good", "uncertain", "bad"]),
)
FILES = st.lists(st.lists(RAW_ROWS, max_size=12), min_size=1, max_size=5)
VESSEL_OF = {1: "V-1", 2: "V-1", 3: "V-1", 4: "V-2"}


def stored_samples(writer: Writer) -> dict[Any, Any]:
    """Return what is stored by tag and time."""
    table = writer._con.sql("SELECT tag_id, time_utc, value, flag::VARCHAR FROM sample").fetchall()
    found = {(tag, time): (value, flag) for tag, time, value, flag in table}
    assert len(found) == len(table), "two samples of one tag and time"
    return found


def naive_samples(naive: NaiveStore, make: Any) -> dict[Any, Any]:
    return {(tag, make.at(minute)): said for (tag, minute), said in naive.stored.items()}


@pytest.fixture(params=[landing.SLICE_ROWS, 3], ids=["in one slice", "in slices of 3"])
def _slices(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(landing, "SLICE_ROWS", request.param)


@pytest.mark.usefixtures("_slices")
@given(files=FILES)
@settings(max_examples=25, deadline=None)
def test_files_land_as_the_naive_twin_lands_them_row_by_row(
    rolled_back: Any, make: Any, files: list[list[RawRow]]
) -> None:
    naive = NaiveStore()
    with rolled_back() as writer:
        for number, rows in enumerate(files, start=1):
            counts = writer.land(make.export(f"{number}.csv"), make.parsed(**taken_apart(rows)), make.read_at)
            expected = naive.land(rows)
            assert counts == landing.FileCounts(
                file_id=number,
                rows_read=len(rows),
                rows_stored=expected["stored"],
                rows_repeated=expected["repeated"],
                rows_replaced=expected["replaced"],
                rows_overwrote=expected["overwrote"],
                rows_uncertain=expected["uncertain"],
            )
        assert stored_samples(writer) == naive_samples(naive, make)
        changed: dict[Any, list[Any]] = {}
        for tag, minute in naive.changed:
            changed.setdefault(VESSEL_OF[tag], []).append(make.at(minute))
        assert writer.changed_ranges().rows() == ranges_of(changed, ONE_RANGE_GAP, TICK)


@given(rows=st.lists(RAW_ROWS, max_size=20), cuts=st.lists(st.integers(0, 20), max_size=4))
@settings(max_examples=25, deadline=None)
def test_any_split_into_files_leaves_the_same_samples(
    rolled_back: Any, make: Any, rows: list[RawRow], cuts: list[int]
) -> None:
    edges = [0, *sorted(cuts), len(rows)]
    with rolled_back() as writer:
        writer.land(make.export("whole.csv"), make.parsed(**taken_apart(rows)), make.read_at)
        whole = stored_samples(writer)
    with rolled_back() as writer:
        for start, end in pairwise(edges):
            part = make.parsed(**taken_apart(rows[start:end]))
            writer.land(make.export(f"{start}.csv"), part, make.read_at)
        assert stored_samples(writer) == whole


@given(rows=st.lists(RAW_ROWS, min_size=1, max_size=20), again=st.integers(0, 20))
@settings(max_examples=20, deadline=None)
def test_overlapping_exports_of_one_history_change_nothing_more(
    rolled_back: Any, make: Any, rows: list[RawRow], again: int
) -> None:
    history = [(*key, *said) for key, said in {(t, m): (v, f) for t, m, v, f in rows}.items()]
    with rolled_back() as writer:
        writer.land(make.export("a.csv"), make.parsed(history), make.read_at)
        before = stored_samples(writer)
        writer._con.execute("DELETE FROM changed_range")
        overlap = history[:again]
        counts = writer.land(make.export("b.csv"), make.parsed(overlap), make.read_at)
        assert (counts.rows_repeated, counts.rows_stored) == (len(overlap), 0)
        assert stored_samples(writer) == before
        assert writer.changed_ranges().is_empty()


def test_an_older_value_coming_back_is_stored_and_not_taken_as_repeated(store: Store, make: Any) -> None:
    with store.writing() as w:
        for name, value in (("a.csv", 1.0), ("b.csv", 2.0), ("c.csv", 1.0)):
            counts = w.land(make.export(name), make.parsed([(1, 0, value, "good")]), make.read_at)
            assert counts.rows_stored == 1
    with store.reading() as r:
        assert r.vessel_samples("V-1", make.at(0), make.at(1))["value"].to_list() == [1.0]


def test_text_samples_differ_by_their_text(writer: Writer, make: Any) -> None:
    writer.sync_tags(make.field([make.tag("W", "well_on_test", "")]), make.read_at)
    tag_id = writer.tag_activity(make.read_at)["tag_id"][0]
    for name, well, stored in (("a.csv", "W-1", 1), ("b.csv", "W-1", 0), ("c.csv", "W-2", 1)):
        parsed = make.parsed([(tag_id, 0, None, "good")])
        parsed.samples[0, "text_value"] = well
        assert writer.land(make.export(name), parsed, make.read_at).rows_stored == stored


def test_the_ledger_row_holds_what_the_counts_say(store: Store, make: Any) -> None:
    parsed = make.parsed(
        [(1, 10, 1.0, "good"), (1, 20, 2.0, "uncertain")],
        losers=[(1, 10, 9.0, "good")],
        repeated=3,
        kept_out={"X-9": 4},
    )
    with store.writing() as w:
        counts = w.land(make.export("a.csv"), parsed, make.read_at)
    with store.reading() as r:
        row = r.source_files().row(0, named=True)
        kept_out = r.quarantine().row(0, named=True)
    assert (row["state"], row["path"], row["sha256"]) == ("stored", "a.csv", "hash of a.csv")
    assert row["rows_read"] == 10 == counts.rows_read
    assert (row["rows_stored"], row["rows_repeated"], row["rows_replaced"], row["rows_quarantined"]) == (2, 3, 1, 4)
    assert (row["first_utc"], row["last_utc"]) == (make.at(10), make.at(20))
    assert row["rows_uncertain"] == 1
    assert (kept_out["file_id"], kept_out["tag"], kept_out["rows"]) == (row["file_id"], "X-9", 4)


def test_an_empty_export_lands_with_nothing(store: Store, make: Any) -> None:
    with store.writing() as w:
        counts = w.land(make.export(), make.parsed(), make.read_at)
        assert counts == landing.FileCounts(counts.file_id)
        assert w.source_files()["first_utc"].to_list() == [None]


def test_an_earlier_row_of_the_file_equal_to_the_stored_sample_is_repeated(store: Store, make: Any) -> None:
    with store.writing() as w:
        w.land(make.export("a.csv"), make.parsed([(1, 0, 1.0, "good")]), make.read_at)
        second = make.parsed([(1, 0, 3.0, "good")], losers=[(1, 0, 1.0, "good"), (1, 0, 2.0, "good")])
        counts = w.land(make.export("b.csv"), second, make.read_at)
    assert (counts.rows_stored, counts.rows_repeated, counts.rows_replaced) == (1, 1, 1)


def test_changes_far_apart_are_ranges_of_their_own(writer: Writer, make: Any) -> None:
    writer.land(make.export("a.csv"), make.parsed([(1, 0, 1.0, "good"), (1, 40_000, 1.0, "good")]), make.read_at)
    ranges = writer.changed_ranges()
    assert ranges["from_utc"].to_list() == [make.at(0), make.at(40_000)]
    assert ranges["to_utc"].to_list() == [make.at(0) + TICK, make.at(40_000) + TICK]


def test_a_late_export_marks_its_own_stretch_and_no_other_vessel(writer: Writer, make: Any) -> None:
    history = [(tag, float(minute), 1.0, "good") for tag in (1, 4) for minute in range(0, 60_000, 600)]
    writer.land(make.export("a.csv"), make.parsed(history), make.read_at)
    for vessel in ("V-1", "V-2"):
        nothing = writer.derived(vessel, None, make.at(0))
        writer.replace_derived(vessel, make.at(0), make.at(70_000), nothing)
    assert writer.changed_ranges().is_empty()
    late = [(1, float(minute), 2.0, "good") for minute in (3_005, 3_100)] + [(1, 2_400.0, 1.0, "good")]
    writer.land(make.export("late.csv"), make.parsed(late), make.read_at)
    assert writer.changed_ranges().rows() == [("V-1", make.at(3_005), make.at(3_100) + TICK)]


def test_counts_that_do_not_add_up_are_a_bug(writer: Writer, make: Any) -> None:
    parsed = make.parsed([(1, 0, 1.0, "good")])
    object.__setattr__(parsed, "rows_read", 5)
    with pytest.raises(ProgrammerError, match="read 5 rows but accounts for 1"):
        writer.land(make.export(), parsed, make.read_at)


def test_samples_of_a_tag_nobody_knows_are_a_bug(writer: Writer, make: Any) -> None:
    with pytest.raises(ProgrammerError, match=r"tag_id \[99\], not in table tag"):
        writer.land(make.export(), make.parsed([(99, 0, 1.0, "good")]), make.read_at)


def test_a_failed_landing_leaves_nothing(store: Store, make: Any) -> None:
    def land_and_fail() -> None:
        with store.writing() as w:
            w.land(make.export(), make.parsed([(1, 0, 1.0, "good")], kept_out={"X": 1}), make.read_at)
            raise ZeroDivisionError("a bug in the caller")

    with pytest.raises(ZeroDivisionError, match="a bug in the caller"):
        land_and_fail()
    with store.reading() as r:
        assert r.source_files().is_empty()
        assert r.quarantine().is_empty()
        assert r.data_span("V-1") is None
        assert r.changed_ranges().is_empty()


def test_samples_lie_sorted_by_tag_and_time(writer: Writer, make: Any) -> None:
    rows = [(tag, float(minute), 1.0, "good") for minute in (5, 1, 3) for tag in (2, 1)]
    parsed = make.parsed(rows)
    shuffled = parsed.samples.sample(fraction=1.0, shuffle=True, seed=7)
    writer.land(make.export(), make.parsed(rows).__class__(**{**vars(parsed), "samples": shuffled}), make.read_at)
    lying = writer._con.sql("SELECT tag_id, time_utc FROM sample ORDER BY rowid").pl()
    assert lying.equals(lying.sort("tag_id", "time_utc"))


def test_many_rows_land_whole_beside_what_is_stored(writer: Writer, make: Any) -> None:
    count = 300_000  # more than two of the engine's row groups of 122,880, so that skipping them is exercised
    times = pl.select(time_utc=pl.datetime_range(make.at(0), make.at(0) + timedelta(seconds=count - 1), "1s"))
    samples = times.select(
        tag_id=pl.lit(1, pl.Int32), time_utc="time_utc", value=pl.lit(1.0), text_value=pl.lit(None, pl.String),
        flag=pl.lit("good").cast(landing.EXPORT_SAMPLES.schema["flag"]),
    )  # fmt: skip
    empty = make.parsed()
    first = empty.__class__(**{**vars(empty), "samples": samples, "rows_read": count})
    assert writer.land(make.export("a.csv"), first, make.read_at).rows_stored == count
    every_third = pl.when(pl.int_range(pl.len()) % 3 == 0).then(2.0).otherwise(pl.col("value"))
    second = empty.__class__(**{**vars(first), "samples": samples.with_columns(value=every_third)})
    counts = writer.land(make.export("b.csv"), second, make.read_at)
    assert (counts.rows_overwrote, counts.rows_stored, counts.rows_repeated) == (100_000, 100_000, 200_000)
    assert writer._con.sql("SELECT count(*), sum(value) FROM sample").fetchall() == [(count, count + 100_000.0)]
