"""How commands print: plain tables for people, JSON and CSV for scripts."""

import csv
import io
import json
import re
import sys
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from nightgauge.report.sheet import cell

Row = Mapping[str, object]

_CONTROL = re.compile(r"[\x00-\x1f\x7f]+")


class Format(StrEnum):
    """What a script may ask for, and what a person reads."""

    table = "table"
    json = "json"
    csv = "csv"


def say(text: str) -> None:
    """Print text and a line's end."""
    sys.stdout.write(text + "\n")


def show(rows: Sequence[Row], columns: Sequence[str], asked: Format, zone: ZoneInfo) -> None:
    """Print rows in the asked form; times with the zone's offset.

    Parameters
    ----------
    rows : sequence of mapping
        Values by column.
    columns : sequence of str
        Which columns, in order.
    asked : Format
        Table, JSON or CSV.
    zone : ZoneInfo
        Zone of printed times.

    """
    plain = [{column: _plain(row.get(column), zone) for column in columns} for row in rows]
    if asked is Format.json:
        say(json.dumps(plain, ensure_ascii=False, indent=1))
    elif asked is Format.csv:
        sys.stdout.write(_csv(plain, columns))
    else:
        say(table(plain, columns))


def table(rows: Sequence[Row], columns: Sequence[str]) -> str:
    """Return rows as aligned columns under a header; numbers to the right."""
    cells = [[_cell(row.get(column)) for column in columns] for row in rows]
    widths = [max(len(column), *(len(line[at]) for line in cells)) if cells else len(column)
              for at, column in enumerate(columns)]  # fmt: skip
    is_number = [all(isinstance(row.get(column), int | float | None) for row in rows) for column in columns]
    lines = [[column.rjust(w) if right else column.ljust(w)
              for column, w, right in zip(columns, widths, is_number, strict=True)]]  # fmt: skip
    lines += [
        [cell.rjust(w) if right else cell.ljust(w) for cell, w, right in zip(line, widths, is_number, strict=True)]
        for line in cells
    ]
    return "\n".join("  ".join(line).rstrip() for line in lines)


def _cell(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, float):
        return f"{value:.4g}"
    return _CONTROL.sub(" ", str(value))


def _csv(rows: Sequence[Row], columns: Sequence[str]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([cell(row.get(column)) for column in columns])
    return out.getvalue()


def _plain(value: object, zone: ZoneInfo) -> object:
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    return value
