"""Which column is which, under the usual headers."""

import pytest

from nightgauge.errors import SourceError
from nightgauge.streams.headers import layout_of, split_header

KNOWN = frozenset({"P", "L", "QB;1"})


@pytest.mark.parametrize(
    "header",
    [
        "tag,timestamp,value,quality",
        "TAG;TIMESTAMP;VALUE;STATUS",
        "\ufeffName\tTime\tVal\tQ",
        '"Tag Name","Date Time","Value","Quality"',
        " point , ts , value , qual ",
        "tag_name,date_time,VALUE,Quality Code",
        "TagName,DateTime,Reading,statuscode",
    ],
)
def test_usual_headers_of_long_exports_are_understood(header):
    separator, layout = split_header(header.encode(), KNOWN)
    assert separator in header
    assert (layout.form, layout.tag, layout.time, layout.value, layout.quality) == ("long", 0, 1, 2, 3)


def test_columns_may_stand_in_any_order_beside_others():
    _, layout = split_header(b"id,value,description,quality,time,tag", KNOWN)
    assert layout.roles == {"tag": 5, "stamp": 4, "text": 1, "quality": 3}


def test_the_preferred_name_wins_where_two_would_do():
    _, layout = split_header(b"name,tag,date,timestamp,value,status,quality", KNOWN)
    assert layout.roles == {"tag": 1, "stamp": 3, "text": 4, "quality": 6}


@pytest.mark.parametrize(("header", "separator"), [("ts;P;QB,1", ";"), ("ts\tP\tL", "\t"), ('ts,P,"QB;1"', ",")])
def test_a_stamp_column_and_tags_make_a_wide_export(header, separator):
    found, layout = split_header(header.encode(), KNOWN)
    assert (found, layout.form, layout.time, layout.cells) == (separator, "wide", 0, (1, 2))


def test_tags_nobody_knows_make_a_wide_export_too():
    assert layout_of(["Time", "X1", "X2"], KNOWN).form == "wide"


def test_a_tag_named_like_a_role_makes_the_export_wide():
    assert layout_of(["time", "value", "P"], frozenset({"value"})).cells == (1, 2)
    assert layout_of(["time", "tag", "P"], frozenset({"tag"})).form == "wide"


def test_an_unnamed_first_column_holds_the_stamps_where_the_others_are_tags():
    assert layout_of(["", "P", "L"], KNOWN).time == 0
    assert layout_of(["", "X", "Y"], KNOWN) is None


def test_columns_without_a_name_are_no_tags():
    layout = layout_of(["time", "P", "", "L", "", " "], KNOWN)
    assert layout.names == ("time", "P", "", "L")
    assert layout.cells == (1, 3)


@pytest.mark.parametrize("header", ["Timestamp (UTC)", "time_utc", "UTC", "UTC Time", "DateTimeUTC"])
def test_a_header_that_says_utc_is_believed(header):
    layout = layout_of(["tag", header, "value"], KNOWN)
    assert (layout.time, layout.is_utc) == (1, True)
    assert not layout_of(["tag", "time", "value"], KNOWN).is_utc


@pytest.mark.parametrize(
    "header",
    ["a,b,c", "P,L", "time", "tag,value", "tag,time,reading2", "", ";;;", "5,6,7", '"tag,time,value', "tag|time|value"],
)
def test_other_columns_are_not_recognised(header):
    assert split_header(header.encode(), KNOWN) is None


def test_an_export_without_recognisable_columns_is_refused_with_what_was_found(bench):
    with pytest.raises(SourceError, match=r"^export\.csv, line 3: found 'when,what', expected a header with tag"):
        bench.read("\n\nwhen,what\n1,2\n")
