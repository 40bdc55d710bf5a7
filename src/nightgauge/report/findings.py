"""Findings as lists: JSON for programs, CSV for a work-order system, a plain table for a terminal."""

import csv
import io
import re
from datetime import UTC, datetime
from typing import Any, TypeAlias
from zoneinfo import ZoneInfo

import polars as pl

from nightgauge.field.settings import Field
from nightgauge.report.quantities import in_display_units
from nightgauge.report.sheet import cell
from nightgauge.report.words import (
    FAILURE_MODES,
    PRIORITY_ORDER,
    element_words,
    from_json,
    how_sure,
    kind_words,
    mark_words,
)  # fmt: skip
from nightgauge.units import System

Row: TypeAlias = dict[str, Any]
"""One finding: the columns of FINDINGS, or the keys of the findings format."""

EVERY_STATE = "any"
_CSV_HEADER = (
    "id", "vessel", "element", "kind", "what", "failure_mode", "failure_mode_text", "priority", "confidence",
    "state", "mark", "onset", "first_reported", "last_seen", "cleared_at", "summary", "check_first",
    "effect_value", "effect_unit",
)  # fmt: skip
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+")


def selected(findings: pl.DataFrame, state: str | None = None) -> pl.DataFrame:
    """Return the findings of one state; all but withdrawn without one, every one for "any"; in reading order."""
    if state is None:
        findings = findings.filter(pl.col("state") != "withdrawn")
    elif state != EVERY_STATE:
        findings = findings.filter(pl.col("state") == state)
    rank = pl.col("priority").replace_strict(PRIORITY_ORDER, default=len(PRIORITY_ORDER), return_dtype=pl.Int32)
    is_over = pl.col("state").is_in(["cleared", "withdrawn"])
    return findings.sort(
        [is_over, rank, -pl.col("confidence"), "onset", "vessel", "id"], nulls_last=True, maintain_order=True
    )


def as_json(findings: pl.DataFrame, field: Field, *, state: str | None = None) -> list[Row]:
    """Return findings as objects of the findings format.

    Parameters
    ----------
    findings : FINDINGS
        Any number of rows.
    field : Field
        For its zone (offset of the times) and its display units (evidence and effect).
    state : str, optional
        Only this state; "any" for all. Without it all but withdrawn.

    Returns
    -------
    list of dict
        Ready for `json.dumps`, what needs a visit first.

    """
    return [_object(row, field) for row in selected(findings, state).iter_rows(named=True)]


def _object(row: Row, field: Field) -> Row:
    plain = ("id", "vessel", "element", "kind", "failure_mode", "priority", "confidence", "state")
    times = ("onset", "first_reported", "last_seen", "cleared_at")
    return {
        **{name: row[name] for name in plain},
        "mark": _mark(row["mark"], field.zone),
        **{name: _stamp(row[name], field.zone) for name in times},
        "summary": row["summary"],
        "evidence": [_evidence(one, field) for one in from_json(row["evidence"]) or ()],
        "instead": from_json(row["instead"]) or [],
        "checks": from_json(row["checks"]) or [],
        "effect": _effect(from_json(row["effect"]), field.display_units),
        "also": from_json(row["also"]) or [],
    }


def _stamp(time: datetime | str | None, zone: ZoneInfo) -> str | None:
    if time is None:
        return None
    if isinstance(time, str):
        time = datetime.fromisoformat(time)
    # A stamp without an offset can only be one of our own, which are UTC.
    aware = time.replace(tzinfo=UTC) if time.tzinfo is None else time
    return aware.astimezone(zone).isoformat()


def _mark(text: str | None, zone: ZoneInfo) -> Row | None:
    mark = from_json(text)
    if mark is None:
        return None
    return {"as": mark.get("as"), "note": mark.get("note"), "by": mark.get("by"), "at": _stamp(mark.get("at"), zone)}


