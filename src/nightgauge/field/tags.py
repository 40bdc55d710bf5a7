"""Reading tags.csv: which historian tag is which signal of which vessel, and what its raw value means.

Columns are `tag, vessel, signal, unit` and optionally `states, scale, offset, zero, span, max_gap, from,
to`, in any order. A column named `note`, `description`, `comment` or `remark` is for people and is passed
over; any other is an error, for a misspelt `scal` would silently leave its values out.
"""

import math
from collections.abc import Mapping, Sequence
from itertools import combinations

from nightgauge.field.lines import Columns, Line, lines
from nightgauge.field.problems import Scope, listed, remedy_for, shown
from nightgauge.field.settings import TagRow
from nightgauge.field.tables import Place
from nightgauge.units import DIMENSIONS, Conversion, UnitProblem, conversion, parse
from nightgauge.vocabulary.signals import SIGNALS, Signal

COLUMNS = Columns(
    ("tag", "vessel", "signal", "unit"),
    ("states", "scale", "offset", "zero", "span", "max_gap", "from", "to"),
    row="tag",
)

_NO_UNIT = {"", "-", "1"}


def read_tags(text: str, vessel_ids: Sequence[str], place: Place, scope: Scope) -> tuple[TagRow, ...]:
    """Return the rows of tags.csv; lines with mistakes are left out, the mistakes noted.

    Parameters
    ----------
    text : str
        The file, decoded.
    vessel_ids : sequence of str
        Ids of the field's vessels.
    place : Place
        Zone of `from` and `to`, atmospheric pressure for units that say absolute.
    scope : Scope
        The file.

    """
    found: list[tuple[Line, TagRow]] = []
    for line in lines(text, COLUMNS, place, scope):
        row = _read_row(line, vessel_ids)
        if row is not None:
            found.append((line, row))
    _find_overlaps(found)
    return tuple(row for _, row in found)


def _read_row(line: Line, vessel_ids: Sequence[str]) -> TagRow | None:
    before = len(line.scope.problems)
    if not line.text("tag"):
        line.bad("tag", "the tag's name in the historian")
    if vessel_ids and line.text("vessel") not in vessel_ids:
        expected = f"the id of a [[vessel]] in field.toml: {listed(vessel_ids)}"
        line.bad("vessel", expected, remedy_for(line.text("vessel"), vessel_ids))
    signal = SIGNALS.get(line.text("signal"))
    if signal is None:
        line.bad("signal", "a signal: " + ", ".join(SIGNALS), remedy_for(line.text("signal"), SIGNALS))
        return None
    converted = _conversion(line, signal)
    states = _states(line, signal)
    max_gap_s = _max_gap_s(line, signal)
    start, end = line.time("from"), line.time("to")
    if start is not None and end is not None and start >= end:
        line.bad("to", f'a time after "{line.text("from")}"', "correct from or to")
    if converted is None or len(line.scope.problems) > before:
        return None
    return TagRow(
        tag=line.text("tag"),
        vessel=line.text("vessel"),
        signal=signal.name,
        unit=line.text("unit"),
        conversion=converted,
        max_gap_s=max_gap_s,
        states=states,
        from_utc=start,
        to_utc=end,
    )


def _conversion(line: Line, signal: Signal) -> Conversion | None:
    """Return raw to stored: scale and offset first, then the unit or the span of a level in %."""
    scale, offset = _number(line, "scale", 1.0), _number(line, "offset", 0.0)
    if scale == 0.0:
        line.bad("scale", "a number other than 0")
        return None
    if signal.kind == "text" and (line.text("scale") or line.text("offset")):
        line.scope.add("scale, offset", "a number", "nothing: the signal is a text", "take it out")
    unit = _unit(line, signal)
    if unit is None or scale is None or offset is None:
        return None
    return Conversion(scale * unit.factor, offset * unit.factor + unit.constant)


