"""Cells of the tables that people open in a spreadsheet."""

import base64
import csv
import io

import polars as pl
import pytest

from nightgauge.report.sheet import cell, link

# The letters that OWASP, "CSV Injection", names: = + - @, tab and carriage return before them; from memory.
FORMULAS = [
    "=1+1",
    "+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    " =1",
    '=HYPERLINK("http://x","y")',
    "\uff1d1",
    "|cmd",
    "\n=1",
]


@pytest.mark.parametrize("text", FORMULAS)
def test_a_text_that_would_compute_stands_behind_an_apostrophe(text: str) -> None:
    assert str(cell(text)).startswith("'")


@pytest.mark.parametrize("value", ["QB-101", "a=b", "", 5, -5.5, None, True])
def test_anything_else_stands_as_it_is(value: object) -> None:
    assert cell(value) == value


def test_a_table_in_a_page_holds_no_formula_and_keeps_its_numbers() -> None:
    frame = pl.DataFrame({"well": [*FORMULAS, None], "rate": [-1.5] * (len(FORMULAS) + 1)})
    written = base64.b64decode(link(frame, "%Y").split("base64,")[1]).decode()
    rows = list(csv.reader(io.StringIO(written)))[1:]
    assert all(well.startswith("'") for well, _ in rows[:-1])
    assert [rate for _, rate in rows] == ["-1.5"] * len(rows)
    assert rows[-1][0] == ""
