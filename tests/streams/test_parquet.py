"""Parquet exports: types of times and values, long and wide, and what is refused."""

import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.errors import SourceError
from nightgauge.streams import TagTable, parquet

from .conftest import TAGS, Bench, make_field

NOON = datetime(2026, 4, 1, 12)  # noqa: DTZ001  of the wall clock in Denver, 18:00 UTC


def file_of(columns, **how):
    out = io.BytesIO()
    table = columns if isinstance(columns, pa.Table) else pa.table(columns)
    pq.write_table(table, out, **how)
    return out.getvalue()


@pytest.mark.parametrize(
    ("times", "hour"),
    [
        (pa.array([NOON], pa.timestamp("us")), 18),
        (pa.array([NOON], pa.timestamp("ns")), 18),
        (pa.array([NOON], pa.timestamp("s")), 18),
        (pa.array([NOON.replace(tzinfo=UTC)], pa.timestamp("ms", "UTC")), 12),
        (pa.array([NOON.replace(tzinfo=UTC)], pa.timestamp("us", "America/Denver")), 12),
        (pa.array([NOON.replace(tzinfo=UTC)], pa.timestamp("us", "+02:00")), 12),
        (pa.array([date(2026, 4, 1)], pa.date32()), 6),
        (pa.array([1_775_044_800], pa.int64()), 12),
        (pa.array([1_775_044_800_000], pa.int64()), 12),
        (pa.array([1_775_044_800], pa.uint32()), 12),
        (pa.array([1_775_044_800.0], pa.float64()), 12),
        (pa.array([Decimal(1_775_044_800)], pa.decimal128(20, 3)), 12),
        (pa.array(["2026-04-01T12:00:00"]), 18),
        (pa.array(["2026-04-01T12:00:00Z"], pa.large_string()), 12),
        (pa.array(["2026-04-01T12:00:00Z"]).dictionary_encode(), 12),
        (pa.array([b"2026-04-01T12:00:00Z"], pa.binary()), 12),
    ],
)
@pytest.mark.parametrize("form", ["long", "wide"])
def test_times_of_every_type_are_read(bench, times, hour, form):
    columns = {"tag": ["L"], "ts": times, "value": [5.0]} if form == "long" else {"ts": times, "L": [5.0]}
    found = bench.read(file_of(columns), "export.parquet")
    assert found.samples["time_utc"].to_list() == [datetime(2026, 4, 1, hour, tzinfo=UTC)]


@pytest.mark.parametrize(
    "times",
    [pa.nulls(1), pa.array([True]), pa.array([timedelta(1)]), pa.array([[1]]), pa.array([None], pa.timestamp("us"))],
)
def test_what_is_no_time_keeps_the_row_out(bench, times):
    found = bench.read(file_of({"tag": ["L"], "ts": times, "value": [5.0]}), "export.parquet")
    assert found.quarantine["reason"].to_list() == ["unreadable time stamp"]


