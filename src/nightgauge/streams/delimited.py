"""Delimited text to batches: one frame of the named columns as text, and the rows that do not fit them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.streams.content import Kind, refusal, text_blocks
from nightgauge.streams.headers import MAX_COLUMNS, Layout, split_header
from nightgauge.streams.kept_out import WRONG_LENGTH
from nightgauge.streams.lines import Cut, Cutter, Group, Misfit, newlines, with_newlines
from nightgauge.vocabulary.exports import Export

MAX_LINE_BYTES = 16 << 20
"""A line beyond this is no line of an export. House choice: a header of 100,000 long tag names fits."""
MAX_NUMBER_COLUMNS = 10_000
"""Columns up to which values are read straight as numbers: the engine takes 16 bytes of room times their square."""


@dataclass(frozen=True)
class Table:
    """A piece of a delimited export: rows of fields, and what is no row."""

    layout: Layout
    separator: str
    row: npt.NDArray[np.int64]
    """Line number of each row."""
    fields: pl.DataFrame
    """Columns `c0`, `c1`, ... by column number, in file order: text without nulls, or where all values of the piece
    read as plain numbers (empty cells of wide exports aside) these as Float64."""
    misfits: tuple[Misfit, ...] = ()
    text: bytes | None = None
    """Where values are numbers: the lines, of which `written` reads some as text."""

    def written(self, rows: npt.NDArray[np.int64]) -> pl.DataFrame:
        """Return the fields of some rows as text."""
        if self.text is None:
            return self.fields[rows]
        data = np.frombuffer(self.text, np.uint8)
        ends = np.flatnonzero(data == ord("\n"))
        lines, back = np.unique(rows, return_inverse=True)
        is_chosen = np.zeros(len(ends), np.bool_)
        is_chosen[lines] = True
        chosen = data[np.repeat(is_chosen, np.diff(ends, prepend=-1))].tobytes()
        names = dict.fromkeys(self.fields.columns, pl.String)
        if not chosen:
            return pl.DataFrame(schema=names)
        return _parsed_text(chosen, self.separator, pl.Schema(names), is_quoted=False)[back]


Piece = Callable[[], Table]
"""A piece of an export still to be read; pieces may be read side by side."""


def pieces(export: Export, kind: Kind, known_tags: frozenset[str]) -> Iterator[Piece]:
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
    reader = _Reader(export, layout, separator, Cutter(separator, len(layout.names)))
    for block in blocks:
        if b'"' in rest or b'"' in block:
            cut = reader.cutter.cut(rest + block, line, is_last=False)
            lines, rest = cut.lines, cut.rest
            yield partial(reader.table, cut)
        else:
            end = block.rfind(b"\n") + 1
            text = b"".join((rest, memoryview(block)[:end])) if end else b""
            rest = block[end:] if end else rest + block
            lines = newlines(text)
            yield partial(reader.plain_table, text, line, lines)
        line += lines
        _refuse_endless(export, rest, line)
    yield partial(reader.table, reader.cutter.cut(rest, line, is_last=True))


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
        # Where the first line that is not blank begins.
        blank = text.rfind(b"\n", 0, len(text) - len(text.lstrip())) + 1
        line += newlines(text[:blank])
        text = text[blank:]
        end = text.find(b"\n")
        if end >= 0:
            return *_split(export, text[:end], line, known_tags), line + 1, text[end + 1 :]
        _refuse_endless(export, text, line)
    return (*_split(export, text, line, known_tags), line + 1, b"") if text.strip() else None


def _split(export: Export, header: bytes, line: int, known_tags: frozenset[str]) -> tuple[str, Layout]:
    found = split_header(header, known_tags)
    if found is None:
        raise refusal(
            export,
            f"line {line}",
            repr(header[:80].decode("utf-8", errors="replace")),
            "a header with tag, time stamp and value columns, or a time stamp column and one column per tag, "
            f"{MAX_COLUMNS:,} columns at most",
            "name the columns, or keep the file out of `streams`",
        )
    return found


def _parsed_text(text: bytes, separator: str, schema: pl.Schema, *, is_quoted: bool) -> pl.DataFrame:
    return pl.read_csv(
        text,
        has_header=False,
        separator=separator,
        quote_char='"' if is_quoted else None,
        schema=schema,
        empty_string_is_null=False,
    )


@dataclass(frozen=True)
class _Reader:
    export: Export
    layout: Layout
    separator: str
    cutter: Cutter

    def plain_table(self, text: bytes, line: int, lines: int) -> Table:
        """Return the rows of so many whole lines without quotes, the first of the number ``line``."""
        fields = self._numbers(text, lines) if lines and self.cutter.is_even(text, lines) else None
        if fields is None:
            return self.table(self.cutter.cut(text, line, is_last=True))
        return Table(self.layout, self.separator, np.arange(line, line + lines), fields, text=text)

    def _numbers(self, text: bytes, lines: int) -> pl.DataFrame | None:
        """Return the fields with values as numbers, or None where some do not read as such or lines are uneven."""
        if self.cutter.columns > MAX_NUMBER_COLUMNS:
            return None
        numbers = self.layout.cells or (self.layout.value,)
        names = {f"c{i}": pl.Float64 if i in numbers else pl.String for i in range(self.cutter.columns)}
        try:
            fields = _parsed_text(text, self.separator, pl.Schema(names), is_quoted=False)
        except (pl.exceptions.ComputeError, pl.exceptions.SchemaError):  # no number; a first line with too many fields
            return None
        if fields.height != lines:
            return None
        has_gap = self.layout.form == "long" and fields[f"c{self.layout.value}"].null_count() > 0
        return None if has_gap else fields

    def table(self, cut: Cut) -> Table:
        """Return the rows of lines of any kind."""
        if not cut.is_table:
            misfit = cut.misfits[0] if cut.misfits else None
            raise refusal(
                self.export,
                "its rows" if misfit is None else f"line {misfit.number} and others",
                f"rows of which most have not the {self.cutter.columns} columns of the header",
                "rows of a table",
            )
        misfits = list(cut.misfits)
        pieces = [self._fields(group, misfits) for group in cut.groups]
        if cut.parsed or not pieces:
            pieces.append(self._parsed(cut))
        fields = pl.concat(pieces)
        if len(pieces) > 1:
            fields = fields.sort("row")
        told = tuple(sorted(misfits, key=lambda misfit: misfit.number))
        return Table(self.layout, self.separator, fields["row"].to_numpy(), fields.drop("row"), told)

    def _fields(self, group: Group, misfits: list[Misfit]) -> pl.DataFrame:
        named = [f"c{i}" for i in range(self.cutter.columns)]
        spare = [f"c{i}" for i in range(self.cutter.columns, group.fields)]
        schema = pl.Schema(dict.fromkeys([*named, *spare], pl.String))
        frame = _parsed_text(group.text, self.separator, schema, is_quoted=group.is_quoted)
        frame = frame.insert_column(0, pl.Series("row", group.numbers))
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
