"""Reading the optional lists of a field folder: tests.csv, routing.csv, gauges.csv, inspections.csv.

A list is read where `field.toml` names it, or where a file of its usual name lies beside it.

    tests.csv         well, vessel, start, end; a note if wanted
    routing.csv       time, well, vessel (empty: shut in, or away); a note if wanted
    gauges.csv        well, tank, start, end, opening, closing; cut and a note if wanted
    inspections.csv   date, vessel, anode, left ("18 lb" or "60 %"); a note if wanted
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from nightgauge.field.lines import Columns, Line, lines
from nightgauge.field.problems import Scope, listed, remedy_for
from nightgauge.field.settings import Gauge, Inspection, Routing, ScheduledTest
from nightgauge.field.tables import Place
from nightgauge.units import UnitProblem, parse


@dataclass(frozen=True)
class Known:
    """The ids of field.toml that lists speak of."""

    vessels: Sequence[str] = ()
    wells: Sequence[str] = ()
    tanks: Sequence[str] = ()
    anodes: Sequence[tuple[str, str]] = ()
    """Pairs of vessel and anode."""


Row = TypeVar("Row")

_LENGTHS = re.compile(r"[+-]?[0-9.]+\s*[^0-9\s+-]+")


def read_tests(text: str, known: Known, place: Place, scope: Scope) -> tuple[ScheduledTest, ...]:
    """Return the tests of a schedule in order of start."""
    columns = Columns(("well", "vessel", "start", "end"), row="test")
    return _rows(text, columns, place, scope, lambda line: _test(line, known))


def read_routings(text: str, known: Known, place: Place, scope: Scope) -> tuple[Routing, ...]:
    """Return which well went where from when on, in order of time."""
    columns = Columns(("time", "well", "vessel"), row="change of routing")
    return _rows(text, columns, place, scope, lambda line: _routing(line, known))


def read_gauges(text: str, known: Known, place: Place, scope: Scope) -> tuple[Gauge, ...]:
    """Return hand gauges of tanks in order of start."""
    columns = Columns(("well", "tank", "start", "end", "opening", "closing"), ("cut",), row="pair of gauges")
    return _rows(text, columns, place, scope, lambda line: _gauge(line, known))


def read_inspections(text: str, known: Known, place: Place, scope: Scope) -> tuple[Inspection, ...]:
    """Return what inspections found of anodes, in order of time."""
    columns = Columns(("date", "vessel", "anode", "left"), ("note",), row="anode looked at")
    return _rows(text, columns, place, scope, lambda line: _inspection(line, known))


def _rows(
    text: str, columns: Columns, place: Place, scope: Scope, read: Callable[[Line], tuple[datetime, Row] | None]
) -> tuple[Row, ...]:
    found = []
    for line in lines(text, columns, place, scope):
        before = len(scope.problems)
        row = read(line)
        if row is not None and len(scope.problems) == before:
            found.append(row)
    return tuple(row for _, row in sorted(found, key=lambda pair: pair[0]))


def _test(line: Line, known: Known) -> tuple[datetime, ScheduledTest] | None:
    _id(line, "well", known.wells)
    _id(line, "vessel", known.vessels)
    span = _span(line)
    if span is None:
        return None
    return span[0], ScheduledTest(line.text("well"), line.text("vessel"), *span)


def _routing(line: Line, known: Known) -> tuple[datetime, Routing] | None:
    _id(line, "well", known.wells)
    vessel = line.text("vessel") or None
    if vessel is not None:
        _id(line, "vessel", known.vessels)
    at = _due(line, "time")
    return None if at is None else (at, Routing(at, line.text("well"), vessel))


def _gauge(line: Line, known: Known) -> tuple[datetime, Gauge] | None:
    _id(line, "well", known.wells)
    _id(line, "tank", known.tanks)
    span = _span(line)
    opening, closing = _height(line, "opening"), _height(line, "closing")
    cut = _share(line, "cut") if line.text("cut") else None
    if span is None or opening is None or closing is None:
        return None
    return span[0], Gauge(line.text("well"), line.text("tank"), *span, opening, closing, cut)


def _inspection(line: Line, known: Known) -> tuple[datetime, Inspection] | None:
    _id(line, "vessel", known.vessels)
    pair = line.text("vessel"), line.text("anode")
    of_vessel = [anode for vessel, anode in known.anodes if vessel == pair[0]]
    if pair[0] in known.vessels and pair not in known.anodes:
        line.bad("anode", f"the id of an [[anode]] of this vessel: {listed(of_vessel) or 'it has none'}")
    at, left = _due(line, "date"), _left(line)
    if at is None or left is None:
        return None
    mass, share = left
    return at, Inspection(at, *pair, mass, share, line.text("note"))


def _id(line: Line, column: str, known: Sequence[str]) -> None:
    if line.text(column) not in known:
        expected = f"the id of a [[{column}]] in field.toml: {listed(known) or 'it has none'}"
        line.bad(column, expected, remedy_for(line.text(column), known) if known else f"add a [[{column}]]")


def _due(line: Line, column: str) -> datetime | None:
    if not line.text(column):
        line.bad(column, 'a time like "2026-05-02" or "2026-05-02T06:00"', f"write the {column}")
    return line.time(column)


def _span(line: Line) -> tuple[datetime, datetime] | None:
    start, end = _due(line, "start"), _due(line, "end")
    if start is None or end is None:
        return None
    if start >= end:
        line.bad("end", f'a time after "{line.text("start")}"', "correct start or end")
        return None
    return start, end


def _height(line: Line, column: str) -> float | None:
    """Return a gauge, of one length or of several to be added, like "12 ft 3.25 in"."""
    written = line.numeric(column)
    parts = _LENGTHS.findall(written)
    expected = 'a length with its unit, like "12 ft 3.25 in" or "3.74 m"'
    if not parts or "".join(parts).replace(" ", "") != written.replace(" ", ""):
        line.bad(column, expected)
        return None
    try:
        return sum(parse(part, "length") for part in parts)
    except UnitProblem as problem:
        line.bad(column, f"{expected} ({problem})")
        return None


def _share(line: Line, column: str) -> float | None:
    expected = 'a share like "82 %", between 0 and 100 %'
    try:
        share = parse(line.numeric(column), "fraction")
    except UnitProblem as problem:
        line.bad(column, f"{expected} ({problem})")
        return None
    if not 0.0 <= share <= 1.0:
        line.bad(column, expected)
        return None
    return share


def _left(line: Line) -> tuple[float | None, float | None] | None:
    """Return the mass or the share that is left; None where it is neither."""
    if "%" in line.text("left"):
        share = _share(line, "left")
        return None if share is None else (None, share)
    expected = 'a weight or a share of what is left, like "18 lb" or "60 %"'
    try:
        mass = parse(line.numeric("left"), "mass")
    except UnitProblem as problem:
        line.bad("left", f"{expected} ({problem})")
        return None
    if mass < 0.0:
        line.bad("left", expected)
        return None
    return mass, None
