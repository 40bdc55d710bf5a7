"""What becomes of each row: reasons in their order, tags, times, flags, raw text."""

from datetime import UTC, datetime

import pytest

HEAD = "tag,time,value,quality\n"


def out_of(found):
    return found.quarantine.select("row_number", "rows", "reason", "tag").rows()


@pytest.mark.parametrize(
    ("row", "reason", "tag"),
    [
        (",2026-04-01T00:00Z,5,", "empty tag", None),
        ("L,soon,5,", "unreadable time stamp", "L"),
        ("L,,5,", "unreadable time stamp", "L"),
        ("L,2026-03-08T02:30,5,", "time stamp in the hour that the clock change left out", "L"),
        ("L,1989-12-31T23:59:59Z,5,", "time stamp before 1990", "L"),
        ("L,2026-11-21T00:00:00.000001Z,5,", "time stamp later than the clock at reading plus one day", "L"),
        ("L,2026-04-01T00:00Z,,", "no value", "L"),
        ("L,2026-04-01T00:00Z,x,", "text where a number is due", "L"),
        ("X,2026-04-01T00:00Z,5,", "tag is not in tags.csv", "X"),
        ("X,soon,x,", "tag is not in tags.csv", "X"),
        ("D,2026-05-01T00:00Z,5,", "tag is in tags.csv, but not valid at that time", "D"),
        ("L,soon,,", "unreadable time stamp", "L"),
        ("L,1980-01-01,x,", "time stamp before 1990", "L"),
        ("l,2026-04-01T00:00Z,5,", "tag is not in tags.csv", "l"),
    ],
)
def test_the_first_reason_to_keep_a_row_out_is_told(bench, row, reason, tag):
    found = bench.read(HEAD + row + "\n")
    assert found.quarantine.rows() == [(2, 1, reason, row, tag)]
    assert found.samples.is_empty()


@pytest.mark.parametrize("stamp", ["1990-01-01T00:00Z", "2026-11-21T00:00Z", "2026-03-08T01:59", "2026-03-08T03:00"])
def test_times_on_the_edges_are_taken(bench, stamp):
    assert bench.read(HEAD + f"L,{stamp},5,\n").samples.height == 1


def test_unknown_tags_are_one_row_each_with_their_number_of_rows(bench):
    rows = "".join(f"{tag},2026-04-01T0{i}:00Z,{i},\n" for i, tag in enumerate(("X", "L", "Y", " X", "X", "Y")))
    found = bench.read(HEAD + rows)
    assert out_of(found) == [(2, 3, "tag is not in tags.csv", "X"), (4, 2, "tag is not in tags.csv", "Y")]
    assert found.rows_read == 6
    assert found.tags_seen.rows() == [("L", 1), ("X", 3), ("Y", 2)]


def test_rows_between_the_dates_of_a_tag_are_one_row_too(bench, values):
    found = bench.read("time,D\n2026-04-30T23:59Z,1\n2026-05-01T00:00Z,2\n2026-05-31T00:00Z,3\n2026-06-01T00:00Z,4\n")
    assert values(found) == {15: [1.0], 16: [40.0]}
    assert out_of(found) == [(3, 2, "tag is in tags.csv, but not valid at that time", "D")]


def test_ignored_tags_are_not_counted_as_read(bench):
    found = bench.read(HEAD + "A.SPARE,soon,x,\nL,2026-04-01T00:00Z,5,\nB.SPARE,2026-04-01T00:00Z,5,\n")
    assert (found.rows_read, found.rows_ignored, found.quarantine.height) == (1, 2, 0)
    assert found.tags_seen.rows() == [("A.SPARE", 1), ("B.SPARE", 1), ("L", 1)]


def test_ignoring_wins_over_tags_csv(bench):
    found = bench.with_field(ignore=("L",)).read(HEAD + "L,2026-04-01T00:00Z,5,\n")
    assert (found.rows_read, found.rows_ignored) == (0, 1)


def test_cells_of_ignored_and_unknown_tags_count_only_where_they_are_filled(bench):
    found = bench.read("time,L,X,A.SPARE\n2026-04-01T00:00Z,5, ,7\n2026-04-01T01:00Z,,8,\n,,,\n")
    assert (found.rows_read, found.rows_ignored) == (2, 1)
    assert out_of(found) == [(3, 1, "tag is not in tags.csv", "X")]


def test_an_unreadable_stamp_of_a_wide_export_keeps_each_filled_cell_out(bench):
    found = bench.read("time;P;L;W\nsoon;1;;QB-W1\n")
    assert found.quarantine.rows() == [
        (2, 1, "unreadable time stamp", "soon;1", "P"),
        (2, 1, "unreadable time stamp", "soon;QB-W1", "W"),
    ]


