"""Ranges put together, taken away and kept."""

from datetime import timedelta
from typing import Any

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.store import Writer, ranges
from nightgauge.store.schema import CHANGED_RANGES

HOURS = st.integers(0, 200)
RANGES = st.lists(st.tuples(st.sampled_from(["V-1", "V-2"]), HOURS, st.integers(1, 40)), max_size=8)


def as_frame(make: Any, rows: list[tuple[str, int, int]]) -> pl.DataFrame:
    data = [(vessel, make.at(60 * start), make.at(60 * (start + long))) for vessel, start, long in rows]
    return pl.DataFrame(data, schema=CHANGED_RANGES.schema, orient="row")


def covered_hours(frame: pl.DataFrame) -> set[Any]:
    """Return the vessel-hours that lie in the ranges, counted one by one."""
    return {
        (vessel, start + timedelta(hours=n))
        for vessel, start, end in frame.rows()
        for n in range(int((end - start) / timedelta(hours=1)))
    }


@given(rows=RANGES)
@settings(deadline=None)
def test_together_covers_all_and_adds_only_gaps_of_a_day_at_most(make: Any, rows: list[tuple[str, int, int]]) -> None:
    frame = as_frame(make, rows)
    joined = ranges.together(frame)
    assert covered_hours(frame) <= covered_hours(joined)
    for (vessel, _, end), (next_vessel, start, _) in zip(joined.rows(), joined.rows()[1:], strict=False):
        assert vessel != next_vessel or start - end > ranges.ONE_RANGE_GAP
    dilated = {(vessel, hour + timedelta(hours=n)) for vessel, hour in covered_hours(frame) for n in range(-24, 25)}
    assert covered_hours(joined) <= dilated
    assert ranges.together(joined).equals(joined)


@given(rows=RANGES, start=HOURS, long=st.integers(1, 100))
@settings(deadline=None)
def test_without_takes_away_just_the_stretch(
    make: Any, rows: list[tuple[str, int, int]], start: int, long: int
) -> None:
    frame = as_frame(make, rows)
    left = ranges.without(frame, make.at(60 * start), make.at(60 * (start + long)))
    gone = {make.at(60 * (start + n)) for n in range(long)}
    assert covered_hours(left) == {(v, hour) for v, hour in covered_hours(frame) if hour not in gone}


def test_marks_add_up_and_clearing_one_vessel_leaves_the_other(writer: Writer, make: Any) -> None:
    for vessel in ("V-1", "V-2"):
        writer.mark_changed(vessel, make.at(0), make.at(60))
        writer.mark_changed(vessel, make.at(30), make.at(90))
    assert writer.changed_ranges().rows() == [(v, make.at(0), make.at(90)) for v in ("V-1", "V-2")]
    ranges.clear(writer._con, [("V-1", make.at(20), make.at(40))])
    assert writer.changed_ranges().rows() == [
        ("V-1", make.at(0), make.at(20)),
        ("V-1", make.at(40), make.at(90)),
        ("V-2", make.at(0), make.at(90)),
    ]
