"""Rows of the same tag and time: who stands, who is counted how; and the doubled hour end to end."""

from datetime import UTC, datetime

import pytest

HEAD = "tag,time,value,quality\n"


def at(hour, minute=0):
    return datetime(2026, 11, 1, hour, minute, tzinfo=UTC)


def long(*rows):
    return HEAD + "".join(f"L,2026-04-01T00:00Z,{value},{quality}\n" for value, quality in rows)


@pytest.mark.parametrize(
    ("rows", "last", "losers", "repeated"),
    [
        ([("1", "")], (1.0, "good"), [], 0),
        ([("1", ""), ("1", "Good")], (1.0, "good"), [], 1),
        ([("1", ""), ("1", "Uncertain")], (1.0, "uncertain"), [(1.0, "good")], 0),
        ([("1", ""), ("2", "")], (2.0, "good"), [(1.0, "good")], 0),
        ([("1", ""), ("2", ""), ("1", "")], (1.0, "good"), [(2.0, "good")], 1),
        ([("1", ""), ("1", ""), ("2", ""), ("2", "")], (2.0, "good"), [(1.0, "good")], 2),
        (
            [("3", ""), ("1", ""), ("2", ""), ("1", ""), ("4", "")],
            (4.0, "good"),
            [(3.0, "good"), (1.0, "good"), (2.0, "good")],
            1,
        ),
        ([("", "Bad"), ("", "Bad")], (None, "bad"), [], 1),
        ([("", "Bad"), ("0", "Bad")], (0.0, "bad"), [(None, "bad")], 0),
        ([("0", ""), ("-0", "")], (0.0, "good"), [], 1),
    ],
)
def test_the_last_row_stands_and_the_others_are_repeated_or_lose(bench, rows, last, losers, repeated):
    found = bench.read(long(*rows))
    assert found.samples.select("value", "flag").rows() == [last]
    assert found.losers.select("value", "flag").rows() == losers
    assert found.rows_repeated == repeated
    assert found.rows_read == len(rows)


def test_texts_that_differ_are_different_rows(bench):
    rows = "".join(f"W,2026-04-01T00:00Z,{text},\n" for text in ("A", "B", " A "))
    found = bench.read(HEAD + rows)
    assert found.samples["text_value"].to_list() == ["A"]
    assert (found.losers["text_value"].to_list(), found.rows_repeated) == (["B"], 1)


def test_the_same_instant_written_in_two_ways_is_the_same_time(bench):
    found = bench.read(
        HEAD + "L,2026-04-01T00:00Z,1,\nL,2026-03-31T18:00-06:00,1,\nL,2026-03-31 18:00,1,\nL,1775001600,1,\n"
    )
    assert (found.samples.height, found.rows_repeated) == (1, 3)


def test_samples_come_sorted_by_tag_and_time_whatever_the_order_of_the_file(bench):
    found = bench.read(
        HEAD + "L,2026-04-01T02:00Z,1,\nP,2026-04-01T03:00Z,2,\nL,2026-04-01T01:00Z,3,\nP,2026-04-01T00:00Z,4,\n"
    )
    assert found.samples.select("tag_id", "value").rows() == [(11, 9.0), (11, 5.0), (12, 3.0), (12, 1.0)]


def test_texts_stay_with_their_rows_through_batches_and_sorting(bench, monkeypatch):
    monkeypatch.setattr("nightgauge.streams.content.BLOCK_BYTES", 40)
    rows = [f"{'WL'[i % 2]},2026-04-01T{23 - i:02d}:00Z,{i}," for i in range(20)]
    found = bench.read(HEAD + "\n".join(rows))
    assert found.samples.filter(tag_id=14)["text_value"].to_list() == [str(i) for i in range(18, -1, -2)]
    assert found.samples.filter(tag_id=12)["value"].to_list() == [float(i) for i in range(19, 0, -2)]


NIGHT = ["00:30", "01:10", "01:40", "01:10", "01:40", "02:10"]
"""The night of 2026-11-01 in Denver: the clock goes from 02:00 back to 01:00 at 08:00 UTC."""
IN_UTC = [at(6, 30), at(7, 10), at(7, 40), at(8, 10), at(8, 40), at(9, 10)]


def stamped(times, tags="L"):
    return HEAD + "".join(f"{tag},2026-11-01T{time},{i},\n" for i, time in enumerate(times) for tag in tags)


@pytest.mark.parametrize("tags", ["L", "PL"])
def test_the_doubled_hour_is_told_by_the_order_of_the_file(bench, tags):
    found = bench.read(stamped(NIGHT, tags))
    assert found.samples.filter(tag_id=12)["time_utc"].to_list() == IN_UTC
    assert found.samples.filter(tag_id=12)["value"].to_list() == [0, 1, 2, 3, 4, 5]
    assert found.rows_assumed_first == 0


def test_a_file_that_runs_backward_is_told_too(bench):
    found = bench.read(stamped(NIGHT[::-1]))
    assert found.samples["time_utc"].to_list() == IN_UTC
    assert found.samples["value"].to_list() == [5, 4, 3, 2, 1, 0]


def test_a_wide_export_is_told_also_for_a_tag_with_few_cells(bench):
    rows = "".join(f"2026-11-01T{time},{i},{'7' if i == 4 else ''}\n" for i, time in enumerate(NIGHT))
    found = bench.read("time,L,P\n" + rows)
    assert found.samples.filter(tag_id=11)["time_utc"].to_list() == [at(8, 40)]
    assert found.rows_assumed_first == 0


def test_an_hourly_tag_is_told(bench):
    found = bench.read(stamped(["00:00", "01:00", "01:00", "02:00"]))
    assert found.samples["time_utc"].to_list() == [at(6), at(7), at(8), at(9)]


def test_rows_that_nothing_tells_are_taken_as_the_first_pass_and_counted(bench):
    found = bench.read(stamped(["00:30", "01:10", "01:40", "02:10"]))
    assert found.samples["time_utc"].to_list() == [at(6, 30), at(7, 10), at(7, 40), at(9, 10)]
    assert found.rows_assumed_first == 2


def test_stamps_with_an_offset_need_no_telling(bench):
    found = bench.read(stamped(["01:10-06:00", "01:40-07:00", "01:10-07:00"]))
    assert found.samples["time_utc"].to_list() == [at(7, 10), at(8, 10), at(8, 40)]
    assert found.rows_assumed_first == 0


def test_half_an_hour_may_be_doubled_too(bench):
    # Lord Howe Island moves by 30 minutes: 2026-04-05 from 02:00 (UTC+11) back to 01:30 (UTC+10:30)
    island = bench.with_field(time_zone="Australia/Lord_Howe")
    times = ["01:20", "01:40", "01:50", "01:40", "02:10"]
    found = island.read(HEAD + "".join(f"L,2026-04-05T{time},{i},\n" for i, time in enumerate(times)))
    minutes = [(time - datetime(2026, 4, 4, 14, tzinfo=UTC)).total_seconds() / 60 for time in found.samples["time_utc"]]
    assert minutes == [20, 40, 50, 70, 100]
