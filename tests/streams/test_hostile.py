"""Exports that nobody meant well: refused in one line or read, never a traceback, a hang or 2 GiB."""

import gzip
import io
import os
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.errors import SourceError
from nightgauge.streams import (
    TagTable,
    content,
    delimited,
    discover,
    fingerprint,
    gather,
    headers,
    judge,
    kept_out,
    lines,
    parquet,
)

from .conftest import TAGS, Bench, make_field

LONG = b"tag,time,value,quality\n"
TIMES = pa.array(np.full(4, 1_777_700_000))


def file_of(columns):
    out = io.BytesIO()
    pq.write_table(pa.table(columns), out)
    return out.getvalue()


def adds_up(found):
    kept = found.samples.height + found.losers.height + found.rows_repeated
    return found.rows_read == kept + found.quarantine["rows"].sum()


def told_in_one_line(error):
    assert "\n" not in str(error)


PIECES = st.one_of(
    st.binary(max_size=30),
    st.sampled_from([b"\0", b'"', b"\n", b"\r", b",", b";", b"\t", b"\xff\xfe", b"\xef\xbb\xbf", b"P", b"9999-12-31"]),
    st.sampled_from([b"P,2026-05-01T00:00Z,1,Good\n", b"W,2026-05-01T00:00Z,=1+1,\n", b"L,1e308,1e308,4294967296\n"]),
    st.sampled_from([b"../../x,2026-05-01,1,\n", b"'; DROP TABLE sample; --,2026-05-01,1,\n", b"<b>,0,1,\n"]),
)


@settings(deadline=None, max_examples=150)
@given(
    st.sampled_from([b"", LONG, b"Time;P;L\n"]),
    st.lists(PIECES, max_size=12).map(b"".join),
    st.sampled_from([1 << 20, 7]),
    st.sampled_from([bytes, gzip.compress, lambda text: pa.compress(text, codec="zstd", asbytes=True)]),
)
def test_any_bytes_are_read_or_refused_in_one_line(tmp_path_factory, head, text, block, pack):
    bench = Bench(make_field(tmp_path_factory.mktemp("f")), TagTable(TAGS))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(content, "BLOCK_BYTES", block)
        try:
            found = bench.read(pack(head + text))
        except SourceError as error:
            return told_in_one_line(error)
    assert adds_up(found)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 1 << 16), st.integers(0, 255)), min_size=1, max_size=4))
def test_a_parquet_file_with_changed_bytes_is_read_or_refused_in_one_line(tmp_path_factory, edits):
    bench = Bench(make_field(tmp_path_factory.mktemp("f")), TagTable(TAGS))
    changed = bytearray(file_of({"tag": ["P", "L", None, "X"], "ts": TIMES, "value": ["1", "a", None, "2"]}))
    for place, letter in edits:
        changed[place % len(changed)] = letter
    try:
        found = bench.read(bytes(changed), "export.csv")
    except SourceError as error:
        return told_in_one_line(error)
    assert adds_up(found)


def test_a_first_line_with_the_fields_that_the_next_lacks_is_one_misfit_as_the_next(bench):
    """Found by fuzzing: the separators of both together are those of two whole lines."""
    found = bench.read("Time;P;L\n2026-05-01T00:00Z;1;2;3;4\n2026-05-01T01:00Z\n2026-05-01T02:00Z;1;2\n")
    assert found.quarantine["reason"].to_list() == ["wrong number of fields"] * 2
    assert found.samples.height == 2


def test_a_parquet_file_whose_names_are_no_text_is_refused(bench):
    """Found by fuzzing: a damaged footer, or a writer of another encoding."""
    whole = file_of({"t\u00e9g": ["P"] * 4, "ts": TIMES, "value": [1.0] * 4})
    with pytest.raises(SourceError, match="reading it as Parquet"):
        bench.read(whole.replace("\u00e9".encode(), b"\xe9\xe9"), "a.parquet")


def test_blank_lines_before_a_header_cost_no_more_than_others(bench, values):
    found = bench.read(b"\n" * 400_000 + b" \r\n" + LONG + b"P,2026-05-01T00:00Z,5,\nX,2026-05-01,1,\n")
    assert values(found) == {11: [11.0]}
    assert found.quarantine["row_number"].to_list() == [400_004]