def test_raw_text_is_cut_off_after_200_characters(bench):
    found = bench.read(HEAD + "L,soon," + "5" * 500 + ",\nL\n" + "M" * 500 + "\n")
    assert [len(text) for text in found.quarantine["raw_text"]] == [200, 1, 200]


def test_rows_are_counted_by_the_line_they_begin_on(bench):
    found = bench.read('\n\ntag,time,value,quality\n\nL,soon,5,"a\nb"\nX,soon,5,\r\n\r\nL,later,5,')
    assert out_of(found) == [
        (5, 1, "unreadable time stamp", "L"),
        (7, 1, "tag is not in tags.csv", "X"),
        (9, 1, "unreadable time stamp", "L"),
    ]


def test_quality_decides_the_flag_and_unknown_words_are_counted(bench):
    rows = [
        ("", "good"),
        ("Good", "good"),
        ("100", "uncertain"),
        ("0", "bad"),
        ("odd", "uncertain"),
        ("odd", "uncertain"),
    ]
    text = HEAD + "".join(f"L,2026-04-01T0{i}:00Z,{i},{quality}\n" for i, (quality, _) in enumerate(rows))
    found = bench.read(text + "L,soon,5,odd\nX,2026-04-01,5,strange\n")
    assert found.samples["flag"].to_list() == [flag for _, flag in rows]
    assert found.unknown_quality == {"odd": 2}


def test_bad_values_are_kept_with_their_flag(bench):
    found = bench.read(HEAD + "L,2026-04-01T00:00Z,5,Bad\n")
    assert found.samples.select("value", "flag").rows() == [(5.0, "bad")]


def test_numbers_in_the_quality_column_read_as_the_field_says(bench):
    text = HEAD + "L,2026-04-01T00:00Z,5,0\nL,2026-04-01T01:00Z,5,2147483648\nL,2026-04-01T02:00Z,5,192\n"
    assert bench.read(text).samples["flag"].to_list() == ["bad", "uncertain", "good"]
    ua = bench.with_field(quality_codes="opc_ua").read(text)
    assert ua.samples["flag"].to_list() == ["good", "bad", "good"]


def test_stamps_without_an_offset_are_of_the_fields_zone(bench):
    text = HEAD + "L,2026-01-15T12:00,1,\nL,2026-07-15T12:00,2,\nL,2026-07-15T12:00+02:00,3,\n"
    times = bench.read(text).samples["time_utc"].to_list()
    assert times == [datetime(2026, month, 15, hour, tzinfo=UTC) for month, hour in ((1, 19), (7, 10), (7, 18))]
    london = bench.with_field(time_zone="Europe/London").read(text).samples["time_utc"].to_list()
    assert [time.hour for time in london] == [12, 10, 11]


def test_stamps_under_a_header_that_says_utc_are_of_no_zone(bench):
    found = bench.read("tag,time (UTC),value\nL,2026-11-01T01:30,1\n")
    assert found.samples["time_utc"].to_list() == [datetime(2026, 11, 1, 1, 30, tzinfo=UTC)]
    assert found.rows_assumed_first == 0


def test_the_fields_own_time_format_is_used(bench):
    german = bench.with_field(time_format="%d.%m.%Y %H:%M:%S", time_zone="Europe/Berlin")
    found = german.read("Tag;Zeit;Time;Value\nL;x;01.07.2026 12:00:00;5,5\nL;x;2026-07-01T11:00Z;6\nL;x;7/1/2026;7\n")
    assert found.samples["time_utc"].to_list() == [datetime(2026, 7, 1, hour, tzinfo=UTC) for hour in (10, 11)]
    assert out_of(found) == [(4, 1, "unreadable time stamp", "L")]


def test_only_the_asked_tags_are_taken_as_if_the_file_had_no_others(bench):
    text = (
        HEAD
        + "L,2026-04-01T00:00Z,5,\nL,soon,5,\nP,2026-04-01T00:00Z,5,\nX,2026-04-01,5,\n,2026-04-01,5,\nbad\n"
        + HEAD
    )
    found = bench.read(text, only=frozenset({"L"}))
    assert found.samples["tag_id"].to_list() == [12]
    assert out_of(found) == [(3, 1, "unreadable time stamp", "L")]
    assert (found.rows_read, found.tags_seen.rows()) == (2, [("L", 2)])


def test_only_tags_nobody_asked_for_give_nothing(bench):
    found = bench.read("time,P,L\n2026-04-01T00:00Z,5,6\n", only=frozenset({"W"}))
    assert (found.rows_read, found.samples.height, found.tags_seen.height) == (0, 0, 0)
