"""Which files are exports, and what identifies one."""

import hashlib
import os
from datetime import UTC, datetime

import pytest

from nightgauge.errors import SourceError
from nightgauge.streams.files import discover, fingerprint, stamp


def test_exports_are_found_once_and_by_path(bench):
    folder = bench.field.folder
    for name in ("streams/b.csv", "streams/2026/a.csv.gz", "streams/a.parquet", "other/x.csv", "notes.txt"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"")
    field = bench.with_field(streams=("streams/**/*.csv*", "streams/*", "streams/**/*.parquet")).field
    found = [path.relative_to(folder).as_posix() for path in discover(field)]
    assert found == ["streams/2026/a.csv.gz", "streams/a.parquet", "streams/b.csv"]


@pytest.mark.parametrize("name", ["a.csv.part", "a.csv.tmp", "A.CSV.PART", ".a.csv", ".trash/a.csv"])
def test_unfinished_and_hidden_files_are_passed_over(bench, name):
    path = bench.field.folder / "streams" / name
    path.parent.mkdir(parents=True)
    path.write_bytes(b"")
    assert discover(bench.with_field(streams=("streams/**/*", "streams/**/.*")).field) == ()


def test_a_file_outside_the_field_folder_keeps_its_relative_path(bench):
    inside = bench.field.folder / "field"
    inside.mkdir()
    bench.write("", "outside.csv")
    field = bench.with_field(path=inside / "field.toml", streams=("../*.csv",)).field
    (path,) = discover(field)
    assert fingerprint(path, field.folder).relative == "../outside.csv"


def test_fingerprint_tells_content_size_and_time(bench):
    path = bench.write("tag,time,value\n")
    os.utime(path, ns=(0, 1_777_593_600_123_456_789))
    export = fingerprint(path, bench.field.folder)
    assert export.sha256 == hashlib.sha256(b"tag,time,value\n").hexdigest()
    assert export.size_bytes == 15
    assert export.relative == "export.csv"
    assert export.modified_utc == datetime(2026, 5, 1, 0, 0, 0, 123456, tzinfo=UTC)
    assert stamp(path) == (15, export.modified_utc)


def test_a_file_that_is_gone_is_refused_by_name(bench):
    with pytest.raises(SourceError, match=r"streams/gone\.csv: found No such file or directory"):
        fingerprint(bench.field.folder / "streams" / "gone.csv", bench.field.folder)


def test_a_file_that_is_gone_has_no_stamp(bench):
    assert stamp(bench.field.folder / "gone.csv") is None
