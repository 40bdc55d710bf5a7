"""Reading the CSV lists of a field folder: declared columns, filled lines, every mistake with its line number.

A column named `note`, `description`, `comment` or `remark` is for people; a list that does not declare it passes
it over. Any other unknown column is an error, for a misspelt one would silently leave its values out.
"""

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from nightgauge.field.calendar import TimeProblem, parse_time
from nightgauge.field.problems import Scope, remedy_for, shown
from nightgauge.field.tables import Place

FOR_PEOPLE = ("note", "notes", "description", "comment", "remark")


@dataclass(frozen=True)
class Columns:
    """The columns of one list."""

    required: tuple[str, ...]
    optional: tuple[str, ...] = ()
    row: str = "line"
    """What one line is of, for messages."""

    @property
    def known(self) -> tuple[str, ...]:
        """Return the columns that are read."""
        return (*self.required, *self.optional)


@dataclass(frozen=True)
class Line:
    """One filled line of the file: its cells by column, and where mistakes in it are noted."""

    cells: Mapping[str, str]
    scope: Scope
    place: Place
    decimal_comma: bool

    def text(self, column: str) -> str:
        """Return a cell, "" where it is empty or the column is not there."""
        return self.cells.get(column, "")

    def numeric(self, column: str) -> str:
        """Return a cell that holds a number; in a file without commas between cells a comma may be its decimal mark."""
        text = self.text(column)
        return text.replace(",", ".") if self.decimal_comma else text

    def bad(self, column: str, expected: str, remedy: str = "") -> None:
        """Note a mistake in a cell."""
        self.scope.add(column, shown(self.text(column)), expected, remedy or f"correct {column}")

    def time(self, column: str) -> datetime | None:
        """Return a cell as a time in UTC, of the field's zone without an offset; None where empty or wrong."""
        if not self.text(column):
            return None
        try:
            return parse_time(self.text(column), self.place.zone)
        except TimeProblem as problem:
            self.bad(column, f'a time like "2026-05-02" or "2026-05-02T06:00" ({problem})')
            return None


def lines(text: str, columns: Columns, place: Place, scope: Scope) -> Iterator[Line]:
    """Yield the filled lines of a list; what cannot be read as such is noted."""
    delimiter = _delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True, strict=True)
    header: list[str] | None = None
    line_number = 1
    try:
        for cells in reader:
            inner, line_number = scope.inside(f"line {line_number}"), reader.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if header is None:
                header = _header(cells, columns, inner)
                if header is None:
                    return
            elif any(cell.strip() for cell in cells[len(header) :]):
                inner.add(
                    "cells",
                    f"{len(cells)} cells",
                    f"at most {len(header)}, as the header has",
                    f'put a text that holds "{delimiter}" between double quotes',
                )
            else:
                values = {name: cell.strip() for name, cell in zip(header, cells, strict=False)}
                yield Line(values, inner, place, delimiter != ",")
    except csv.Error as error:
        scope.inside(f"line {line_number}").add("quotes", str(error), "a CSV line", "close the double quotes")
    if header is None:
        expected = f"columns {', '.join(columns.required)}"
        scope.add("header", "nothing", expected, f"write a header line and one line per {columns.row}")


def _delimiter(text: str) -> str:
    header = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;\t", key=header.count)


def _header(cells: Sequence[str], columns: Columns, scope: Scope) -> list[str] | None:
    names = [cell.strip().casefold() for cell in cells]
    while names and not names[-1]:
        names.pop()
    known = columns.known
    before = len(scope.problems)
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            scope.add(f"column {shown(name)}", f"{names.count(name)} times", "each column once", "rename one")
        elif name not in (*known, *FOR_PEOPLE):
            expected = f"one of {', '.join(known)}, or {', '.join(FOR_PEOPLE)} for remarks"
            scope.add(f"column {shown(name)}", "an unknown column", expected, remedy_for(name, known))
    for name in columns.required:
        if name not in names:
            scope.add(f"column {name}", "nothing", f"columns {', '.join(columns.required)}", f"add the column {name}")
    return names if len(scope.problems) == before else None