@pytest.mark.parametrize(
    ("tag", "values", "expected"),
    [
        ("L", pa.array([5], pa.int8()), 5.0),
        ("L", pa.array([5], pa.uint64()), 5.0),
        ("L", pa.array([5.5], pa.float32()), 5.5),
        ("L", pa.array([np.float16(5.5)], pa.float16()), 5.5),
        ("L", pa.array([Decimal("5.25")], pa.decimal128(10, 2)), 5.25),
        ("L", pa.array(["5,5"]), 5.5),
        ("L", pa.array(["5.5"]).dictionary_encode(), 5.5),
        ("L", pa.array(["5.5"], pa.string_view()), 5.5),
        ("L", pa.array([b"5.5"], pa.binary()), 5.5),
        ("S", pa.array([True]), 1.0),
        ("S", pa.array([0]), 0.0),
        ("S", pa.array([1.0]), 1.0),
        ("S", pa.array(["open"]), 1.0),
        ("W", pa.array(["QB-W1"]), "QB-W1"),
        ("W", pa.array([12]), "12"),
        ("W", pa.array([12.0]), "12"),
        ("W", pa.array([12.5]), "12.5"),
        ("L", pa.array([float("nan")]), "NaN or infinite"),
        ("L", pa.array([float("-inf")]), "NaN or infinite"),
        ("L", pa.array([True]), "text where a number is due"),
        ("L", pa.array([[1, 2]]), "text where a number is due"),
        ("L", pa.array([date(2026, 1, 1)]), "text where a number is due"),
        ("L", pa.array([b"\xff"], pa.binary()), "text where a number is due"),
        ("S", pa.array([2]), "neither 0 nor 1 nor a state named in tags.csv"),
    ],
)
@pytest.mark.parametrize("form", ["long", "wide"])
def test_values_of_every_type_are_read(bench, tag, values, expected, form):
    times = pa.array([NOON.replace(tzinfo=UTC)])
    columns = {"tag": [tag], "ts": times, "value": values} if form == "long" else {"ts": times, tag: values}
    found = bench.read(file_of(columns), "export.parquet")
    assert found.rows_read == 1
    told = found.samples.select(pl.coalesce("text_value", pl.col("value").cast(pl.String)))["text_value"].to_list()
    assert (told or found.quarantine["reason"].to_list()) == [str(expected)]


def test_an_empty_value_is_no_sample_in_wide_and_told_in_long(bench):
    times = pa.array([NOON] * 3)
    wide = bench.read(
        file_of({"ts": times, "L": [1.0, None, 3.0], "W": ["A", "", None], "X": pa.nulls(3)}), "a.parquet"
    )
    assert (wide.rows_read, wide.quarantine.height) == (3, 0)
    long = bench.read(
        file_of({"tag": ["L"] * 3, "ts": times, "value": [1.0, None, None], "q": [192, 192, 0]}), "b.parquet"
    )
    assert long.samples.select("value", "flag").rows() == [(None, "bad")]
    assert long.losers.select("value", "flag").rows() == [(1.0, "good")]
    assert long.quarantine.select("row_number", "reason").rows() == [(2, "no value")]


@pytest.mark.parametrize(
    ("quality", "flags"),
    [
        (pa.array([192, 64, None]), ["good", "uncertain", "good"]),
        (pa.array([192.0, 0.0, None]), ["good", "bad", "good"]),
        (pa.array(["Good", "Bad", ""]), ["good", "bad", "good"]),
        (pa.array(["Good", "Bad", None]).dictionary_encode(), ["good", "bad", "good"]),
        (pa.nulls(3), ["good"] * 3),
    ],
)
def test_quality_of_every_type_is_read(bench, quality, flags):
    times = pa.array([NOON + timedelta(hours=i) for i in range(3)])
    found = bench.read(file_of({"tag": ["L"] * 3, "ts": times, "value": [1, 2, 3], "Quality": quality}), "a.parquet")
    assert found.samples["flag"].to_list() == flags


def test_rows_are_counted_from_one_across_row_groups_and_batches(bench, monkeypatch):
    monkeypatch.setattr(parquet, "BATCH_CELLS", 6)
    rows = 10
    tags = ["X" if i == 7 else "L" for i in range(rows)]
    times = [None if i in (0, 9) else NOON + timedelta(hours=i) for i in range(rows)]
    found = bench.read(file_of({"tag": tags, "ts": times, "value": range(rows)}, row_group_size=4), "a.parquet")
    assert found.quarantine.select("row_number", "reason", "raw_text").rows() == [
        (1, "unreadable time stamp", "L,,0.0"),
        (8, "tag is not in tags.csv", "X,2026-04-01 19:00:00.000000,7.0"),
        (10, "unreadable time stamp", "L,,9.0"),
    ]
    assert found.samples["value"].to_list() == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0]


def test_two_columns_of_one_name_are_both_read(bench, values):
    table = pa.table([pa.array([NOON]), pa.array([1.0]), pa.array([2.0])], names=["ts", "L", "L"])
    found = bench.read(file_of(table), "a.parquet")
    assert values(found) == {12: [2.0]}
    assert found.losers["value"].to_list() == [1.0]