@pytest.mark.parametrize("line", [b"a\n", b'"P,2026-05-01T00:00Z,1,\n', b",,,,," + b"," * 80 + b"\n"])
@pytest.mark.parametrize("good", [0, 30])
def test_a_file_of_which_most_lines_are_no_rows_is_refused(bench, monkeypatch, line, good):
    monkeypatch.setattr(lines, "MISFITS_COUNT_FROM", 50)
    row = b"P,2026-05-01T00:00Z,5,Good\n"
    with pytest.raises(SourceError, match="rows of which most have not the 4 columns of the header"):
        bench.read(LONG + line * 60 + row * good)
    assert bench.read(LONG + line * 60 + row * 80).quarantine["rows"].sum() == 60


@settings(deadline=None, max_examples=40)
@given(st.lists(st.sampled_from(["P,soon,1,", "L,soon,1,", "P,2026-05-01T00:00Z,x,", ",0,1,", "a"]), max_size=40))
def test_rows_kept_out_beyond_the_first_are_told_together_and_all_counted(tmp_path_factory, rows):
    bench = Bench(make_field(tmp_path_factory.mktemp("f")), TagTable(TAGS))
    text = "\n".join([LONG.decode().strip(), *rows])
    one_by_one = bench.read(text).quarantine
    told = []
    for block in (1 << 20, 64):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(kept_out, "TOLD_ONE_BY_ONE", 3)
            patch.setattr(gather, "FOLD_FROM_ROWS", 5)
            patch.setattr(content, "BLOCK_BYTES", block)
            told.append(bench.read(text).quarantine)
    assert told[0].equals(told[1])
    by = ("reason", "tag")
    sums = one_by_one.group_by(by).agg(pl.col("rows").sum()).rows()
    assert Counter(told[0].group_by(by).agg(pl.col("rows").sum()).rows()) == Counter(sums)
    firsts = one_by_one.filter(pl.int_range(pl.len()).over("reason") < 3)
    assert firsts.join(told[0], on=one_by_one.columns, how="anti", nulls_equal=True).is_empty()
    assert told[0].height <= 3 * 4 + 6


def test_an_export_of_too_many_tags_is_refused(bench, monkeypatch):
    rows = b"".join(b"T%d,0,1,\n" % n for n in range(50))
    assert bench.read(LONG + rows).tags_seen.height == 50
    monkeypatch.setattr(judge, "MAX_TAGS", 49)
    with pytest.raises(SourceError, match=r"its tags: found more than .* different ones"):
        bench.read(LONG + rows)
    monkeypatch.setattr(judge, "MAX_TAGS", 50)
    monkeypatch.setattr(judge, "MAX_TAG_BYTES", 100)
    with pytest.raises(SourceError, match="or very long ones"):
        bench.read(LONG + rows)


def test_quality_words_beyond_the_first_are_told_together(bench, monkeypatch):
    monkeypatch.setattr(gather, "MAX_WORDS", 2)
    rows = b"".join(b"P,%d,1,word %d\n" % (1_777_700_000 + n, n % 5) for n in range(10))
    assert bench.read(LONG + rows).unknown_quality == {"(all others)": 6, "word 0": 2, "word 1": 2}


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_header_of_too_many_columns_is_refused(bench, monkeypatch, separator):
    monkeypatch.setattr(headers, "MAX_COLUMNS", 5)
    names = ["Time", "P", "L", "S", "W", "X"]
    assert bench.read(separator.join(names[:5]) + "\n").rows_read == 0
    with pytest.raises(SourceError, match="100,000 columns at most"):
        bench.read(separator.join(names) + "\n")


@pytest.mark.parametrize("column", ["tag", "ts", "value", "quality"])
@pytest.mark.parametrize("kind", [pa.string(), pa.binary()])
def test_a_long_text_in_a_dictionary_is_counted_for_each_cell(bench, monkeypatch, column, kind):
    monkeypatch.setattr(parquet, "MAX_TEXT_BYTES", 3000)
    columns = {"tag": ["P"] * 4, "ts": TIMES, "value": [1.0] * 4, "quality": [192] * 4}
    whole = file_of({**columns, column: pa.array(["x" * 1000] * 4).cast(kind)})
    with pytest.raises(SourceError, match="its texts: found 0 MiB of them in 4 rows"):
        bench.read(whole, "a.parquet")
    assert bench.read(file_of({**columns, "remark": ["x" * 1000] * 4}), "a.parquet").samples.height == 1


def test_columns_that_pack_beyond_the_ratio_are_refused(bench, monkeypatch):
    monkeypatch.setattr(parquet, "RATIO_COUNTS_FROM_BYTES", 1 << 16)
    out = io.BytesIO()
    table = pa.table({"ts": np.arange(100_000) * 0, "L": np.zeros(100_000)})
    pq.write_table(table, out, compression="zstd", use_dictionary=False)
    with pytest.raises(SourceError, match=r"its size: found 1 MiB of columns in .* at most 500 times its size"):
        bench.read(out.getvalue(), "a.parquet")


