"""Delimited text to batches: one frame of the named columns as text, and the rows that do not fit them."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from nightgauge.streams.content import Kind, refusal, text_blocks
from nightgauge.streams.headers import Layout, split_header
from nightgauge.streams.kept_out import WRONG_LENGTH
from nightgauge.streams.lines import Cut, Cutter, Group, Misfit, with_newlines
from nightgauge.vocabulary.exports import Export

MAX_LINE_BYTES = 16 << 20
"""A line beyond this is no line of an export. House choice: a header of 100,000 long tag names fits."""


@dataclass(frozen=True)
class Table:
    """A piece of a delimited export: rows of text fields, and what is no row."""

    layout: Layout
    separator: str
    fields: pl.DataFrame
    """Columns `row` (line number) and `c0`, `c1`, ... by column number, as text without nulls, in file order."""
    misfits: tuple[Misfit, ...]


def tables(export: Export, kind: Kind, known_tags: frozenset[str]) -> Iterator[Table]:
    """Yield a delimited export piece by piece; nothing for one without rows and header.

    Raises
    ------
    SourceError
        If its header has no recognisable columns, a line does not end, or `content` cannot unpack it.

    """
    blocks = with_newlines(text_blocks(export, kind))
    found = _header(export, blocks, known_tags)
    if found is None:
        return
    separator, layout, line, rest = found
    reader = _Reader(layout, separator, Cutter(separator, len(layout.names)))
    for block in blocks:
        cut = reader.cutter.cut(rest + block, line, is_last=False)
        line, rest = line + cut.lines, cut.rest
        _refuse_endless(export, rest, line)
        yield reader.table(cut)
    yield reader.table(reader.cutter.cut(rest, line, is_last=True))


def _refuse_endless(export: Export, rest: bytes, line: int) -> None:
    if len(rest) > MAX_LINE_BYTES:
        raise refusal(export, f"line {line}", f"a line of more than {MAX_LINE_BYTES >> 20} MiB", "rows of a table")


def _header(
    export: Export, blocks: Iterator[bytes], known_tags: frozenset[str]
) -> tuple[str, Layout, int, bytes] | None:
    """Return separator, layout, the number of the line after the header, and the text from there on."""
    text, line = b"", 1
    for block in blocks:
        text += block
        while b"\n" in text:
            first, text = text.split(b"\n", 1)
            line += 1
            if first.strip():
                return *_split(export, first, line - 1, known_tags), line, text
        _refuse_endless(export, text, line)
    return (*_split(export, text, line, known_tags), line + 1, b"") if text.strip() else None


def _split(export: Export, header: bytes, line: int, known_tags: frozenset[str]) -> tuple[str, Layout]:
    found = split_header(header, known_tags)
    if found is None:
        raise refusal(
            export,
            f"line {line}",
            repr(header[:80].decode("utf-8", errors="replace")),
            "a header with tag, time stamp and value columns, or a time stamp column and one column per tag",
            "name the columns, or keep the file out of `streams`",
        )
    return found


@dataclass(frozen=True)
class _Reader:
    layout: Layout
    separator: str
    cutter: Cutter

    def table(self, cut: Cut) -> Table:
        misfits = list(cut.misfits)
        pieces = [self._fields(group, misfits) for group in cut.groups]
        if cut.parsed:
            pieces.append(self._parsed(cut))
        fields = pl.concat(pieces) if pieces else self._parsed(cut)
        if len(pieces) > 1:
            fields = fields.sort("row")
        return Table(self.layout, self.separator, fields, tuple(sorted(misfits, key=lambda misfit: misfit.number)))

    def _fields(self, group: Group, misfits: list[Misfit]) -> pl.DataFrame:
        named = [f"c{i}" for i in range(self.cutter.columns)]
        spare = [f"c{i}" for i in range(self.cutter.columns, group.fields)]
        frame = pl.read_csv(
            group.text,
            has_header=False,
            separator=self.separator,
            quote_char='"' if group.is_quoted else None,
            schema=dict.fromkeys([*named, *spare], pl.String),
            empty_string_is_null=False,
        ).insert_column(0, pl.Series("row", group.numbers))
        if spare:
            is_filled = pl.any_horizontal(pl.col(spare).str.strip_chars() != "")
            misfits.extend(self._too_long(frame.filter(is_filled)))
            frame = frame.filter(~is_filled)
        return frame.select("row", *named)

    def _too_long(self, frame: pl.DataFrame) -> Iterator[Misfit]:
        for number, *cells in frame.iter_rows():
            filled = sum(bool(cell.strip()) for cell in cells)
            yield Misfit(number, WRONG_LENGTH, self.separator.join(cells).encode(), filled)

    def _parsed(self, cut: Cut) -> pl.DataFrame:
        columns = list(zip(*(fields for _, fields in cut.parsed), strict=True)) or [()] * self.cutter.columns
        data = {
            f"c{i}": pl.Series([cell.decode("utf-8", errors="replace") for cell in column], dtype=pl.String)
            for i, column in enumerate(columns)
        }
        numbers = np.array([number for number, _ in cut.parsed], np.int64)
        return pl.DataFrame({"row": pl.Series(numbers), **data})