def _unit(line: Line, signal: Signal) -> Conversion | None:
    written = line.text("unit")
    in_percent = signal.dimension == "length" and written in {"%", "percent", "pct"}
    if not in_percent and (line.text("zero") or line.text("span")):
        line.scope.add(
            "zero, span", "a height", "nothing: they are for levels in %", "take them out, or give the unit as %"
        )
    if in_percent:
        return _span(line)
    if signal.dimension in ("state", "text"):
        if written.casefold() in {*_NO_UNIT, signal.dimension}:
            return Conversion(1.0, 0.0)
        line.bad("unit", f"nothing: {signal.name} is a {signal.dimension}", "leave the unit empty")
        return None
    or_percent = ", or % with zero and span" if signal.dimension == "length" else ""
    expected = f"a unit of {signal.dimension} for {signal.name}{or_percent}"
    if not written:
        line.bad("unit", f"{expected}, like {DIMENSIONS[signal.dimension].examples}", "write the unit")
        return None
    try:
        return conversion(written, signal.dimension, line.place.atmospheric_pressure_kpa)
    except UnitProblem as problem:
        line.bad("unit", f"{expected} ({problem})")
        return None


def _span(line: Line) -> Conversion | None:
    zero, span = _length(line, "zero", "0 %"), _length(line, "span", "100 %")
    if zero is None or span is None:
        return None
    if math.isclose(zero, span, rel_tol=1e-9):  # 2 ft and 24 in differ in the last digit
        line.bad("span", f"a height other than zero, which is {line.text('zero')}")
        return None
    return Conversion((span - zero) / 100.0, zero)


def _length(line: Line, column: str, mark: str) -> float | None:
    expected = f'the height of {mark} above the lowest inside point, like "12 in"'
    if not line.text(column):
        line.bad(column, expected, "a level in % needs zero and span")
        return None
    try:
        return parse(line.numeric(column), "length")
    except UnitProblem as problem:
        line.bad(column, f"{expected} ({problem})")
        return None


def _number(line: Line, column: str, default: float) -> float | None:
    if not line.text(column):
        return default
    try:
        number = float(line.numeric(column))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        line.bad(column, "a number, or nothing")
        return None
    return number


def _states(line: Line, signal: Signal) -> Mapping[str, float]:
    written = line.text("states")
    if not written:
        return {}
    if signal.kind != "state":
        line.bad("states", f"nothing: {signal.name} is no state", "leave it empty")
        return {}
    states: dict[str, float] = {}
    for part in filter(None, (piece.strip() for piece in written.split(";"))):
        text, equals, number = (piece.strip() for piece in part.rpartition("="))
        if not equals or not text or number not in {"0", "1"}:
            line.bad("states", "texts and 0 or 1, like OPEN=1;CLOSED=0")
        elif text in states:
            line.bad("states", f"each text once; {shown(text)} comes twice")
        else:
            states[text] = float(number)
    return states


def _max_gap_s(line: Line, signal: Signal) -> float:
    if not line.text("max_gap"):
        return signal.max_gap_s
    try:
        gap_s = parse(line.numeric("max_gap"), "duration")
    except UnitProblem as problem:
        line.bad("max_gap", f'a duration with its unit, like "30 min" ({problem})')
        return signal.max_gap_s
    if gap_s <= 0.0:
        line.bad("max_gap", "a duration of more than 0")
    return gap_s


def _find_overlaps(found: Sequence[tuple[Line, TagRow]]) -> None:
    by_tag: dict[str, list[tuple[Line, TagRow]]] = {}
    for line, row in found:
        by_tag.setdefault(row.tag, []).append((line, row))
    for rows in by_tag.values():
        for (first, one), (second, other) in combinations(rows, 2):
            if overlap(one, other):
                second.scope.add(
                    "tag",
                    f"{shown(other.tag)} again while {first.scope.place} still holds",
                    "rows of one tag whose from and to do not overlap",
                    "date the rows with from and to, or take one out",
                )


def overlap(one: TagRow, other: TagRow) -> bool:
    """Return whether there is a time at which both rows hold."""
    first_ends = one.to_utc is None or other.from_utc is None or other.from_utc < one.to_utc
    second_ends = other.to_utc is None or one.from_utc is None or one.from_utc < other.to_utc
    return first_ends and second_ends
