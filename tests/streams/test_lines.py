"""Rows of text: quotes, newlines inside them, blank lines, wrong lengths, and the line each row began on."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.streams import lines
from nightgauge.streams.kept_out import STRAY_QUOTE, WRONG_LENGTH
from nightgauge.streams.lines import Cutter, fields_of, with_newlines


def rows_of(cut):
    """All rows of a cut by line number, with plain groups read by the csv module."""
    found = dict(cut.parsed)
    for group in cut.groups:
        rows = csv.reader(io.StringIO(group.text.decode(), newline=""))
        found.update(zip(group.numbers.tolist(), ([cell.encode() for cell in row] for row in rows), strict=True))
    return {number: [cell.decode() for cell in cells] for number, cells in sorted(found.items())}


def cut_all(text, columns=3, block=1 << 20):
    """Cut a text block by block, as the reader does."""
    cutter, rest, line, rows, misfits = Cutter(",", columns), b"", 1, {}, []
    data = text.encode()
    for start in range(0, len(data), block):
        cut = cutter.cut(rest + data[start : start + block], line, is_last=False)
        rows |= rows_of(cut)
        misfits += cut.misfits
        line, rest = line + cut.lines, cut.rest
    cut = cutter.cut(rest, line, is_last=True)
    return rows | rows_of(cut), [(m.number, m.reason, m.filled) for m in misfits + cut.misfits]


def test_rows_keep_the_number_of_the_line_they_begin_on():
    rows, misfits = cut_all('a,b,c\n\n"d","e\nf",g\n   \nh,i,j')
    assert rows == {1: ["a", "b", "c"], 3: ["d", "e\nf", "g"], 6: ["h", "i", "j"]}
    assert misfits == []


def test_rows_of_the_wrong_length_are_misfits():
    rows, misfits = cut_all("a,b\na,b,c\na,b,c,\na,b,c,,\n,,\nx\n")
    assert rows == {2: ["a", "b", "c"], 3: ["a", "b", "c", ""], 4: ["a", "b", "c", "", ""], 5: ["", "", ""]}
    assert misfits == [(1, WRONG_LENGTH, 2), (6, WRONG_LENGTH, 1)]


def test_a_stray_quote_spoils_its_own_line_only():
    rows, misfits = cut_all('a,b,c\n"a,b,c\nd,e,f\ng,h,"i\nj,k,l\n')
    assert rows == {1: ["a", "b", "c"], 3: ["d", "e", "f"], 5: ["j", "k", "l"]}
    assert misfits == [(2, STRAY_QUOTE, 3), (4, STRAY_QUOTE, 3)]


def test_a_quote_closed_lines_later_by_another_stray_one_does_not_swallow_the_rows_between():
    rows, misfits = cut_all('"a,b,c\nd,e,f\ng,h,i"\nj,k,l\n')
    assert rows == {2: ["d", "e", "f"], 3: ["g", "h", 'i"'], 4: ["j", "k", "l"]}
    assert misfits == [(1, STRAY_QUOTE, 3)]


def test_a_row_of_several_lines_and_the_wrong_length_is_one_misfit():
    rows, misfits = cut_all('a,b,c\n"d\ne",f\n"g\n\nh"\ni,j,k\n')
    assert rows == {1: ["a", "b", "c"], 7: ["i", "j", "k"]}
    assert misfits == [(2, WRONG_LENGTH, 2), (4, WRONG_LENGTH, 1)]


def test_a_stray_quote_far_before_the_end_does_not_swallow_the_rows_between(monkeypatch):
    monkeypatch.setattr(lines, "MAX_QUOTED_BYTES", 20)
    rows, misfits = cut_all('"a,b,c\n' + "d,e,f\n" * 100, block=64)
    assert list(rows) == list(range(2, 102))
    assert misfits == [(1, STRAY_QUOTE, 3)]


def test_a_quote_within_a_field_is_an_ordinary_character():
    assert cut_all('5" pipe,b,c\nd,e"",f\n')[0] == {1: ['5" pipe', "b", "c"], 2: ["d", 'e""', "f"]}


def test_spaces_may_stand_around_quoted_fields():
    assert cut_all('"a" , "b,c" ,"d"\n')[0] == {1: ["a", "b,c", "d"]}


def test_text_after_a_closing_quote_makes_the_quotes_not_match():
    assert cut_all('"a"b,c,d\n')[1] == [(1, STRAY_QUOTE, 3)]


def test_far_too_many_fields_are_a_misfit_even_when_they_are_empty():
    assert cut_all("a,b,c" + "," * 65 + "\n")[1] == [(1, WRONG_LENGTH, 3)]


def test_a_line_of_zero_bytes_is_not_blank():
    assert cut_all("a,b,c\n\0\0\0\n")[1] == [(2, WRONG_LENGTH, 1)]


def test_tabs_are_blank_except_between_columns():
    assert cut_all("a,b,c\n\t\t\n")[1] == []
    assert len(Cutter("\t", 3).cut(b"a\tb\tc\n\t\t\n", 1, is_last=True).groups[0].numbers) == 2


@pytest.mark.parametrize("block", [1, 5, 1 << 20])
def test_the_last_line_needs_no_newline(block):
    assert cut_all("a,b,c\nd,e,f", block=block)[0] == {1: ["a", "b", "c"], 2: ["d", "e", "f"]}


CELLS = st.text(alphabet='ab ",\n', max_size=6)


@settings(deadline=None, max_examples=150)
@given(
    st.lists(st.one_of(st.just([]), st.lists(CELLS, min_size=3, max_size=3)), max_size=12),
    st.integers(1, 40),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
)
def test_what_the_csv_module_writes_is_read_back_in_blocks_of_any_size(table, block, quoting):
    out = io.StringIO()
    writer = csv.writer(out, quoting=quoting, lineterminator="\n")
    expected, line = {}, 1
    for cells in table:
        before = out.tell()
        if cells:
            writer.writerow(cells)
            expected[line] = cells
        else:
            out.write("\n")
        line += out.getvalue()[before:].count("\n")
    assert cut_all(out.getvalue(), block=block) == (expected, [])


@pytest.mark.parametrize(
    ("line", "fields"),
    [
        (b"a,b", [b"a", b"b"]),
        (b"", [b""]),
        (b'"a,b",c', [b"a,b", b"c"]),
        (b'"a""b"', [b'a"b']),
        (b'"a', None),
        (b'"a"b', None),
        (b"a,", [b"a", b""]),
    ],
)
def test_fields_of_one_line(line, fields):
    assert fields_of(line, ",") == fields


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (b"a\r\nb\r\n", b"a\nb\n"),
        (b"a\rb\rc", b"a\nb\nc"),
        (b"a\rb\r", b"a\nb\n"),
        (b"a\nb\rc\n", b"a\nb\rc\n"),
        (b"a\r\nb\r", b"a\nb\r"),
        (b"", b""),
        (b"\r", b"\n"),
    ],
)
@pytest.mark.parametrize("block", [1, 2, 100])
def test_lines_may_end_as_on_any_system(text, expected, block):
    blocks = (text[start : start + block] for start in range(0, len(text), block))
    assert b"".join(with_newlines(blocks)) == expected