def _evidence(one: Row, field: Field) -> Row:
    unit, name = one.get("unit") or "", one.get("name", "")
    value, shown_unit = _converted(one.get("value"), unit, field.display_units, name)
    expected = one.get("expected")
    if isinstance(expected, int | float):
        expected, _ = _converted(float(expected), unit, field.display_units, name)
    return {
        "name": name,
        "value": value,
        "unit": shown_unit,
        "expected": expected,
        "from": _stamp(one.get("from"), field.zone),
        "to": _stamp(one.get("to"), field.zone),
    }


def _converted(value: float | None, unit: str, system: System, about: str) -> tuple[float | None, str]:
    number, shown_unit = in_display_units(0.0 if value is None else value, unit, system, about)
    # Nine figures keep every digit a meter has and drop the dust of the conversion.
    return (None if value is None else float(f"{number:.9g}")), shown_unit


def _effect(effect: Row | None, system: System) -> Row | None:
    if effect is None:
        return None
    value, unit = _converted(effect.get("value"), effect.get("unit") or "", system, effect.get("basis") or "")
    terms = effect.get("terms") or ()
    return {
        "value": value,
        "unit": unit,
        "basis": effect.get("basis"),
        "terms": [_term(term, system) for term in terms],
        "is_upper_bound": bool(effect.get("is_upper_bound")),
    }


def _term(term: Row, system: System) -> Row:
    name = term.get("name") or ""
    value, unit = _converted(term.get("value"), term.get("unit") or "", system, name)
    return {"name": name, "value": value, "unit": unit}


def as_csv(findings: pl.DataFrame, field: Field, *, state: str | None = None) -> str:
    """Return findings as CSV with ISO 14224 failure modes, safe to open in a spreadsheet.

    A text that a spreadsheet would take for a formula is written with an apostrophe before it, and line
    breaks inside a cell become spaces.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_CSV_HEADER)
    for finding in as_json(findings, field, state=state):
        writer.writerow([cell(value) for value in _csv_row(finding)])
    return out.getvalue()


def _csv_row(finding: Row) -> list[object]:
    effect: Row = finding["effect"] or {}
    return [
        finding["id"], finding["vessel"], finding["element"], finding["kind"],
        kind_words(finding["kind"], finding["element"]), finding["failure_mode"],
        FAILURE_MODES.get(finding["failure_mode"] or ""), finding["priority"], finding["confidence"],
        finding["state"], mark_words(finding["mark"]), finding["onset"], finding["first_reported"],
        finding["last_seen"], finding["cleared_at"], finding["summary"], next(iter(finding["checks"]), None),
        effect.get("value"), effect.get("unit"),
    ]  # fmt: skip


def as_table(findings: pl.DataFrame, field: Field, *, state: str | None = None) -> str:
    """Return findings as a plain table for a terminal, one line each, the summary under it."""
    rows = [_table_row(finding) for finding in as_json(findings, field, state=state)]
    if not rows:
        return "no findings\n"
    header = ("PRIORITY", "VESSEL", "WHAT", "SINCE", "HOW SURE", "STATE", "ID")
    widths = [max(len(row[at]) for row in (header, *(cells for cells, _ in rows))) for at in range(len(header))]
    lines = [_padded(header, widths)]
    for cells, summary in rows:
        lines.append(_padded(cells, widths))
        lines.append(f"    {summary}")
    return "\n".join(lines) + "\n"


def _padded(cells: tuple[str, ...], widths: list[int]) -> str:
    return "  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()


def _table_row(finding: Row) -> tuple[tuple[str, ...], str]:
    what = kind_words(finding["kind"], finding["element"])
    state = finding["state"] + (f", {finding['mark']['as']}" if finding["mark"] else "")
    onset = "" if finding["onset"] is None else finding["onset"][:16].replace("T", " ")
    sure = f"{how_sure(finding['confidence'])} ({finding['confidence']:.0%})"
    cells = (finding["priority"], finding["vessel"], what, onset, sure, state, finding["id"])
    clean = tuple(_CONTROL.sub(" ", str(cell)) for cell in cells)
    return clean, _CONTROL.sub(" ", finding["summary"] or element_words(finding["element"]))
