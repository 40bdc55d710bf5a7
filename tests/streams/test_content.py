"""Packing and encoding: what is read whatever the name says, and what is refused whole."""

import codecs
import gzip

import pyarrow as pa
import pytest

from nightgauge.errors import SourceError
from nightgauge.streams import content, fingerprint

TEXT = "tag,time,value\nP,2026-05-01T00:00Z,5\nP,2026-05-01T01:00Z,6\n"
PLAIN = TEXT.encode()
ZSTD = pa.compress(PLAIN, codec="zstd", asbytes=True)
SKIPPABLE = b"\x50\x2a\x4d\x18\x04\x00\x00\x00abcd"  # RFC 8878 section 3.1.2: a frame that holds no data


@pytest.mark.parametrize(
    "packed",
    [
        PLAIN,
        codecs.BOM_UTF8 + PLAIN,
        TEXT.encode("utf-16"),
        codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"),
        gzip.compress(PLAIN),
        gzip.compress(PLAIN[:30]) + gzip.compress(PLAIN[30:]),
        gzip.compress(codecs.BOM_UTF8 + PLAIN),
        ZSTD,
        SKIPPABLE + ZSTD,
        pa.compress(PLAIN[:30], codec="zstd", asbytes=True) + pa.compress(PLAIN[30:], codec="zstd", asbytes=True),
        pa.compress(TEXT.encode("utf-16"), codec="zstd", asbytes=True),
    ],
)
@pytest.mark.parametrize("name", ["export.csv", "export.csv.gz", "export.zst", "export"])
def test_packing_is_told_by_content_not_by_name(bench, values, packed, name):
    assert values(bench.read(packed, name)) == {11: [11.0, 13.0]}


@pytest.mark.parametrize("block_bytes", [1, 2, 3, 7])
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_characters_across_blocks_stay_whole(bench, monkeypatch, block_bytes, encoding):
    monkeypatch.setattr(content, "BLOCK_BYTES", block_bytes)
    found = bench.read("tag,time,value\nW,2026-05-01T00:00Z,Größe 𝛼\n".encode(encoding))
    assert found.samples["text_value"].to_list() == ["Größe 𝛼"]


def test_bytes_that_are_no_utf8_spoil_their_own_row_only(bench, values):
    found = bench.read(b"tag,time,value\nP,2026-05-01T00:00Z,5\nP\xb0,2026-05-01T00:00Z,5\nP,2026-05-01T01:00Z,6\n")
    assert values(found) == {11: [11.0, 13.0]}
    assert found.quarantine.rows() == [(3, 1, "tag is not in tags.csv", "P\ufffd,2026-05-01T00:00Z,5", "P\ufffd")]


@pytest.mark.parametrize(
    ("packed", "found"),
    [
        (gzip.compress(PLAIN)[:-9], "gzip data that breaks off or is damaged"),
        (gzip.compress(PLAIN)[:5], "gzip data that breaks off or is damaged"),
        (
            gzip.compress(PLAIN)[:-8] + b"\0\0\0\0" + gzip.compress(PLAIN)[-4:],
            "gzip data that breaks off or is damaged .CRC check failed",
        ),
        (gzip.compress(PLAIN) + b"not a member", "gzip data that breaks off or is damaged"),
        (ZSTD[:-4], "zstd data that breaks off or is damaged"),
        (ZSTD + b"junk", "zstd data that breaks off or is damaged"),
        (TEXT.encode("utf-16")[:-1], "half a UTF-16 character"),
        (b"PK\x03\x04 and more", "a zip archive"),
        (TEXT.encode("utf-16-le"), "bytes that are no text"),
        (bytes(range(256)), "bytes that are no text"),
    ],
)
def test_a_file_that_cannot_be_read_to_its_end_is_refused_whole(bench, packed, found):
    with pytest.raises(SourceError, match=f"^export.csv, .*: found {found}.*, expected .*; ") as refused:
        bench.read(packed)
    assert "\n" not in str(refused.value)


def test_a_file_named_parquet_that_is_none_is_refused(bench):
    with pytest.raises(SourceError, match=r"export\.parquet, first bytes: .* expected a Parquet file"):
        bench.read(PLAIN, "export.parquet")


def test_a_file_that_may_not_be_opened_is_refused(bench):
    export = fingerprint(bench.write(PLAIN), bench.field.folder)
    export.path.unlink()
    with pytest.raises(SourceError, match=r"export\.csv, opening it: found No such file"):
        content.kind_of(export)


@pytest.mark.parametrize("name", ["export.csv", "export.parquet", "export.csv.gz"])
def test_an_empty_file_is_no_error(bench, name):
    found = bench.read(b"", name)
    assert (found.rows_read, found.samples.height, found.quarantine.height, found.tags_seen.height) == (0, 0, 0, 0)


@pytest.mark.parametrize(
    "text", [codecs.BOM_UTF8, codecs.BOM_UTF16_LE, b"\n\n", b"  \r\n\t\n", gzip.compress(b""), b"tag,time,value\n"]
)
def test_a_file_without_rows_is_no_error(bench, text):
    found = bench.read(text)
    assert (found.rows_read, found.samples.height, found.quarantine.height) == (0, 0, 0)


def test_text_that_unpacks_beyond_the_ratio_is_refused(bench, monkeypatch):
    monkeypatch.setattr(content, "RATIO_COUNTS_FROM_BYTES", 1 << 16)
    monkeypatch.setattr(content, "BLOCK_BYTES", 1 << 14)
    # deflate packs a run of one byte about 1030 times (RFC 1951: 258 bytes per match), beyond MAX_RATIO
    bomb = gzip.compress(b"tag,time,value\n" + b"\n" * (1 << 20))
    with pytest.raises(SourceError, match="at most 500 times its size and 64 GiB"):
        bench.read(bomb)


def test_text_that_packs_as_exports_do_is_read_whatever_its_size(bench, monkeypatch):
    monkeypatch.setattr(content, "RATIO_COUNTS_FROM_BYTES", 1 << 10)
    rows = "".join(f"P,2026-05-01T{i // 60:02d}:{i % 60:02d}Z,{i}\n" for i in range(1200))
    assert bench.read(gzip.compress(f"tag,time,value\n{rows}".encode())).samples.height == 1200


def test_a_short_file_of_equal_rows_may_pack_as_well_as_it_likes(bench):
    row = b"P,2026-05-01T00:00Z,5\n"
    found = bench.read(pa.compress(b"tag,time,value\n" + row * 50_000, codec="zstd", asbytes=True))
    assert (found.samples.height, found.rows_repeated) == (1, 49_999)


def test_text_beyond_the_size_is_refused_also_unpacked(bench, monkeypatch):
    monkeypatch.setattr(content, "MAX_TEXT_BYTES", 40)
    with pytest.raises(SourceError, match="unpacking it: found more than 0 MiB"):
        bench.read(PLAIN)
