"""The reader against a naive twin on messy exports of every dialect, and what it promises whatever comes."""

import codecs
import csv
import gzip
import io
import tempfile
from collections import Counter
from pathlib import Path

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.streams import TagTable, content, fingerprint, read_export

from . import naive
from .conftest import CLOCK, TAGS, make_field

STAMPS = st.one_of(
    # in and around the doubled hour of 2026-11-01 in Denver, minute by minute, so that passes can be told
    st.builds("2026-11-01T{:02d}:{:02d}".format, st.integers(0, 3), st.sampled_from([0, 10, 20, 30, 45])),
    st.builds("2026-05-0{} {:02d}:00:00".format, st.integers(1, 3), st.integers(0, 23)),
    st.sampled_from(
        [
            "2026-05-02T06:00:00Z", "2026-05-02T06:00:00.125Z", "2026-05-02T00:00:00-06:00", "2026-05-02t06:00z",
            "2026-05-02 06:00:00 +0000", "2026-05-02T06:00:00,1234567+01", "1777700000", "1777700000000",
            "1777700000.5", "2026-05-02", "2026-03-08T02:30:00", "2026-03-08T03:00:00", "1989-12-31T23:59:59Z",
            "1990-01-01T00:00:00Z", "2026-11-21T00:00:00Z", "2026-11-21T00:00:01Z", "2035-01-01", "soon", "",
            "2026-02-29T00:00", "2026-13-01T00:00", "2026-05-02T24:00", "2026-05-02T06:60", "2026-05-32", "0", "-5",
            "2026-05-02T06:00:00+24:00", "26-05-02", "0000-01-01T00:00:00", "2026-04-30T12:00Z", "2026-06-15T12:00Z",
        ]
    ),
)  # fmt: skip
VALUES = st.one_of(
    st.integers(0, 3).map(str),
    st.floats(-1e6, 1e6).map(lambda number: f"{number:.3f}"),
    st.sampled_from(
        [
            "", " ", "1,5", "-2,25", "1.234,5", "1e3", "1E-3", "+4", ".5", "5.", "1e999", "NaN", "inf", "-Infinity",
            "OPEN", "open", " Open ", "shut off", "SHUTOFF", "TRUE", "false", "OPENED", "QB-W12", "n/a", "0x10", "1_0",
        ]
    ),
)  # fmt: skip
QUALITIES = st.sampled_from(
    ["", "Good", "GOOD", "bad", "Uncertain", "192", "0", "63", "64", "191", "216", "odd", "a\nb", 'x"y', "1;2,3"]
)
NAMES = st.sampled_from(["P", "P", "L", "L", "S", "W", "D", " P", "", "X", 'Y "Z', "A.SPARE", "p"])
HEADERS = st.sampled_from(
    [
        ("tag", "timestamp", "value", "quality"),
        ("Tag_Name", "TS", "VAL", "Status"),
        ("point", "Date Time", "Value", "q"),
    ]
)


@st.composite
def dialects(draw):
    """Separator, quoting, line ends, encoding and packing of a text export."""
    separator = draw(st.sampled_from([",", ";", "\t"]))
    quoting = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    newline = draw(st.sampled_from(["\n", "\r\n"]))
    return separator, quoting, newline


def mishaps(header, row, spare):
    """At most one more line after a row: blank, the header, the row with a spare separator, cut, or again."""
    cut = [row[0] or "cut"]  # a lone empty field in quotes is a blank line to the csv module
    return st.lists(st.sampled_from([[], header, [*row, spare], cut, row[:2], row]), max_size=1)


@st.composite
def long_exports(draw):
    separator, quoting, newline = draw(dialects())
    roles = list(zip(("tag", "time", "value", "quality"), draw(HEADERS), strict=True))
    roles = draw(st.permutations(roles if draw(st.booleans()) else roles[:3]))
    header = [name for _, name in roles]
    rows = draw(st.lists(st.tuples(NAMES, STAMPS, VALUES, QUALITIES), max_size=25))
    if draw(st.booleans()):
        rows = sorted(rows, key=lambda row: row[1])
    lines = [header]
    for tag, stamp, value, quality in rows:
        cells = {"tag": tag, "time": stamp, "value": value, "quality": quality}
        row = [cells[role] for role, _ in roles]
        lines += [row, *draw(mishaps(header, row, ""))]
    place = {role: i for i, (role, _) in enumerate(roles)}
    columns = naive.Columns(separator, tuple(header), place["time"], place["tag"], place["value"], place.get("quality"))
    return _written(lines, separator, quoting, newline), columns


