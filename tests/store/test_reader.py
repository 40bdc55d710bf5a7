"""What reading gives: frames in their order, cut at the times asked for, days by the field's clock."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from nightgauge.store import Writer
from nightgauge.vocabulary import frames


def derive(writer: Writer, make: Any, **rows: Any) -> None:
    """Store derived rows of V-1, given per frame of `Derived`, over all times."""
    nothing = writer.derived("V-1", None, make.at(0))
    built = {
        name: getattr(frames, frame).build({"vessel": ["V-1"] * len(next(iter(data.values()))), **data})
        for name, (frame, data) in rows.items()
    }
    start, end = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
    writer.replace_derived("V-1", start, end, type(nothing)(**{**vars(nothing), **built}))


def test_samples_come_by_signal_and_time_cut_at_the_end(writer: Writer, make: Any) -> None:
    rows = [
        (2, 0, 9.0, "good"),
        (1, 5, 1.0, "uncertain"),
        (1, 0, 0.5, "bad"),
        (3, 1, 1.0, "good"),
        (1, 10, 2.0, "good"),
    ]
    writer.land(make.export(), make.parsed(rows), make.read_at)
    found = writer.vessel_samples("V-1", make.at(0), make.at(10))
    assert found.schema == pl.Schema(frames.VESSEL_SAMPLES.schema)
    assert found.select("signal", "value", "flag", "max_gap_s").rows() == [
        ("interface_level", None, "bad", 3600.0),
        ("interface_level", 1.0, "uncertain", 3600.0),
        ("vessel_pressure", 9.0, "good", 3600.0),
        ("water_dump_open", 1.0, "good", 86400.0),
    ]


def test_a_vessel_without_samples_has_none_and_no_span(writer: Writer, make: Any) -> None:
    assert writer.vessel_samples("V-2", make.at(0), make.at(10)).equals(frames.VESSEL_SAMPLES.empty())
    assert writer.data_span("V-2") is None


def test_the_span_is_of_the_vessels_own_samples(writer: Writer, make: Any) -> None:
    writer.land(
        make.export(), make.parsed([(1, 3, 1.0, "good"), (2, 8, 1.0, "bad"), (4, 99, 1.0, "good")]), make.read_at
    )
    assert writer.data_span("V-1") == (make.at(3), make.at(8))


def test_activity_counts_each_tag_in_use_up_to_a_time(writer: Writer, make: Any) -> None:
    writer.land(
        make.export(), make.parsed([(1, 0, 1.0, "good"), (1, 5, None, "bad"), (1, 9, 1.0, "good")]), make.read_at
    )
    activity = writer.tag_activity(make.at(9))
    assert activity.select("tag", "samples", "bad_samples", "first_utc", "last_utc").rows() == [
        ("LI-1", 2, 1, make.at(0), make.at(5)),
        ("PI-1", 0, 0, None, None),
        ("ZS-1", 0, 0, None, None),
        ("LI-2", 0, 0, None, None),
    ]


def test_a_day_begins_at_its_midnight_in_the_field(writer: Writer, make: Any) -> None:
    days = [date(2026, 3, 6), date(2026, 3, 7), date(2026, 3, 8), date(2026, 3, 9)]
    derive(writer, make, days=("VESSEL_DAYS", {"day": days}))
    # Denver is 7 h behind UTC until 2026-03-08 02:00 local, when summer time begins, and 6 h after (IANA).
    start = datetime(2026, 3, 7, 7, tzinfo=UTC)
    end = datetime(2026, 3, 9, 6, tzinfo=UTC)
    assert writer.derived("V-1", start, end).days["day"].to_list() == days[1:3]
    assert writer.days(start, end)["day"].to_list() == days[1:3]
    just_after, just_before = start + timedelta(seconds=1), end + timedelta(seconds=1)
    assert writer.days(just_after, just_before)["day"].to_list() == days[2:]


def test_derived_rows_come_from_the_beginning_when_no_start_is_given(writer: Writer, make: Any) -> None:
    times = [make.at(60 * n) for n in (2, 0, 1)]
    derive(
        writer,
        make,
        hours=("VESSEL_HOURS", {"hour_utc": times}),
        cycles=("DUMP_CYCLES", {"opened_utc": times}),
        tests=("WELL_TESTS", {"well": ["W"] * 3, "start_utc": times}),
        signal_hours=("SIGNAL_HOURS", {"signal": ["b", "a", "a"], "hour_utc": times}),
    )
    found = writer.derived("V-1", None, make.at(120))
    assert found.hours["hour_utc"].to_list() == [make.at(0), make.at(60)]
    assert found.tests["start_utc"].to_list() == [make.at(0), make.at(60)]
    assert found.signal_hours["signal"].to_list() == ["a", "a"]
    assert writer.cycles("V-1", make.at(60), make.at(121))["opened_utc"].to_list() == [make.at(60), make.at(120)]
    assert writer.hours(make.at(60), make.at(120))["hour_utc"].to_list() == [make.at(60)]
    assert found.days.equals(frames.VESSEL_DAYS.empty())
    assert writer.tests(make.at(60), make.at(120))["start_utc"].to_list() == [make.at(60)]


@pytest.mark.parametrize(
    ("read", "frame"),
    [
        ("findings", "FINDINGS"),
        ("finding_events", "FINDING_EVENTS"),
        ("nights", "NIGHTS"),
        ("source_files", "SOURCE_FILES"),
        ("quarantine", "QUARANTINE"),
    ],
)
def test_empty_tables_give_empty_frames_of_their_schema(writer: Writer, read: str, frame: str) -> None:
    assert getattr(writer, read)().equals(getattr(frames, frame).empty())