MAP = pa.array([[("k", 1)]] * 4, pa.map_(pa.string(), pa.int64()))


@pytest.mark.parametrize("nested", [pa.array([[1, 2]] * 4), pa.array([{"a": 1}] * 4), MAP])
def test_nested_columns_are_no_values_and_cost_nothing(bench, nested):
    tall = bench.read(file_of({"tag": ["P"] * 4, "ts": TIMES, "value": nested}), "a.parquet")
    assert tall.quarantine["reason"].to_list() == ["text where a number is due"] * 4
    wide = bench.read(file_of({"ts": TIMES, "P": nested, "L": [1.0] * 4}), "b.parquet")
    assert (wide.samples.height, wide.rows_repeated) == (1, 3)
    assert wide.quarantine["tag"].to_list() == ["P"] * 4
    no_time = bench.read(file_of({"ts": nested, "P": [1.0] * 4}), "c.parquet")
    assert no_time.quarantine["reason"].to_list() == ["unreadable time stamp"] * 4


def test_a_column_within_a_column_does_not_take_the_place_of_another(bench):
    inside = pa.array([{"PV": 5.0}] * 4)
    whole = file_of({"ts": TIMES, "P": inside, "P.PV": [1.0] * 4, "L": [2.0] * 4})
    with pytest.raises(SourceError, match="columns within columns of the same names"):
        bench.read(whole, "a.parquet")


@pytest.mark.parametrize(
    ("stamp", "reason"),
    [
        ("9999-12-31T23:59:59Z", "time stamp later than the clock at reading plus one day"),
        ("9999-12-31T23:59:59", "time stamp later than the clock at reading plus one day"),
        ("9999-12-31T23:59:59-23:59", "time stamp later than the clock at reading plus one day"),
        ("0001-01-01T00:00:00", "time stamp before 1990"),
        ("0001-01-01T00:00:00+23:59", "time stamp before 1990"),
        ("9" * 16, "time stamp later than the clock at reading plus one day"),
        ("9" * 19, "unreadable time stamp"),
        ("-" + "9" * 30, "unreadable time stamp"),
        ("1e400", "unreadable time stamp"),
    ],
)
def test_times_beyond_all_calendars_are_kept_out(bench, stamp, reason):
    found = bench.read(f"tag,time,value\nP,{stamp},1\n")
    assert found.quarantine["reason"].to_list() == [reason]


@pytest.mark.parametrize("kind", [pa.timestamp("ms"), pa.timestamp("us", "UTC"), pa.timestamp("us", "Denver")])
@pytest.mark.parametrize("number", [2**63 - 1, -(2**63) + 1, 2**62, 253_402_300_800_000_000, -62_135_596_800_000_001])
@pytest.mark.parametrize("column", ["tag", "ts", "value", "quality"])
def test_typed_times_beyond_all_calendars_are_no_times(bench, kind, number, column):
    """Found by hand: the engine panics when it writes such a time, or one in a zone it does not know."""
    times = pa.array([number], pa.int64()).cast(kind)
    found = bench.read(file_of({"tag": ["P"], "ts": TIMES[:1], "value": [1.0], "quality": [192], column: times}))
    assert found.rows_read == 1
    assert found.samples.height == (column == "quality")


def test_days_and_durations_beyond_all_calendars_are_no_values(bench):
    for kind, number in ((pa.date32(), 2**31 - 1), (pa.duration("us"), 2**62), (pa.time64("us"), 2**62)):
        odd = pa.array([number], pa.int32() if kind == pa.date32() else pa.int64()).view(kind)
        found = bench.read(file_of({"ts": TIMES[:1], "P": odd, "L": [1.0]}))
        assert (found.samples.height, found.quarantine.height) == (1, found.rows_read - 1)


def test_instants_in_a_zone_nobody_knows_are_read(bench):
    times = TIMES[:1].cast(pa.timestamp("s")).cast(pa.timestamp("us")).cast(pa.timestamp("us", "Nowhere/Land"))
    (time,) = bench.read(file_of({"ts": times, "P": [1.0]})).samples["time_utc"]
    assert time == datetime.fromtimestamp(1_777_700_000, UTC)


@pytest.mark.parametrize(
    "name", ["new\nline.csv", "\x1b[31mred.csv", "'; DROP TABLE sample; --.csv", "=1+1.csv", "<b>.csv"]
)
def test_a_file_may_be_called_anything_and_is_told_in_one_line(bench, name):
    assert bench.read(LONG + b"P,2026-05-01T00:00Z,1,\n", name).samples.height == 1
    with pytest.raises(SourceError) as refused:
        bench.read(b"\x1b[31mno,columns\n", name)
    assert str(refused.value).isprintable()


