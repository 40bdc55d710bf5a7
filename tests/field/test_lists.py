"""tests.csv, routing.csv, gauges.csv and inspections.csv: what they say, and every mistake in them told once."""

import re
from collections.abc import Callable
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.field.lists import Known, read_gauges, read_inspections, read_routings, read_tests
from nightgauge.field.problems import Scope
from nightgauge.field.settings import Gauge, Inspection, Routing, ScheduledTest
from nightgauge.field.tables import Place

DENVER = Place(ZoneInfo("America/Denver"))
KNOWN = Known(("QB-101", "QB-105"), ("W1", "W2"), ("T-1",), (("QB-101", "A1"), ("QB-101", "A2")))
LISTS: dict[str, tuple[Callable[..., tuple[object, ...]], str]] = {
    "tests": (read_tests, "well,vessel,start,end"),
    "routing": (read_routings, "time,well,vessel"),
    "gauges": (read_gauges, "well,tank,start,end,opening,closing,cut"),
    "inspections": (read_inspections, "date,vessel,anode,left,note"),
}
MAY_2, MAY_3 = (datetime(2026, 5, day, 6, tzinfo=UTC) for day in (2, 3))
"""Midnights of the field."""
FOOT_M, INCH_M, POUND_KG = 0.3048, 0.0254, 0.45359237


def read(name: str, text: str) -> tuple[tuple[object, ...], list[str]]:
    """Return the rows of a list, and its problems as lines."""
    scope = Scope(f"{name}.csv")
    rows = LISTS[name][0](text, KNOWN, DENVER, scope)
    return rows, [str(problem) for problem in scope.problems]


def read_line(name: str, line: str) -> tuple[tuple[object, ...], list[str]]:
    return read(name, f"{LISTS[name][1]}\n{line}\n")


@pytest.mark.parametrize(
    ("name", "line", "row"),
    [
        ("tests", "W1,QB-105,2026-05-02,2026-05-03", ScheduledTest("W1", "QB-105", MAY_2, MAY_3)),
        ("tests", "W1,QB-105,2026-05-02T06:00Z,2026-05-03", ScheduledTest("W1", "QB-105", MAY_2, MAY_3)),
        ("routing", "2026-05-02,W1,QB-101", Routing(MAY_2, "W1", "QB-101")),
        ("routing", "2026-05-02,W1,", Routing(MAY_2, "W1", None)),
        ("inspections", "2026-05-02,QB-101,A1,60 %,pitted", Inspection(MAY_2, "QB-101", "A1", None, 0.6, "pitted")),
        ("inspections", "2026-05-02,QB-101,A1,18 lb,", Inspection(MAY_2, "QB-101", "A1", 18 * POUND_KG)),
    ],
)
def test_a_line_says_what_it_says(name: str, line: str, row: object) -> None:
    assert read_line(name, line) == ((row,), [])


@pytest.mark.parametrize(
    ("opening", "height_m"),
    [
        ("12 ft 3.25 in", 12 * FOOT_M + 3.25 * INCH_M),
        ("12ft 3.25in", 12 * FOOT_M + 3.25 * INCH_M),
        ("147.25 in", 147.25 * INCH_M),
        ("3.74 m", 3.74),
        ("0 ft", 0.0),
    ],
)
def test_a_gauge_is_read_in_feet_and_inches_or_one_unit(opening: str, height_m: float) -> None:
    (row,), told = read_line("gauges", f"W1,T-1,2026-05-02,2026-05-03,{opening},20 ft,82 %")
    assert isinstance(row, Gauge)
    assert told == []
    assert row.opening_m == pytest.approx(height_m, rel=1e-12)
    assert row.closing_m == pytest.approx(20 * FOOT_M)
    assert row.water_cut_fraction == pytest.approx(0.82)


def test_a_gauge_without_a_cut_has_none() -> None:
    (row,), told = read("gauges", "well,tank,start,end,opening,closing\nW1,T-1,2026-05-02,2026-05-03,1 m,2 m\n")
    assert isinstance(row, Gauge)
    assert (row.water_cut_fraction, told) == (None, [])


def test_a_list_with_semicolons_may_have_decimal_commas() -> None:
    text = "well;tank;start;end;opening;closing;cut\nW1;T-1;2026-05-02;2026-05-03;1,25 m;2,5 m;82,5 %\n"
    (row,), told = read("gauges", text)
    assert isinstance(row, Gauge)
    assert (row.opening_m, row.closing_m, told) == (1.25, 2.5, [])