def test_a_parquet_file_may_be_named_anything(bench):
    assert bench.read(file_of({"ts": [NOON], "L": [1.0]}), "export.csv").samples.height == 1


@pytest.mark.parametrize("columns", [{"ts": pa.array([], pa.timestamp("us")), "L": pa.array([], pa.float64())}])
def test_a_parquet_file_without_rows_is_no_error(bench, columns):
    assert bench.read(file_of(columns), "a.parquet").rows_read == 0


WHOLE = file_of({"tag": ["L"] * 1000, "ts": [NOON] * 1000, "value": np.arange(1000.0)}, compression="zstd")


@pytest.mark.parametrize("content", [WHOLE[:-1], WHOLE[:-200], WHOLE[:4], b"PAR1" * 10, WHOLE[:200] + WHOLE[900:]])
def test_a_cut_file_is_refused_whole_in_one_line(bench, content):
    with pytest.raises(SourceError, match=r"^a\.parquet, reading it as Parquet: found .* expected a whole") as refused:
        bench.read(content, "a.parquet")
    assert "\n" not in str(refused.value)


def test_a_damaged_page_is_refused(bench):
    packed = bytearray(
        file_of({"tag": ["L"] * 1000, "ts": [NOON] * 1000, "value": np.arange(1000.0)}, write_page_checksum=True)
    )
    packed[len(packed) // 2] ^= 0xFF
    with pytest.raises(SourceError, match="a whole Parquet file"):
        bench.read(bytes(packed), "a.parquet")


@pytest.mark.parametrize("columns", [{"a": [1], "b": [2]}, {"ts": [NOON]}, {"tag": ["L"], "ts": [NOON]}])
def test_a_file_without_recognisable_columns_is_refused(bench, columns):
    with pytest.raises(SourceError, match=r"a\.parquet, its columns: found .* expected columns for tag, time stamp"):
        bench.read(file_of(columns), "a.parquet")


def test_a_file_of_far_more_cells_than_bytes_is_refused(bench, monkeypatch):
    monkeypatch.setattr(parquet, "CELLS_COUNT_FROM", 10_000)
    monkeypatch.setattr(parquet, "MAX_CELLS_PER_BYTE", 20)
    # run-length encoding holds any number of equal cells in a few bytes
    bomb = file_of({"ts": [NOON] * 100_000, "L": np.zeros(100_000)})
    with pytest.raises(SourceError, match=r"its size: found 200000 cells in .* expected at most 20 cells per byte"):
        bench.read(bomb, "a.parquet")


@settings(deadline=None, max_examples=60)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["L", "P", "S", "W", "X", ""]),
            st.datetimes(datetime(1989, 12, 1), datetime(2026, 12, 1)),  # noqa: DTZ001  of the wall clock
            st.sampled_from(["1", "0", "2.5", "OPEN", "", "nan", "A"]),
            st.sampled_from(["", "Good", "odd", "Bad", "100"]),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_a_long_parquet_file_reads_as_the_same_rows_in_csv(tmp_path_factory, rows):
    frame = pl.DataFrame(rows, schema=["tag", "time", "value", "quality"], orient="row")
    bench = Bench(make_field(tmp_path_factory.mktemp("f")), TagTable(TAGS))
    out = io.BytesIO()
    frame.write_parquet(out)
    typed = bench.read(out.getvalue(), "a.parquet")
    text = frame.with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.6f")).write_csv()
    plain = bench.read(text, "a.csv")
    assert typed.samples.equals(plain.samples)
    assert typed.losers.equals(plain.losers)
    assert typed.tags_seen.equals(plain.tags_seen)
    told = ["row_number", "rows", "reason", "tag"]
    shifted = plain.quarantine.with_columns(pl.col("row_number") - 1)
    assert typed.quarantine.select(told).equals(shifted.select(told))
    assert (typed.rows_read, typed.rows_repeated, typed.rows_assumed_first, typed.unknown_quality) == (
        plain.rows_read, plain.rows_repeated, plain.rows_assumed_first, plain.unknown_quality,
    )  # fmt: skip