def test_a_name_that_is_no_utf8_is_refused_for_no_table_can_hold_it(bench):
    path = bench.field.folder / os.fsdecode(b"\xff.csv")
    path.write_bytes(LONG)
    with pytest.raises(SourceError, match=r"^\\xff.csv: found a name that is no UTF-8, .* rename the file"):
        fingerprint(path, bench.field.folder)
    assert discover(replace(bench.field, streams=("*.csv",))) == (path,)


def test_the_readme_states_the_limits():
    told = " ".join((Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").split())
    assert content.MAX_RATIO == parquet.MAX_RATIO
    mib = [at_least >> 20 for at_least in (content.RATIO_COUNTS_FROM_BYTES, parquet.RATIO_COUNTS_FROM_BYTES)]
    for limit in (
        f"more than {content.MAX_RATIO} times the file's size (looked at from {mib[0]} and {mib[1]} MiB)",
        f"or {content.MAX_TEXT_BYTES >> 30} GiB",
        f"{parquet.MAX_CELLS_PER_BYTE} Parquet cells in a byte (from {parquet.CELLS_COUNT_FROM // 1_000_000} million)",
        f"or {parquet.MAX_TEXT_BYTES >> 20} MiB of texts",
        f"a line beyond {delimited.MAX_LINE_BYTES >> 20} MiB",
        f"{headers.MAX_COLUMNS:,} columns or a million tags, pieces of {lines.MISFITS_COUNT_FROM:,} lines",
        f"the first {kept_out.TOLD_ONE_BY_ONE:,} of a file",
    ):
        assert limit in told
    assert judge.MAX_TAGS == 1_000_000


PROGRAM = """
import resource, sys
from datetime import UTC, datetime
from pathlib import Path
from nightgauge.errors import SourceError
from nightgauge.field.settings import Field
from nightgauge.streams import TagTable, fingerprint, read_export
resource.setrlimit(resource.RLIMIT_CPU, (120, 120))
folder = Path(sys.argv[1])
field = Field(path=folder / "field.toml", name="", tags=(), vessels=(), time_zone="UTC", streams=("*",))
for path in sorted(folder.iterdir()):
    try:
        found = read_export(fingerprint(path, folder), field, TagTable(()), datetime(2026, 11, 20, tzinfo=UTC))
        print(path.name, "read", found.rows_read)
    except SourceError as error:
        print(path.name, "refused", str(error).split(": found")[0])
print("peak MiB", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def test_bombs_end_below_two_gibibytes(tmp_path: Path) -> None:
    names = b",".join(b"TAG-%d" % n for n in range(30_000))
    cells = pa.DictionaryArray.from_arrays(pa.array(np.zeros(1_000_000, np.int32)), pa.array(["x" * 1_000_000]))
    zeros = np.zeros(1_000_000, np.int64)
    for name, whole in {
        "columns.csv": b"Time," + names + b"\n" + b"2026-05-01," + b"1," * 29_999 + b"1\n",
        "commas.csv": b"time" + b",a" * 4_000_000 + b"\n",
        "gzip.csv": gzip.compress(LONG + b"\n" * (100 << 20), 9),
        "lines.csv": gzip.compress(LONG + b"a\n" * (20 << 20), 9),
        "long_line.csv": LONG + b"x" * 10_000_000 + b"\nP,2026-05-01T00:00Z,1,\n",
        "nul.csv": LONG + b"\0" * 17_000_000,
        "quote.csv": LONG + b'"P,2026-05-01T00:00Z,1,\n' * 200_000,
        "text.parquet": file_of({"tag": zeros, "time": zeros, "value": cells}),
        "zstd.csv": pa.compress(LONG + b"\n" * (100 << 20), codec="zstd", asbytes=True),
    }.items():
        (tmp_path / name).write_bytes(whole)
    done = subprocess.run([sys.executable, "-c", PROGRAM, str(tmp_path)], capture_output=True, text=True, check=True)
    *told, peak = done.stdout.splitlines()
    assert told == [
        "columns.csv read 30000",
        "commas.csv refused commas.csv, line 1",
        "gzip.csv refused gzip.csv, unpacking it",
        "lines.csv refused lines.csv, its rows",
        "long_line.csv read 2",
        "nul.csv refused nul.csv, line 2",
        "quote.csv refused quote.csv, line 2 and others",
        "text.parquet refused text.parquet, its texts",
        "zstd.csv refused zstd.csv, unpacking it",
    ]
    assert int(peak.split()[-1]) < 2048