@st.composite
def wide_exports(draw):
    separator, quoting, newline = draw(dialects())
    names = st.sampled_from(["P", "L", "S", "W", "D", "X", "A.SPARE", ""])
    header = ["Time", *draw(st.lists(names, min_size=1, max_size=5))]
    while not header[-1]:
        header[-1] = "P"
    values = st.lists(VALUES, min_size=len(header) - 1, max_size=len(header) - 1)
    rows = draw(st.lists(st.tuples(STAMPS, values), max_size=15))
    if draw(st.booleans()):
        rows = sorted(rows, key=lambda row: row[0])
    lines = [header]
    for stamp, cells in rows:
        lines += [[stamp, *cells], *draw(mishaps(header, [stamp, *cells], " "))]
    return _written(lines, separator, quoting, newline), naive.Columns(separator, tuple(header), 0)


def _written(lines, separator, quoting, newline):
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, quoting=quoting, lineterminator=newline)
    for cells in lines:
        if cells:
            writer.writerow(cells)
        else:
            out.write(newline)
    return out.getvalue()


def packed(text: str, form: str) -> bytes:
    if form == "utf-16":
        return text.encode("utf-16")
    if form == "utf-16-be":
        return codecs.BOM_UTF16_BE + text.encode("utf-16-be")
    plain = (codecs.BOM_UTF8 if form == "bom" else b"") + text.encode()
    if form == "gzip":
        return gzip.compress(plain)
    if form == "members":
        half = len(plain) // 2
        return gzip.compress(plain[:half]) + gzip.compress(plain[half:])
    if form == "zstd":
        return pa.compress(plain, codec="zstd", asbytes=True)
    return plain


FORMS = st.sampled_from(["plain", "bom", "utf-16", "utf-16-be", "gzip", "members", "zstd"])


def compare(text, columns, form, block_bytes, codes):
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setattr(content, "BLOCK_BYTES", block_bytes)
        field = make_field(Path(folder), quality_codes=codes)
        path = Path(folder) / "export.csv"
        path.write_bytes(packed(text, form))
        found = read_export(fingerprint(path, field.folder), field, TagTable(TAGS), CLOCK)
    twin = naive.read(text, columns, list(TAGS), field, CLOCK)
    assert found.rows_read == twin.rows
    assert found.rows_ignored == twin.ignored
    assert found.samples.rows() == twin.samples
    assert Counter(found.losers.rows()) == Counter(twin.losers)
    assert found.rows_repeated == twin.repeated
    assert found.rows_assumed_first == twin.assumed_first
    assert dict(found.unknown_quality) == twin.unknown_quality
    assert dict(found.tags_seen.rows()) == twin.seen
    strangers = [(first, rows, reason, tag) for (tag, reason), (first, rows) in twin.strangers.items()]
    out = found.quarantine.select("row_number", "rows", "reason", "tag").rows()
    assert Counter(out) == Counter([*twin.quarantine, *strangers])
    assert found.quarantine["row_number"].is_sorted()
    kept = found.samples.height + found.losers.height + found.rows_repeated
    assert found.rows_read == kept + found.quarantine["rows"].sum()


@settings(deadline=None, max_examples=120)
@given(long_exports(), FORMS, st.sampled_from([1 << 20, 64, 257]), st.sampled_from(["opc_classic", "opc_ua"]))
def test_long_exports_read_as_the_naive_twin_reads_them(export, form, block_bytes, codes):
    text, columns = export
    compare(text, columns, form, block_bytes, codes)


@settings(deadline=None, max_examples=100)
@given(wide_exports(), FORMS, st.sampled_from([1 << 20, 64, 257]))
def test_wide_exports_read_as_the_naive_twin_reads_them(export, form, block_bytes):
    text, columns = export
    compare(text, columns, form, block_bytes, "opc_classic")


NUMBERS = st.one_of(
    st.integers(-3, 3).map(str),
    st.floats(-1e6, 1e6).map(lambda number: f"{number:.2f}"),
    st.sampled_from(["+4", ".5", "5.", "1e3", "007", "1.50", " 2.5", "1e999", "NaN"]),
)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(NAMES, STAMPS, NUMBERS, QUALITIES), min_size=1, max_size=30))
def test_values_that_are_all_numbers_are_told_as_they_were_written(rows):
    """Pieces of numbers are read without their texts: samples and raw texts must not show it."""
    plain = [",".join(row) for row in rows if not set("".join(row)) & set('",\n')]
    text = "\n".join(["tag,time,value,quality", *plain])
    with tempfile.TemporaryDirectory() as made, pytest.MonkeyPatch.context() as patch:
        field = make_field(Path(made))
        path = field.folder / "export.csv"
        path.write_text(text)
        export = fingerprint(path, field.folder)
        quick = read_export(export, field, TagTable(TAGS), CLOCK)
        patch.setattr("nightgauge.streams.delimited._Reader._numbers", lambda *_: None)
        careful = read_export(export, field, TagTable(TAGS), CLOCK)
    for name in ("samples", "losers", "quarantine", "tags_seen"):
        assert getattr(quick, name).equals(getattr(careful, name)), name
    assert quick.rows_read == careful.rows_read
    assert quick.rows_repeated == careful.rows_repeated
