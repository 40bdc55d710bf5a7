"""A lake keeps the very samples that the table keeps, whatever lands, comes again, is corrected or converted."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from itertools import count, pairwise
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from nightgauge.errors import NightgaugeError, SettingError, StoreDamaged
from nightgauge.store import Store, Writer, lake_home
from nightgauge.store.lake_journal import OPEN
from nightgauge.store.migrations import migrate
from nightgauge.vocabulary.frames import SAMPLES

from .naive import RawRow, taken_apart

# Few tags and values; times on three days (UTC), so that partitions are shared, crossed and missed.
RAW_ROWS = st.tuples(
    st.integers(1, 4),
    st.sampled_from([0.0, 1.0, 1439.0, 1440.0, 1501.0, 4000.0]),
    st.sampled_from([1.5, 2.5, None]),
    st.sampled_from(["good", "uncertain", "bad"]),
)
FILES = st.lists(st.lists(RAW_ROWS, max_size=12), min_size=1, max_size=5)


def everything(writer: Writer) -> pl.DataFrame:
    """Return all samples with the file each came from, whichever home they have."""
    return pl.concat([SAMPLES.empty(), *writer._home.everything()]).sort(SAMPLES.order)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory, make: Any) -> Iterator[Callable[[], Any]]:
    """Return a context that gives two writers with the same tags, at home in a table and in a new lake."""
    folder = tmp_path_factory.mktemp("lakes")
    numbers = count()
    with ExitStack() as stack:
        connections = []
        for kind in ("duckdb", "lake"):
            con = stack.enter_context(duckdb.connect(":memory:"))
            con.execute("SET TimeZone = 'UTC'")
            connections.append((con, kind))

        @contextmanager
        def opened() -> Iterator[tuple[Writer, Writer]]:
            writers = []
            for con, kind in connections:
                if not con.sql("SELECT 1 FROM duckdb_tables()").fetchall():
                    migrate(con, Path(":memory:"))
                con.execute("BEGIN")
                writer = Writer(con, folder)
                writer.sync_home(make.field(samples=kind, lake=str(folder / f"lake{next(numbers)}")))
                writer.sync_tags(make.field(), make.read_at)
                writer.sync_setup(make.field())
                writers.append(writer)
            try:
                yield writers[0], writers[1]
            finally:
                for con, _ in connections:
                    con.execute("ROLLBACK")

        yield opened


@pytest.fixture(params=[lake_home.MOST_OBJECTS, 2], ids=["many objects", "at most 2 objects"])
def _crowd(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lake_home, "MOST_OBJECTS", request.param)


@pytest.mark.usefixtures("_crowd")
@given(files=FILES)
@settings(max_examples=10, deadline=None)
def test_files_land_in_a_lake_as_in_the_table(pair: Any, make: Any, files: list[list[RawRow]]) -> None:
    with pair() as (table, lake):
        for number, rows in enumerate(files, start=1):
            parsed = make.parsed(**taken_apart(rows))
            counts = [w.land(make.export(f"{number}.csv"), parsed, make.read_at) for w in (table, lake)]
            assert counts[0] == counts[1]
        assert_frame_equal(everything(table), everything(lake), check_exact=True)
        for read in ("source_files", "quarantine", "changed_ranges"):
            assert_frame_equal(getattr(table, read)(), getattr(lake, read)())
        for until in (make.at(1), make.at(1440), make.at(9999)):
            assert_frame_equal(table.tag_activity(until), lake.tag_activity(until))
        for vessel in ("V-1", "V-2"):
            assert table.data_span(vessel) == lake.data_span(vessel)
            for span in ((0, 1500), (1, 1440), (1440, 9999)):
                start, end = map(make.at, span)
                there = lake.sent_samples([vessel], start, end)
                read = table.vessel_samples(vessel, start, end)
                assert_frame_equal(read, lake.vessel_samples(vessel, start, end), check_exact=True)
                assert_frame_equal(read, there.samples_of([vessel], start, end)[vessel], check_exact=True)


@given(rows=st.lists(RAW_ROWS, max_size=20), cuts=st.lists(st.integers(0, 20), max_size=4))
@settings(max_examples=10, deadline=None)
def test_any_split_into_files_leaves_the_same_samples(
    pair: Any, make: Any, rows: list[RawRow], cuts: list[int]
) -> None:
    edges = [0, *sorted(cuts), len(rows)]
    with pair() as (table, lake):
        table.land(make.export("whole.csv"), make.parsed(**taken_apart(rows)), make.read_at)
        for start, end in pairwise(edges):
            part = make.parsed(**taken_apart(rows[start:end]))
            lake.land(make.export(f"{start}.csv"), part, make.read_at)
        assert_frame_equal(everything(table).drop("file_id"), everything(lake).drop("file_id"), check_exact=True)


@pytest.mark.usefixtures("_crowd")
@given(
    files=st.lists(st.lists(RAW_ROWS, max_size=8), min_size=1, max_size=3),
    again=st.lists(RAW_ROWS, max_size=8),
    which=st.integers(1, 3),
    tags=st.sets(st.sampled_from(["LI-1", "PI-1", "LI-2"]), min_size=1),
)
@settings(max_examples=12, deadline=None)
def test_a_second_reading_leaves_the_same_in_both(
    pair: Any, make: Any, files: list[list[RawRow]], again: list[RawRow], which: int, tags: set[str]
) -> None:
    with pair() as homes:
        changed = []
        for writer in homes:
            for number, rows in enumerate(files, start=1):
                parsed = make.parsed(**taken_apart(rows), tags=["LI-1", "PI-1", "ZS-1", "LI-2"])
                writer.land(make.export(f"{number}.csv"), parsed, make.read_at)
            owed = ", ".join(f"'{tag}'" for tag in sorted(tags))
            writer._con.execute(f"UPDATE file_tag SET reread_owed = tag IN ({owed})")
            file_id = min(which, len(files))
            changed.append(writer.land_again(file_id, make.parsed(**taken_apart(again)), make.read_at))
        assert changed[0] == changed[1]
        assert_frame_equal(everything(homes[0]), everything(homes[1]), check_exact=True)
        assert_frame_equal(homes[0].changed_ranges(), homes[1].changed_ranges())


def changed_tags(make: Any) -> dict[str, list[Any]]:
    """Return lists of tags that tags.csv may change to."""
    level, pressure, switch, other = make.level, make.pressure, make.switch, make.other_level
    centimetres = make.tag("LI-1", "interface_level", "cm")
    return {
        "other unit": [centimetres, pressure, switch, other],
        "other vessel": [replace(level, vessel="V-2"), pressure, switch, other],
        "cut in two": [
            replace(level, to_utc=make.at(1440)),
            replace(centimetres, from_utc=make.at(1440), vessel="V-3"),
            pressure,
            switch,
            other,
        ],
        "ends earlier": [replace(level, to_utc=make.at(1000)), pressure, switch, other],
        "gone": [pressure, switch, other],
        "as it was": [level, pressure, switch, other],
    }


@given(
    rows=st.lists(RAW_ROWS, min_size=1, max_size=20),
    changes=st.lists(
        st.sampled_from(["other unit", "other vessel", "cut in two", "ends earlier", "gone", "as it was"]),
        min_size=1, max_size=3,
    ),
)  # fmt: skip
@settings(max_examples=12, deadline=None)
def test_a_changed_tags_csv_makes_the_same_of_both(
    pair: Any, make: Any, rows: list[RawRow], changes: list[str]
) -> None:
    with pair() as homes:
        for writer in homes:
            writer.land(make.export(), make.parsed(**taken_apart(rows)), make.read_at)
            for change in changes:
                writer.sync_tags(make.field(changed_tags(make)[change]), make.read_at)
        assert_frame_equal(everything(homes[0]), everything(homes[1]), check_exact=True)
        assert_frame_equal(homes[0].changed_ranges(), homes[1].changed_ranges())
        for vessel in ("V-1", "V-2", "V-3"):
            read = [w.vessel_samples(vessel, make.at(0), make.at(9999)) for w in homes]
            assert_frame_equal(*read, check_exact=True)


def test_texts_and_odd_numbers_come_back_as_they_went(pair: Any, make: Any) -> None:
    values = [0.1 + 0.2, -0.0, 1e-320, 1.7976931348623157e308, None]
    with pair() as homes:
        for writer in homes:
            writer.sync_tags(make.field([make.tag("W", "well_on_test", "")]), make.read_at)
            tag_id = writer.tag_activity(make.read_at)["tag_id"][0]
            parsed = make.parsed([(tag_id, minute, value, "good") for minute, value in enumerate(values)])
            for row, text in enumerate(["W-1", "", "Ä 7", None, "W-1"]):
                parsed.samples[row, "text_value"] = text
            writer.land(make.export(), parsed, make.read_at)
        assert_frame_equal(everything(homes[0]), everything(homes[1]), check_exact=True)
        assert everything(homes[1])["text_value"].to_list() == ["W-1", "", "Ä 7", None, "W-1"]


def lake_field(make: Any, tmp_path: Path, **others: Any) -> Any:
    return make.field(samples="lake", lake=str(tmp_path / "lake"), **others)


@pytest.fixture
def lake_store(tmp_path: Path, make: Any) -> Store:
    """Return a database on disk, at home in a lake, that knows the tags of `store`."""
    made = Store(tmp_path / "nightgauge.duckdb")
    with made.writing() as writer:
        writer.sync_home(lake_field(make, tmp_path))
        writer.sync_tags(make.field(), make.read_at)
    return made


def objects_in(tmp_path: Path) -> set[str]:
    return {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.parts and path.is_file()} - {
        "nightgauge.duckdb"
    }


ROWS = [(1, 0.0, 1.0, "good"), (1, 1.0, 2.0, "good"), (4, 1500.0, 3.0, "good")]


def test_objects_are_named_by_group_and_day_and_sorted(lake_store: Store, tmp_path: Path, make: Any) -> None:
    with lake_store.writing() as writer:
        writer.land(make.export(), make.parsed(ROWS), make.read_at)
    names = sorted(objects_in(tmp_path))
    assert [name.split("/")[2:4] for name in names] == [
        ["group=0000", "day=2026-03-01"],
        ["group=0000", "day=2026-03-02"],
    ]
    assert pl.read_parquet(tmp_path / names[0])["value"].to_list() == [1.0, 2.0]


def test_an_overwritten_object_is_gone_after_the_commit_and_a_repeat_writes_none(
    lake_store: Store, tmp_path: Path, make: Any
) -> None:
    with lake_store.writing() as writer:
        writer.land(make.export("a.csv"), make.parsed(ROWS), make.read_at)
    before = objects_in(tmp_path)
    with lake_store.writing() as writer:
        writer.land(make.export("b.csv"), make.parsed(ROWS), make.read_at)
    assert objects_in(tmp_path) == before
    with lake_store.writing() as writer:
        writer.land(make.export("c.csv"), make.parsed([(1, 1.0, 9.0, "good")]), make.read_at)
        assert objects_in(tmp_path) > before
    after = objects_in(tmp_path)
    assert len(after) == len(before) == len(after & before) + 1


def test_a_killed_landing_leaves_orphans_that_nobody_reads_and_the_next_writer_removes(
    lake_store: Store, tmp_path: Path, make: Any
) -> None:
    with lake_store.writing() as writer:
        writer.land(make.export("a.csv"), make.parsed(ROWS), make.read_at)
    kept = objects_in(tmp_path)

    def land_and_die() -> None:
        with lake_store.writing() as writer:
            writer.land(
                make.export("b.csv"), make.parsed([(1, 0.0, 7.0, "good"), (2, 9000.0, 7.0, "good")]), make.read_at
            )
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        land_and_die()
    assert len(objects_in(tmp_path) - kept) == 3  # two objects and the mark of the run
    with lake_store.reading() as reader:
        assert reader.source_files().height == 1
        assert reader.vessel_samples("V-1", make.at(0), make.at(9999))["value"].to_list() == [1.0, 2.0]
    with lake_store.writing() as writer:
        writer.land(make.export("c.csv"), make.parsed([(2, 3.0, 1.0, "good")]), make.read_at)
    assert objects_in(tmp_path) - kept == {name for name in objects_in(tmp_path) - kept if "day=2026-03-01" in name}
    assert len(objects_in(tmp_path) - kept) == 1


def test_a_run_killed_after_its_commit_leaves_what_it_replaced_for_the_next(
    lake_store: Store, tmp_path: Path, make: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    with lake_store.writing() as writer:
        writer.land(make.export("a.csv"), make.parsed(ROWS), make.read_at)
    with monkeypatch.context() as killed:
        killed.setattr(Writer, "committed", lambda self: None)
        with lake_store.writing() as writer:
            writer.land(make.export("b.csv"), make.parsed([(1, 0.0, 7.0, "good")]), make.read_at)
    assert any(f"/{OPEN}/" in name for name in objects_in(tmp_path))
    with lake_store.writing() as writer:
        writer.land(make.export("c.csv"), make.parsed([(1, 1.0, 8.0, "good")]), make.read_at)
    assert len(objects_in(tmp_path)) == 2
    with lake_store.reading() as reader:
        assert reader.vessel_samples("V-1", make.at(0), make.at(9999))["value"].to_list() == [7.0, 8.0]


def test_an_object_that_is_gone_is_told_as_damage(lake_store: Store, tmp_path: Path, make: Any) -> None:
    with lake_store.writing() as writer:
        writer.land(make.export(), make.parsed(ROWS), make.read_at)
    for name in objects_in(tmp_path):
        (tmp_path / name).unlink()
    with lake_store.reading() as reader, pytest.raises(StoreDamaged, match="does not hold what the database says"):
        reader.vessel_samples("V-1", make.at(0), make.at(9999))


def test_samples_move_into_a_lake_and_back(tmp_path: Path, make: Any) -> None:
    store = Store(tmp_path / "nightgauge.duckdb")
    with store.writing() as writer:
        writer.sync_tags(make.field(), make.read_at)
        writer.land(make.export(), make.parsed(ROWS), make.read_at)
        table = everything(writer)
    with store.writing() as writer:
        writer.sync_home(lake_field(make, tmp_path))
    with store.writing() as writer:
        assert writer._con.sql("SELECT count(*) FROM sample").fetchall() == [(0,)]
        assert_frame_equal(everything(writer), table)
        writer.land(make.export("b.csv"), make.parsed([(2, 5.0, 1.0, "good")]), make.read_at)
    with store.writing() as writer:
        writer.sync_home(make.field())
        assert everything(writer).height == table.height + 1
    assert objects_in(tmp_path) == set()


def test_a_lake_that_moved_is_used_where_it_is_now_if_all_of_it_is_there(
    lake_store: Store, tmp_path: Path, make: Any
) -> None:
    with lake_store.writing() as writer:
        writer.land(make.export(), make.parsed(ROWS), make.read_at)
    elsewhere = make.field(samples="lake", lake=str(tmp_path / "elsewhere"))
    with (
        pytest.raises(SettingError, match=r"2 of its objects are not at .*; copy the folder"),
        lake_store.writing() as w,
    ):
        w.sync_home(elsewhere)
    (tmp_path / "lake").rename(tmp_path / "elsewhere")
    with lake_store.writing() as writer:
        writer.sync_home(elsewhere)
        assert everything(writer).height == 3


def test_a_field_folder_can_be_moved_with_its_lake(lake_store: Store, tmp_path: Path, make: Any) -> None:
    with lake_store.writing() as writer:
        writer.land(make.export(), make.parsed(ROWS), make.read_at)
    moved = tmp_path / "moved"
    moved.mkdir()
    for name in ("nightgauge.duckdb", "lake"):
        (tmp_path / name).rename(moved / name)
    with Store(moved / "nightgauge.duckdb").reading() as reader:
        assert reader.vessel_samples("V-1", make.at(0), make.at(9999)).height == 2


def test_two_databases_share_a_lake_without_meeting(lake_store: Store, tmp_path: Path, make: Any) -> None:
    with lake_store.writing() as writer:
        writer.land(make.export(), make.parsed(ROWS), make.read_at)
    with Store(tmp_path / "replay.duckdb").writing() as writer:
        writer.sync_home(lake_field(make, tmp_path))
        writer.sync_tags(make.field(), make.read_at)
        writer._home.clear()
    with lake_store.reading() as reader:
        assert reader.vessel_samples("V-1", make.at(0), make.at(9999)).height == 2


def test_only_a_lake_can_be_read_elsewhere(store: Store, make: Any) -> None:
    with store.reading() as reader, pytest.raises(SettingError, match=r'set samples = "lake" in field\.toml'):
        reader.sent_samples(["V-1"], make.at(0), make.at(1))


@pytest.mark.parametrize("address", ["nosuch://bucket/lake", "/proc/lake"])
def test_a_place_that_is_none_is_told_with_the_key_to_look_at(address: str, tmp_path: Path, make: Any) -> None:
    store = Store(tmp_path / "nightgauge.duckdb")

    def land() -> None:
        with store.writing() as writer:
            writer.sync_home(make.field(samples="lake", lake=address))
            writer.sync_tags(make.field(), make.read_at)
            writer.land(make.export(), make.parsed(ROWS), make.read_at)

    with pytest.raises(NightgaugeError, match=r"look at `lake` in field\.toml"):
        land()