def test_lines_are_sorted_by_time_blank_ones_and_notes_passed_over() -> None:
    text = "time,well,vessel,note\n2026-05-03,W1,QB-101,back\n\n,,,\n2026-05-02,W2,,shut in for the rig\n"
    rows, told = read("routing", text)
    assert rows == (Routing(MAY_2, "W2", None), Routing(MAY_3, "W1", "QB-101"))
    assert told == []


_VESSELS = "the id of a [[vessel]] in field.toml: QB-101, QB-105"
_TIME = 'a time like "2026-05-02" or "2026-05-02T06:00"'
_HEIGHT = 'a length with its unit, like "12 ft 3.25 in" or "3.74 m"'
_SHARE = 'a share like "82 %", between 0 and 100 %'
_LEFT = 'a weight or a share of what is left, like "18 lb" or "60 %"'
_ANODES = "the id of an [[anode]] of this vessel"


@pytest.mark.parametrize(
    ("name", "line", "told"),
    [
        (
            "tests",
            "W9,QB-105,2026-05-02,2026-05-03",
            'well: found "W9", expected the id of a [[well]] in field.toml: W1, W2; correct it or take it out',
        ),
        (
            "tests",
            "W1,QB-150,2026-05-02,2026-05-03",
            f'vessel: found "QB-150", expected {_VESSELS}; did you mean QB-105?',
        ),
        (
            "tests",
            "W1,QB-105,2026-05-03,2026-05-02",
            'end: found "2026-05-02", expected a time after "2026-05-03"; correct start or end',
        ),
        (
            "tests",
            "W1,QB-105,2026-05-02,2026-05-02",
            'end: found "2026-05-02", expected a time after "2026-05-02"; correct start or end',
        ),
        ("tests", "W1,QB-105,,2026-05-02", f'start: found "", expected {_TIME}; write the start'),
        (
            "tests",
            "W1,QB-105,yesterday,2026-05-02",
            f'start: found "yesterday", expected {_TIME} ("yesterday" is no time); correct start',
        ),
        (
            "tests",
            "W1,QB-105,2026-03-08T02:30,2026-05-02",
            f'start: found "2026-03-08T02:30", expected {_TIME} ("2026-03-08T02:30" does not exist in America/Denver: '
            "the clocks skip it); correct start",
        ),
        (
            "tests",
            "W1,QB-105,2026-05-02,2026-05-03,x,y",
            "cells: found 6 cells, expected at most 4, as the header has; "
            'put a text that holds "," between double quotes',
        ),
        (
            "tests",
            'W1,"QB-105,2026-05-02,2026-05-03',
            "quotes: found unexpected end of data, expected a CSV line; close the double quotes",
        ),
        ("routing", "2026-05-02,W1,QB-10", f'vessel: found "QB-10", expected {_VESSELS}; did you mean QB-105?'),
        ("routing", ",W1,QB-101", f'time: found "", expected {_TIME}; write the time'),
        (
            "routing",
            "2026-05-02,,QB-101",
            'well: found "", expected the id of a [[well]] in field.toml: W1, W2; correct it or take it out',
        ),
        (
            "gauges",
            "W1,T-2,2026-05-02,2026-05-03,1 m,2 m,",
            'tank: found "T-2", expected the id of a [[tank]] in field.toml: T-1; did you mean T-1?',
        ),
        (
            "gauges",
            "W1,T-1,2026-05-02,2026-05-03,12,2 m,",
            f'opening: found "12", expected {_HEIGHT}; correct opening',
        ),
        ("gauges", "W1,T-1,2026-05-02,2026-05-03,1 m,,", f'closing: found "", expected {_HEIGHT}; correct closing'),
        (
            "gauges",
            "W1,T-1,2026-05-02,2026-05-03,1 m,2 bbl,",
            f"closing: found \"2 bbl\", expected {_HEIGHT} ('bbl' is not a unit of length; accepted are units like ft, "
            "in, m, cm, mm); correct closing",
        ),
        (
            "gauges",
            "W1,T-1,2026-05-02,2026-05-03,1 m,2 m,120 %",
            f'cut: found "120 %", expected {_SHARE}; correct cut',
        ),
        (
            "gauges",
            "W1,T-1,2026-05-02,2026-05-03,1 m,2 m,wet",
            f"cut: found \"wet\", expected {_SHARE} ('wet' does not start with a number; write it like '12 %'); "
            "correct cut",
        ),
        (
            "inspections",
            "2026-05-02,QB-101,A9,60 %,",
            f'anode: found "A9", expected {_ANODES}: A1, A2; correct anode',
        ),
        (
            "inspections",
            "2026-05-02,QB-105,A1,60 %,",
            f'anode: found "A1", expected {_ANODES}: it has none; correct anode',
        ),
        (
            "inspections",
            "2026-05-02,QB-999,A1,60 %,",
            f'vessel: found "QB-999", expected {_VESSELS}; correct it or take it out',
        ),
        (
            "inspections",
            "2026-05-02,QB-101,A1,much,",
            f"left: found \"much\", expected {_LEFT} ('much' does not start with a number; write it like '12 lb'); "
            "correct left",
        ),
        ("inspections", "2026-05-02,QB-101,A1,-3 lb,", f'left: found "-3 lb", expected {_LEFT}; correct left'),
        ("inspections", "2026-05-02,QB-101,A1,140 %,", f'left: found "140 %", expected {_SHARE}; correct left'),
    ],
)
def test_a_mistake_is_told_once_with_its_line_and_the_line_left_out(name: str, line: str, told: str) -> None:
    assert read_line(name, line) == ((), [f"{name}.csv, line 2, {told}"])


