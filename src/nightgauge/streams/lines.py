"""Cutting text into rows: quoted newlines, blank lines, rows of the wrong length, with the line each began on.

A block of text is taken apart with array operations on its bytes. Only lines whose quotes are not of the
plain kind (a quoted field from separator to separator within one line) are looked at one by one.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from nightgauge.streams.kept_out import STRAY_QUOTE, WRONG_LENGTH

MAX_QUOTED_BYTES = 64 << 10
"""A quote that is not closed this far beyond its line is a stray one. House choice: no historian value is longer."""
MISFITS_COUNT_FROM = 100_000
"""Misfits in one block from which it is no table if they are more than half of its lines. House choice: a crash or a
stray quote spoils a few rows, and a block has some 200,000."""
MAX_SPARE_FIELDS = 64
"""Empty fields allowed beyond the last named column: separators that a spreadsheet leaves. House choice."""

_NEWLINE, _QUOTE, _SPACE = 10, 34, 32

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Group:
    """Rows of one line each with the same number of fields, at least as many as there are named columns."""

    text: bytes
    fields: int
    numbers: Integers
    """Line of the file each row stands on."""
    is_quoted: bool


@dataclass(frozen=True, slots=True)
class Misfit:
    """A row that has not the columns of the header."""

    number: int
    reason: str
    raw: bytes
    filled: int
    """Fields in it that are not blank."""


@dataclass
class Cut:
    """One block taken apart."""

    groups: list[Group] = field(default_factory=list)
    parsed: list[tuple[int, list[bytes]]] = field(default_factory=list)
    """Line number and fields of the rows that were looked at one by one."""
    misfits: list[Misfit] = field(default_factory=list)
    lines: int = 0
    """Lines used up."""
    rest: bytes = b""
    """Text that belongs to the next block."""
    is_table: bool = True
    """No if most lines are misfits, and so many that the file is refused: not all of them are told then."""


@dataclass(frozen=True)
class Cutter:
    """Takes blocks apart for one separator and one number of named columns."""

    separator: str
    columns: int

    def is_even(self, block: bytes, lines: int) -> bool:
        """Return whether lines without quotes that have at most the named columns have exactly these, by counting."""
        separators = np.count_nonzero(np.frombuffer(block, np.uint8) == ord(self.separator))
        return bool(separators == (self.columns - 1) * lines)

    def cut(self, block: bytes, first_line: int, *, is_last: bool) -> Cut:
        """Return the rows of a block; its first line has the number ``first_line``."""
        if is_last and block and not block.endswith(b"\n"):
            block += b"\n"
        end = block.rfind(b"\n") + 1
        rest, block = block[end:], block[:end]
        if not block:
            return Cut(rest=rest)
        data = np.frombuffer(block, np.uint8)
        is_quoted = b'"' in block
        even = None if is_quoted else self._even(data)
        if even is not None:
            fields, lines = even
            numbers = np.arange(first_line, first_line + lines)
            return Cut([Group(block, fields, numbers, is_quoted=False)], lines=lines, rest=rest)
        return _Uneven(self, block, data, first_line, is_quoted=is_quoted, is_last=is_last).cut(rest)

    def _even(self, data: npt.NDArray[np.uint8]) -> tuple[int, int] | None:
        """Return fields and lines if every line has the same number of fields, at least the named ones."""
        is_newline = data == _NEWLINE
        places = np.flatnonzero(is_newline | (data == ord(self.separator)))
        ends = is_newline[places]
        lines = int(np.count_nonzero(ends))
        fields, left = divmod(len(places), lines)
        if left or not max(self.columns, 2) <= fields <= self.columns + MAX_SPARE_FIELDS:
            return None
        return (fields, lines) if ends.reshape(lines, fields)[:, -1].all() else None


class _Uneven:
    """A block with quotes, blank lines or rows of several lengths."""

    def __init__(
        self,
        cutter: Cutter,
        block: bytes,
        data: npt.NDArray[np.uint8],
        first_line: int,
        *,
        is_quoted: bool,
        is_last: bool,
    ) -> None:
        self.cutter, self.block, self.data = cutter, block, data
        self.first_line, self.is_quoted, self.is_last = first_line, is_quoted, is_last
        self.separator = ord(cutter.separator)
        self.ends = np.flatnonzero(data == _NEWLINE)
        self.starts = np.concatenate(([0], self.ends[:-1] + 1))
        self.is_open = self._blank()
        np.logical_not(self.is_open, out=self.is_open)

    def cut(self, rest: bytes) -> Cut:
        result = Cut(lines=len(self.ends), rest=rest)
        separators = np.flatnonzero(self.data == self.separator)
        if self.is_quoted:
            quotes = np.flatnonzero(self.data == _QUOTE)
            separators = self._outside(separators, quotes)
            self._one_by_one(result, np.flatnonzero(self._odd(quotes) & self.is_open))
        below = np.searchsorted(separators, self.ends)
        fields = np.diff(below, prepend=0) + 1
        if result.lines < len(self.ends):
            self.is_open[result.lines :] = False
            result.rest = self.block[self.starts[result.lines] :] + rest
        self._misfits(result, fields)
        if not result.is_table:
            return result
        for count in np.unique(fields[self.is_open]):
            self._group(result, np.flatnonzero(self.is_open & (fields == count)), int(count))
        return result

    def _blank(self) -> Bools:
        blank: Bools = self.ends == self.starts
        if not (~blank & (np.maximum.reduceat(self.data, self.starts) <= _SPACE)).any():
            return blank
        fillers = [letter for letter in b" \r\t\n" if letter != self.separator]
        blank = ~np.logical_or.reduceat(~np.isin(self.data, fillers), self.starts)
        return blank

    def _line_of(self, places: Integers) -> Integers:
        line: Integers = np.searchsorted(self.ends, places).astype(np.int64)
        return line

    def _outside(self, separators: Integers, quotes: Integers) -> Integers:
        """Return the separators that do not stand between quotes of their line."""
        before_line = np.searchsorted(quotes, self.starts)
        before = np.searchsorted(quotes, separators) - before_line[self._line_of(separators)]
        outside: Integers = separators[before % 2 == 0]
        return outside

    def _odd(self, quotes: Integers) -> Bools:
        """Return the lines whose quotes do not simply open after and close before a separator or the line's end."""
        line = self._line_of(quotes)
        before_line = np.searchsorted(quotes, self.starts)
        opens = (np.arange(len(quotes)) - before_line[line]) % 2 == 0
        previous = np.where(quotes > 0, self.data[quotes - 1], _NEWLINE)
        following = self.data[quotes + 1]
        neighbour = np.where(opens, previous, following)
        plain = (neighbour == self.separator) | (neighbour == _NEWLINE)
        escaped = (neighbour == _QUOTE) & ~(opens & (quotes == self.starts[line]))
        odd: Bools = np.diff(np.append(before_line, len(quotes))) % 2 == 1
        odd[line[~(plain | escaped)]] = True
        return odd

    def _one_by_one(self, result: Cut, lines: Integers) -> None:
        next_line = 0
        for i in lines.tolist():
            if i < next_line:
                continue
            start, end = int(self.starts[i]), int(self.ends[i])
            fields, after = _read_row(self.block, start, end, self.cutter.separator.encode())
            if after < 0 and not self.is_last:
                result.lines = i
                return
            if self._is_no_table(len(result.misfits)):
                result.is_table = False
                return
            last = int(np.searchsorted(self.ends, after)) if fields else i
            if fields is not None and not self._fits(fields) and self._swallows(i, last):
                fields, last = None, i
            self.is_open[i : last + 1] = False
            next_line = last + 1
            self._keep(result, i, fields)

    def _is_no_table(self, misfits: int) -> bool:
        return misfits > max(MISFITS_COUNT_FROM, len(self.ends) // 2)

    def _swallows(self, first: int, last: int) -> bool:
        """Return whether lines after the first could be rows themselves: then a stray quote took them in."""
        least = self.cutter.columns - 1
        return any(
            self.block.count(self.cutter.separator.encode(), self.starts[i], self.ends[i]) >= least
            for i in range(first + 1, last + 1)
        )

    def _fits(self, fields: list[bytes]) -> bool:
        columns = self.cutter.columns
        return len(fields) >= columns and not any(extra.strip() for extra in fields[columns:])

    def _keep(self, result: Cut, i: int, fields: list[bytes] | None) -> None:
        if fields is not None and self._fits(fields):
            result.parsed.append((self.first_line + i, fields[: self.cutter.columns]))
        else:
            reason = STRAY_QUOTE if fields is None else WRONG_LENGTH
            result.misfits.append(self._misfit(i, reason, fields))

    def _misfit(self, i: int, reason: str, fields: list[bytes] | None) -> Misfit:
        raw = self.block[self.starts[i] : self.ends[i]]
        pieces = raw.split(self.cutter.separator.encode()) if fields is None else fields
        return Misfit(self.first_line + i, reason, raw, sum(bool(piece.strip()) for piece in pieces))

    def _misfits(self, result: Cut, fields: Integers) -> None:
        """Sort out rows with too few fields, or with far more than spare separators at the end can explain."""
        columns = self.cutter.columns
        is_misfit = self.is_open & ((fields < columns) | (fields > columns + MAX_SPARE_FIELDS))
        self.is_open &= ~is_misfit
        if not result.is_table or self._is_no_table(len(result.misfits) + int(is_misfit.sum())):
            result.is_table = False
            return
        for i in np.flatnonzero(is_misfit).tolist():
            raw = self.block[self.starts[i] : self.ends[i]]
            result.misfits.append(self._misfit(i, WRONG_LENGTH, fields_of(raw, self.cutter.separator)))

    def _group(self, result: Cut, lines: Integers, fields: int) -> None:
        if len(lines) == len(self.ends):
            text = self.block
        else:
            lengths = self.ends - self.starts + 1
            chosen = np.zeros(len(self.ends), np.bool_)
            chosen[lines] = True
            text = self.data[np.repeat(chosen, lengths)].tobytes()
        result.groups.append(Group(text, fields, self.first_line + lines, self.is_quoted))


def newlines(text: bytes) -> int:
    """Return how many lines end in a text."""
    return int(np.count_nonzero(np.frombuffer(text, np.uint8) == _NEWLINE))  # several times as fast as bytes.count


def fields_of(line: bytes, separator: str) -> list[bytes] | None:
    """Return the fields of one line without its newline, or None where its quotes do not match."""
    return _read_row(line + b"\n", 0, len(line), separator.encode())[0]


def _read_row(text: bytes, start: int, line_end: int, separator: bytes) -> tuple[list[bytes] | None, int]:
    """Return the fields of the row at ``start`` and where it ends, or None for a stray quote.

    The end is -1 where the text given may be too short to tell.
    """
    limit = min(len(text), line_end + 1 + MAX_QUOTED_BYTES)
    fields: list[bytes] = []
    place = start
    while True:
        begin = _after_spaces(text, place)
        if text[begin] == _QUOTE:
            content, after = _read_quoted(text, begin + 1, limit)
            if content is None:
                return None, -1 if after < 0 and limit == len(text) else line_end
            after = _after_spaces(text, after)
            if text[after] not in (separator[0], _NEWLINE):
                return None, line_end
        else:
            newline = text.index(b"\n", place)
            found = text.find(separator, place, newline)
            after = newline if found < 0 else found
            content = text[place:after]
        fields.append(content)
        if text[after] == _NEWLINE:
            return fields, after
        place = after + 1


def _after_spaces(text: bytes, place: int) -> int:
    while text[place] == _SPACE:
        place += 1
    return place


def _read_quoted(text: bytes, place: int, limit: int) -> tuple[bytes | None, int]:
    """Return what stands up to the closing quote and the place after it; None and -1 if it is not closed."""
    pieces: list[bytes] = []
    while True:
        quote = text.find(b'"', place, limit)
        if quote < 0:
            return None, -1
        if text[quote + 1] == _QUOTE:
            pieces.append(text[place : quote + 1])
            place = quote + 2
        else:
            pieces.append(text[place:quote])
            return b"".join(pieces), quote + 1


def with_newlines(blocks: Iterator[bytes]) -> Iterator[bytes]:
    """Yield blocks whose lines end in a newline only, also those of systems that end them in a carriage return."""
    ending: bytes | None = None
    kept = b""
    for block in blocks:
        joined = kept + block
        kept = b"\r" if joined.endswith(b"\r") else b""
        joined = joined[: len(joined) - len(kept)]
        if ending is None and (b"\n" in joined or b"\r" in joined):
            ending = b"\r\n" if b"\n" in joined else b"\r"
        if ending is not None and b"\r" in joined:
            joined = joined.replace(ending, b"\n")
        yield joined
    yield kept.replace(ending or b"\r", b"\n") if ending != b"\r\n" else kept
