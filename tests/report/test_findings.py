"""Findings as JSON, CSV and table: keys of the format, units, zones, and no cell a spreadsheet would run."""

import csv
import io
import json
from collections.abc import Callable
from datetime import UTC, datetime

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.field.settings import Field
from nightgauge.report.findings import as_csv, as_json, as_table

Build = Callable[..., pl.DataFrame]
KEYS = {
    "id", "vessel", "element", "kind", "failure_mode", "priority", "confidence", "state", "mark", "onset",
    "first_reported", "last_seen", "cleared_at", "summary", "evidence", "instead", "checks", "effect",
}  # fmt: skip


@pytest.fixture(scope="module")
def field(make_field: Callable[..., Field]) -> Field:
    return make_field()


def test_each_object_has_the_keys_of_the_format(make_findings: Build, field: Field) -> None:
    (one,) = as_json(make_findings({}), field)
    assert set(one) >= KEYS
    json.dumps(one, allow_nan=False)


def test_times_carry_the_offset_of_the_field_in_their_season(make_findings: Build, field: Field) -> None:
    # Denver is UTC-6 in summer and UTC-7 in winter.
    rows = ({"onset": datetime(2026, 7, 1, 12, tzinfo=UTC)}, {"onset": datetime(2026, 1, 1, 12, tzinfo=UTC)})
    assert [one["onset"] for one in as_json(make_findings(*rows), field)] == [
        "2026-01-01T05:00:00-07:00", "2026-07-01T06:00:00-06:00",
    ]  # fmt: skip


def test_evidence_and_effect_are_in_display_units(make_findings: Build, make_field: Callable[..., Field]) -> None:
    # 45 psi = 45 x 6.894757293168 kPa; 1 bbl = 0.158987294928 m3 (NIST SP 811).
    evidence = [{"name": "held", "value": 310.26407819257, "unit": "kPag", "expected": 337.84310736525,
                 "from": "2026-05-18T06:00:00+00:00", "to": None}]  # fmt: skip
    terms = [{"name": "load", "value": 31.7974589856, "unit": "m3/day"}, {"name": "share", "value": 0.5, "unit": "1"}]
    effect = {"value": 15.8987294928, "unit": "m3/day", "basis": "oil to the water side: load × share", "terms": terms}
    findings = make_findings({"evidence": json.dumps(evidence), "effect": json.dumps(effect)})
    (one,) = as_json(findings, make_field())
    assert one["evidence"] == [
        {"name": "held", "value": pytest.approx(45.0), "unit": "psig", "expected": pytest.approx(49.0),
         "from": "2026-05-18T00:00:00-06:00", "to": None}
    ]  # fmt: skip
    # 31.797... m3 are 200 barrels of 42 US gallons.
    assert one["effect"] == {
        "value": pytest.approx(100.0), "unit": "bbl/day", "basis": "oil to the water side: load × share",
        "terms": [{"name": "load", "value": pytest.approx(200.0), "unit": "bbl/day"},
                  {"name": "share", "value": pytest.approx(50.0), "unit": "%"}],
        "is_upper_bound": False,
    }  # fmt: skip
    (metric,) = as_json(findings, make_field(display_units="metric"))
    assert metric["evidence"][0]["value"] == pytest.approx(310.264078)
    assert metric["evidence"][0]["unit"] == "kPag"


def test_an_effect_kept_before_its_terms_were_still_reads(
    make_findings: Build, make_field: Callable[..., Field]
) -> None:
    effect = {"value": 15.8987294928, "unit": "m3/day", "basis": "oil to the water side"}
    (one,) = as_json(make_findings({"effect": json.dumps(effect)}), make_field())
    assert (one["effect"]["terms"], one["effect"]["is_upper_bound"]) == ([], False)


def test_expected_may_be_words_and_a_value_may_be_unknown(make_findings: Build, field: Field) -> None:
    evidence = [{"name": "gap", "value": None, "unit": "m", "expected": "about 4 in", "from": None, "to": None}]
    (one,) = as_json(make_findings({"evidence": json.dumps(evidence)}), field)
    assert one["evidence"][0] == {
        "name": "gap", "value": None, "unit": "in", "expected": "about 4 in", "from": None, "to": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("state", "states"),
    [
        (None, ["new", "standing", "cleared"]),
        ("any", ["new", "standing", "cleared", "withdrawn"]),
        ("withdrawn", ["withdrawn"]),
        ("new", ["new"]),
    ],
)
def test_withdrawn_findings_are_told_only_when_asked_for(
    make_findings: Build, field: Field, state: str | None, states: list[str]
) -> None:
    findings = make_findings(*({"state": one} for one in ("withdrawn", "cleared", "standing", "new")))
    assert sorted(one["state"] for one in as_json(findings, field, state=state)) == sorted(states)


def test_what_needs_a_visit_first_comes_first(make_findings: Build, field: Field) -> None:
    findings = make_findings(
        {"priority": "low", "confidence": 0.99}, {"priority": "high", "confidence": 0.7},
        {"priority": "high", "confidence": 0.95}, {"priority": "high", "confidence": 0.99, "state": "cleared"},
    )  # fmt: skip
    assert [one["id"] for one in as_json(findings, field)] == ["F003", "F002", "F001", "F004"]


def test_a_mark_is_told_with_its_time_in_the_field(make_findings: Build, field: Field) -> None:
    mark = {"as": "known", "note": "waits", "by": "A. Reader", "at": "2026-05-20T15:00:00+00:00"}
    (one,) = as_json(make_findings({"mark": json.dumps(mark)}), field)
    assert one["mark"] == mark | {"at": "2026-05-20T09:00:00-06:00"}


def test_csv_carries_the_iso_code_and_its_words(make_findings: Build, field: Field) -> None:
    (row,) = csv.DictReader(io.StringIO(as_csv(make_findings({"failure_mode": "LCP"}), field)))
    assert (row["failure_mode"], row["failure_mode_text"]) == ("LCP", "leakage in closed position")
    assert row["confidence"] == "0.8"


@given(
    text=st.text(max_size=30)
    | st.sampled_from(["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =1", "＝1", '=HYPERLINK("x")'])
)
def test_no_cell_can_become_a_formula(text: str, make_findings: Build, field: Field) -> None:
    # OWASP, "CSV Injection": cells that begin with = + - @, tab or carriage return, and their full-width forms.
    findings = make_findings({"summary": text, "vessel": text or "x", "checks": json.dumps([text])})
    table = as_csv(findings, field)
    rows = list(csv.reader(io.StringIO(table, newline="")))
    assert len(rows) == 2
    for cell in rows[1]:
        assert not cell.lstrip().startswith(("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"))


def test_the_table_is_plain_text_with_one_line_and_a_summary_each(make_findings: Build, field: Field) -> None:
    lines = as_table(make_findings({"summary": "it leaks\x1b[31m"}), field).splitlines()
    assert len(lines) == 3
    assert "water dump leaks while shut" in lines[1]
    assert lines[2] == "    it leaks [31m"


def test_no_findings_say_so(make_findings: Build, field: Field) -> None:
    assert as_table(make_findings({}).clear(), field) == "no findings\n"
    assert as_json(make_findings({}).clear(), field) == []