def test_mistakes_of_several_lines_are_told_together_and_good_lines_kept() -> None:
    rows, told = read_line(
        "tests", "W1,QB-105,2026-05-02,2026-05-03\nW8,QB-105,2026-05-02,2026-05-03\nW1,QB-105,x,2026-05-03"
    )
    assert rows == (ScheduledTest("W1", "QB-105", MAY_2, MAY_3),)
    assert [re.match(r"tests.csv, line (\d), (\w+):", line).groups() for line in told] == [  # type: ignore[union-attr]
        ("3", "well"),
        ("4", "start"),
    ]


@pytest.mark.parametrize("name", LISTS)
def test_each_column_that_is_missing_is_told_and_an_empty_file_too(name: str) -> None:
    columns = LISTS[name][1].split(",")
    required = [column for column in columns if column not in ("cut", "note")]
    for column in required:
        header = ",".join(other for other in columns if other != column)
        told = read(name, f"{header}\n")[1]
        assert told == [
            f"{name}.csv, line 1, column {column}: found nothing, expected columns {', '.join(required)}; "
            f"add the column {column}"
        ]
    (empty,) = read(name, "")[1]
    assert empty.startswith(
        f"{name}.csv, header: found nothing, expected columns {', '.join(required)}; write a header"
    )


def test_a_misspelt_column_is_told_with_the_nearest() -> None:
    told = read("gauges", "well,tank,start,end,opening,closing,cutt\n")[1]
    assert len(told) == 1
    assert told[0].startswith('gauges.csv, line 1, column "cutt": found an unknown column, expected one of well, tank,')
    assert told[0].endswith("did you mean cut?")


def test_a_field_without_wells_says_that_one_is_to_be_added() -> None:
    scope = Scope("tests.csv")
    text = "well,vessel,start,end\nW1,QB-105,2026-05-02,2026-05-03\n"
    read_tests(text, Known(("QB-105",)), DENVER, scope)
    assert [str(problem) for problem in scope.problems] == [
        'tests.csv, line 2, well: found "W1", expected the id of a [[well]] in field.toml: it has none; add a [[well]]'
    ]


_CELLS = st.one_of(
    st.sampled_from(
        ["W1", "QB-101", "T-1", "A1", "2026-05-02", "2026-05-03T06:00", "1 m", "2 ft 3 in", "60 %", "", '"']
    ),
    st.text(max_size=8),
)


@given(st.sampled_from(sorted(LISTS)), st.lists(st.lists(_CELLS, max_size=8), max_size=4), st.sampled_from(",;\t"))
def test_any_lines_are_read_or_told(name: str, lines: list[list[str]], delimiter: str) -> None:
    header = LISTS[name][1].replace(",", delimiter)
    rows, told = read(name, "\n".join([header, *(delimiter.join(cells) for cells in lines)]))
    assert len(set(told)) == len(told)
    if any(re.search(r"\w", "".join(cells)) for cells in lines):
        assert rows or told


@given(st.sampled_from(sorted(LISTS)), st.text())
def test_any_text_is_read_or_told(name: str, text: str) -> None:
    rows, told = read(name, text)
    assert told or not rows
    assert all("\n" not in line for line in told)
