"""What a file is by its first bytes, and its text as UTF-8 whatever it was packed in.

Names are not trusted: a `.csv` that is gzip inside is read as gzip. Only a file that calls itself
Parquet and is not is refused.
"""

import codecs
import gzip
import zlib
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import BinaryIO, Literal, cast

import pyarrow as pa

from nightgauge.errors import SourceError
from nightgauge.vocabulary.exports import Export

Kind = Literal["empty", "parquet", "gzip", "zstd", "plain"]

BLOCK_BYTES = 8 << 20
"""Text handed on at a time. House choice: some 200,000 rows; measured, 2 to 16 MiB are equally fast."""
MAX_TEXT_BYTES = 64 << 30
"""Unpacked text beyond which a file is refused. House choice: a year of 1000 tags every 10 s is about half of it."""
MAX_RATIO = 500
"""Unpacked over packed size beyond which a file is refused. House choice: exports pack 5 to 50 times; gzip cannot
exceed 1032, zstd can."""
RATIO_COUNTS_FROM_BYTES = 64 << 20
"""Unpacked size from which the ratio is looked at: a short file of equal rows is no harm, and eight million rows of
eight bytes, the shortest there are, take less than a gigabyte."""

_PARQUET = b"PAR1"
_GZIP = b"\x1f\x8b"
_ZSTD = b"\x28\xb5\x2f\xfd"
_SKIPPABLE = b"\x2a\x4d\x18"
_ZIP = b"PK\x03\x04"


def kind_of(export: Export) -> Kind:
    """Return what the file is by its content.

    Raises
    ------
    SourceError
        If it cannot be opened, is an archive of several files, or is named Parquet and is not.

    """
    try:
        with export.path.open("rb") as file:
            head = file.read(4)
    except OSError as error:
        raise refusal(export, "opening it", str(error.strerror or error), "a file that can be read") from error
    if not head:
        return "empty"
    if head == _PARQUET:
        return "parquet"
    if export.path.suffix.lower() in {".parquet", ".pq"}:
        raise refusal(export, "first bytes", repr(head), "a Parquet file", "write the export again")
    if head == _ZIP:
        raise refusal(export, "first bytes", "a zip archive", "CSV plain, gzip or zstd, or Parquet", "unpack it first")
    if head.startswith(_GZIP):
        return "gzip"
    is_zstd = head == _ZSTD or (head[1:] == _SKIPPABLE and 0x50 <= head[0] <= 0x5F)
    return "zstd" if is_zstd else "plain"


def refusal(export: Export, where: str, found: str, expected: str, remedy: str = "") -> SourceError:
    """Return the error that refuses a file whole: what, where, found, expected, next step."""
    step = remedy or "export it again; the file is tried again when its size or time changes"
    told = f"{export.relative}, {where}: found {found}, expected {expected}; {step}"
    # What a file is called and holds may not break the line, nor speak to the terminal.
    return SourceError("".join(letter if letter.isprintable() else " " for letter in told))


def text_blocks(export: Export, kind: Kind) -> Iterator[bytes]:
    """Yield the file's text as UTF-8 without a byte-order mark, in blocks that may end anywhere.

    Bytes that are not UTF-8 become U+FFFD, so that they spoil their own field only.

    Raises
    ------
    SourceError
        If the packing is cut or broken, the text is not text, or unpacks beyond the guards of this module.

    """
    blocks = _guarded(export, _unpacked(export, kind), is_packed=kind != "plain")
    first = b""
    while len(first) < len(codecs.BOM_UTF8) and (block := next(blocks, b"")):
        first += block
    if first.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        yield from _from_utf16(export, first, blocks)
        return
    if b"\x00" in first[:4096].split(b"\n", 1)[0]:
        raise refusal(export, "line 1", "bytes that are no text", "UTF-8, or UTF-16 with a byte-order mark")
    yield from _as_utf8(first.removeprefix(codecs.BOM_UTF8), blocks)


def _unpacked(export: Export, kind: Kind) -> Iterator[bytes]:
    try:
        with _opened(export.path, kind) as stream:
            while block := stream.read(BLOCK_BYTES):
                yield block
    except (EOFError, OSError, zlib.error, pa.ArrowException) as error:
        packed = f"{kind} data that breaks off or is damaged ({error})" if kind != "plain" else str(error)
        raise refusal(export, "unpacking it" if kind != "plain" else "reading it", packed, "a whole file") from error


def _opened(path: Path, kind: Kind) -> BinaryIO:
    if kind == "gzip":
        return cast("BinaryIO", gzip.open(path))
    if kind == "zstd":
        return cast("BinaryIO", pa.CompressedInputStream(pa.OSFile(str(path)), "zstd"))
    return path.open("rb")


def _guarded(export: Export, blocks: Iterator[bytes], *, is_packed: bool) -> Iterator[bytes]:
    total = 0
    for block in blocks:
        total += len(block)
        is_bomb = is_packed and total > RATIO_COUNTS_FROM_BYTES and total > MAX_RATIO * export.size_bytes
        if is_bomb or total > MAX_TEXT_BYTES:
            raise refusal(
                export,
                "unpacking it",
                f"more than {total >> 20} MiB out of {export.size_bytes} bytes",
                f"at most {MAX_RATIO} times its size and {MAX_TEXT_BYTES >> 30} GiB",
                "split the export into shorter times",
            )
        yield block


def _from_utf16(export: Export, first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    decoder = codecs.getincrementaldecoder("utf-16")(errors="replace")
    yield decoder.decode(first).encode()
    for block in rest:
        yield decoder.decode(block).encode()
    tail = decoder.decode(b"", final=True)
    if tail:
        raise refusal(export, "its end", "half a UTF-16 character", "a whole file")


def _as_utf8(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    decoder = codecs.getincrementaldecoder("utf-8")(errors="replace")
    for block in chain((first,), rest):
        is_whole = block.isascii() and not decoder.getstate()[0]
        yield block if is_whole else decoder.decode(block).encode()
    yield decoder.decode(b"", final=True).encode()
