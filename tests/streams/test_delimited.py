"""Delimited exports as a whole: dialects, joined exports, wide ones with thousands of columns."""

import pytest

from nightgauge.errors import SourceError
from nightgauge.streams import content, delimited


@pytest.mark.parametrize(
    "text",
    [
        "tag,time,value,quality\nP,2026-05-01T00:00Z,5.5,Good\n",
        "tag;time;value;quality\nP;2026-05-01T00:00Z;5,5;Good\n",
        "tag\ttime\tvalue\tquality\nP\t2026-05-01T00:00Z\t5,5\tGood\n",
        'tag,time,value,quality\n"P","2026-05-01T00:00Z","5,5","Good"\n',
        "tag,time,value,quality,\nP,2026-05-01T00:00Z,5.5,Good,\n",
        "tag,time,value,quality,\nP,2026-05-01T00:00Z,5.5,Good\n",
        "tag,time,value,quality\nP,2026-05-01T00:00Z,5.5,Good,,\n",
        " tag , time , value , quality \n P , 2026-05-01T00:00Z , 5.5 , Good \n",
        '"tag", "time", "value", "quality"\n"P", "2026-05-01T00:00Z", "5.5", "Good"\n',
        "tag,time,value,quality\rP,2026-05-01T00:00Z,5.5,Good\r",
        "tag,time,value,quality\r\n\r\nP,2026-05-01T00:00Z,5.5,Good",
        'row,value,remark,QUALITY,time,Tag\n7,5.5,"a, ""b""\nc",good,2026-05-01T00:00Z,P\n',
        "time;P\n2026-05-01T00:00Z;5,5\n",
        "time\tL\tP\t\n2026-05-01T00:00Z\t\t5.5\t\n",
        ",P,L\n2026-05-01T00:00Z,5.5,\n",
    ],
)
def test_every_dialect_says_the_same(bench, values, text):
    found = bench.read(text)
    assert values(found) == {11: [12.0]}
    assert found.quarantine.is_empty()
    assert found.rows_read == 1


def test_joined_exports_are_read_through_and_their_headers_kept_out(bench, values):
    one = "\ufefftag,time,value\nP,2026-05-01T00:00Z,5\n"
    found = bench.read(one + one.replace("5\n", "6\n").replace("00:00Z", "01:00Z"))
    assert values(found) == {11: [11.0, 13.0]}
    assert found.quarantine.select("row_number", "reason").rows() == [(3, "header line again")]


def test_the_header_of_a_wide_export_again_counts_each_filled_cell(bench):
    found = bench.read("time,P,L\n2026-05-01T00:00Z,5,6\nTIME,P,L\n2026-05-01T01:00Z,5,\n")
    assert found.rows_read == 5
    assert found.quarantine.select("row_number", "rows", "reason", "tag").rows() == [
        (3, 1, "header line again", "L"),
        (3, 1, "header line again", "P"),
    ]


def test_a_wide_row_of_the_wrong_length_counts_its_filled_cells(bench):
    found = bench.read("time,P,L,S\n2026-05-01T00:00Z,5,6\n2026-05-01T00:00Z\n")
    assert found.quarantine.select("row_number", "rows", "raw_text").rows() == [
        (2, 2, "2026-05-01T00:00Z,5,6"),
        (3, 1, "2026-05-01T00:00Z"),
    ]


def test_a_separator_within_quotes_does_not_make_two_cells_of_a_cut_row(bench):
    found = bench.read('time,P,L,S\n2026-05-01T00:00Z,"1,5"\n')
    assert found.quarantine.select("row_number", "rows").rows() == [(2, 1)]


def test_fields_beyond_the_last_column_are_told_with_the_whole_row(bench):
    found = bench.read("tag,time,value\nP,2026-05-01T00:00Z,5,\nP,2026-05-01T01:00Z,5,6\n")
    assert found.samples.height == 1
    assert found.quarantine.rows() == [(3, 1, "wrong number of fields", "P,2026-05-01T01:00Z,5,6", None)]


def test_thousands_of_columns_are_no_trouble(bench):
    names = ["P", *(f"X{i}" for i in range(5000)), "L"]
    text = "time," + ",".join(names) + "\n"
    for hour in range(3):
        text += f"2026-05-01T0{hour}:00Z," + ",".join(str(i) for i in range(len(names))) + "\n"
    found = bench.read(text)
    assert found.rows_read == 3 * 5002
    assert found.samples.height == 6
    assert found.quarantine["rows"].to_list() == [3] * 5000


def test_a_tag_in_two_columns_gives_the_later_column_the_last_word(bench, values):
    found = bench.read("time,P,L,P\n2026-05-01T00:00Z,1,0,2\n2026-05-01T01:00Z,3,0,3\n2026-05-01T02:00Z,4,0,\n")
    assert values(found) == {11: [5.0, 7.0, 9.0], 12: [0.0] * 3}
    assert found.losers["value"].to_list() == [3.0]
    assert found.rows_repeated == 1


def test_rows_keep_the_order_of_the_file_however_each_is_quoted(bench, values):
    rows = ['L,2026-05-01T00:00Z,1,"a\nb"\n', "L,2026-05-01T00:00Z,2,,\n", "L,2026-05-01T00:00Z,3,\n"]
    forward, backward = ("tag,time,value,remark\n" + "".join(order) for order in (rows, rows[::-1]))
    assert values(bench.read(forward)) == {12: [3.0]}
    assert values(bench.read(backward)) == {12: [1.0]}
    assert bench.read(forward).losers["value"].to_list() == [1.0, 2.0]
    assert bench.read(forward).quarantine.is_empty()


def test_a_value_column_named_twice_is_read_from_the_first(bench, values):
    assert values(bench.read("tag,time,value,value\nP,2026-05-01T00:00Z,1,2\n")) == {11: [3.0]}


def test_a_line_without_end_is_refused(bench, monkeypatch):
    monkeypatch.setattr(delimited, "MAX_LINE_BYTES", 1000)
    monkeypatch.setattr(content, "BLOCK_BYTES", 100)
    with pytest.raises(SourceError, match=r"^export\.csv, line 2: found a line of more than"):
        bench.read("tag,time,value\n" + "x" * 2000)
    with pytest.raises(SourceError, match=r"^export\.csv, line 1: found a line of more than"):
        bench.read("x" * 2000)


def test_a_header_across_blocks_is_read(bench, values, monkeypatch):
    monkeypatch.setattr(content, "BLOCK_BYTES", 4)
    assert values(bench.read("\n\ntag,time,value\nP,2026-05-01T00:00Z,5\n")) == {11: [11.0]}


def test_rows_after_zero_bytes_of_a_crash_are_still_read(bench, values):
    found = bench.read(b"tag,time,value\nP,2026-05-01T00:00Z,5\n\0\0\0\0\nP,2026-05-01T01:00Z,6\n")
    assert values(found) == {11: [11.0, 13.0]}
    assert found.quarantine["reason"].to_list() == ["wrong number of fields"]
