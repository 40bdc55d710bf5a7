"""The doubled hour: what the order of the file tells, worked by hand."""

import numpy as np
import pytest

from nightgauge.streams.folds import LocalRows, passes


def told(*rows):
    """Passes of rows given as (tag, minutes after midnight); 01:00 to 02:00 comes twice."""
    minutes = np.array([minute for _, minute in rows])
    window = np.where((minutes >= 60) & (minutes < 120), 7, -1)
    verdicts = passes(
        LocalRows(
            np.array([tag for tag, _ in rows], np.int32), minutes.astype(np.int64) * 60_000_000, window.astype(np.int16)
        )
    )
    return "".join(".12"[verdict] for verdict in verdicts)


def of_one(*minutes):
    return told(*((0, minute) for minute in minutes))


def test_a_step_back_begins_the_second_pass():
    assert of_one(30, 70, 100, 65, 100, 130) == ".1122."


def test_a_step_up_ends_the_second_pass_in_a_file_that_runs_backward():
    assert of_one(130, 100, 65, 100, 70, 30) == ".2211."


def test_without_a_step_nothing_is_told():
    assert of_one(30, 70, 100, 130) == "...."
    assert of_one(130, 100, 70, 30) == "...."


def test_an_hourly_tag_shows_the_doubled_hour_as_two_equal_stamps():
    assert of_one(0, 60, 60, 120) == ".12."
    assert of_one(120, 60, 60, 0) == ".21."


def test_equal_stamps_of_a_tag_that_repeats_stamps_elsewhere_tell_nothing():
    assert of_one(0, 0, 60, 60, 120) == "....."


def test_equal_stamps_among_others_in_the_hour_tell_nothing():
    assert of_one(30, 70, 80, 80, 90, 130) == "......"


def test_a_second_step_back_makes_the_hour_unreadable():
    assert of_one(30, 70, 65, 100, 90, 130) == "......"


def test_rows_of_that_hour_alone_are_read_forward_if_that_makes_sense():
    assert of_one(70, 100, 65, 110) == "1122"
    assert of_one(100, 65) == "12"


def test_rows_of_that_hour_alone_are_read_backward_if_only_that_makes_sense():
    assert of_one(110, 65, 100, 70) == "2211"


def test_exports_joined_in_one_file_are_read_one_by_one():
    night = (0, 30, 70, 100, 65, 100, 130, 150)
    assert of_one(*night, *night) == "..1122.." * 2


def test_shuffled_rows_tell_nothing():
    assert of_one(150, 70, 10, 100, 65, 140, 20) == "......."


def test_a_file_in_time_order_tells_for_tags_that_cannot_tell_themselves():
    rows = [(0, 30), (0, 70), (1, 80), (0, 100), (0, 65), (2, 90), (0, 110), (1, 130)]
    assert told(*rows) == ".111222."


def test_a_file_out_of_order_tells_by_tag_only():
    rows = [(0, 30), (0, 70), (0, 65), (0, 130), (1, 20), (1, 90), (1, 140)]
    assert told(*rows) == ".12...."


def test_tags_one_after_the_other_are_read_tag_by_tag():
    rows = [(tag, minute) for tag in (3, 1) for minute in (30, 70, 100, 65, 130)]
    assert told(*rows) == ".112." * 2


@pytest.mark.parametrize("rows", [[], [(0, 70)]])
def test_few_rows_tell_nothing(rows):
    assert told(*rows) == "." * len(rows)
