"""Time stamps as written to microseconds, against Python's own reading of ISO 8601 and strptime."""

# Wall-clock times are the subject here.
# ruff: noqa: DTZ001, DTZ007

from datetime import UTC, date, datetime, timedelta, timezone

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.streams.stamps import read_numbers, read_texts, read_times

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def read_or_none(stamps):
    """Return the times in microseconds, None where a stamp was not read."""
    return [time if is_read else None for time, is_read in zip(stamps.time_us, stamps.is_read, strict=True)]


def one(text, time_format=None):
    """The time one stamp is read as: aware, naive, or None."""
    stamps = read_texts(pl.Series([text], dtype=pl.String), time_format)
    if not stamps.is_read[0]:
        return None
    time = EPOCH + timedelta(microseconds=int(stamps.time_us[0]))
    return time.replace(tzinfo=None) if stamps.is_local[0] else time


AWARE = st.datetimes(
    datetime(1, 1, 2), datetime(9999, 12, 30), timezones=st.timezones().map(lambda _: UTC)
) | st.datetimes(
    datetime(1, 1, 2), datetime(9999, 12, 30), timezones=st.integers(-23 * 60, 23 * 60).map(
        lambda minutes: timezone(timedelta(minutes=minutes))
    )
)  # fmt: skip


@settings(deadline=None, max_examples=150)
@given(st.lists(st.one_of(AWARE, st.datetimes(datetime(1, 1, 2))), max_size=30), st.sampled_from("T "))
def test_what_python_writes_as_iso_8601_is_read_as_the_same_time(times, between):
    texts = pl.Series([time.isoformat(sep=between) for time in times], dtype=pl.String)
    stamps = read_texts(texts, None)
    assert stamps.is_read.all()
    assert stamps.is_local.tolist() == [time.tzinfo is None for time in times]
    expected = [(time if time.tzinfo else time.replace(tzinfo=UTC)) - EPOCH for time in times]
    assert stamps.time_us.tolist() == [span // timedelta(microseconds=1) for span in expected]


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("2026-05-01", datetime(2026, 5, 1)),
        ("2026-05-01T06:30", datetime(2026, 5, 1, 6, 30)),
        ("2026-05-01 06:30:15", datetime(2026, 5, 1, 6, 30, 15)),
        ("2026-05-01t06:30:15z", datetime(2026, 5, 1, 6, 30, 15, tzinfo=UTC)),
        ("2026-05-01T06:30:15.1Z", datetime(2026, 5, 1, 6, 30, 15, 100_000, tzinfo=UTC)),
        ("2026-05-01T06:30:15,125Z", datetime(2026, 5, 1, 6, 30, 15, 125_000, tzinfo=UTC)),
        ("2026-05-01T06:30:15.1234567Z", datetime(2026, 5, 1, 6, 30, 15, 123_456, tzinfo=UTC)),
        ("2026-05-01T06:30:15.999999999Z", datetime(2026, 5, 1, 6, 30, 15, 999_999, tzinfo=UTC)),
        ("2026-05-01T06:30-06", datetime(2026, 5, 1, 12, 30, tzinfo=UTC)),
        ("2026-05-01T06:30-0630", datetime(2026, 5, 1, 13, 0, tzinfo=UTC)),
        ("2026-05-01T06:30+05:45", datetime(2026, 5, 1, 0, 45, tzinfo=UTC)),
        ("2026-05-01 06:30:00 +00:00", datetime(2026, 5, 1, 6, 30, tzinfo=UTC)),
        ("2026-05-01 06:30:00 UTC", datetime(2026, 5, 1, 6, 30, tzinfo=UTC)),
        ("20260501T063015Z", datetime(2026, 5, 1, 6, 30, 15, tzinfo=UTC)),
        ("20260501T0630", datetime(2026, 5, 1, 6, 30)),
        ("20260501T063015.5-0600", datetime(2026, 5, 1, 12, 30, 15, 500_000, tzinfo=UTC)),
        ("2024-02-29", datetime(2024, 2, 29)),
        ("2000-02-29", datetime(2000, 2, 29)),
        ("  2026-05-01T06:30Z\t", datetime(2026, 5, 1, 6, 30, tzinfo=UTC)),
        # 2026-05-01T06:30:15Z is 1777617015 s after the epoch (date -u -d @1777617015)
        ("1777617015", datetime(2026, 5, 1, 6, 30, 15, tzinfo=UTC)),
        ("1777617015.25", datetime(2026, 5, 1, 6, 30, 15, 250_000, tzinfo=UTC)),
        ("1777617015,25", datetime(2026, 5, 1, 6, 30, 15, 250_000, tzinfo=UTC)),
        ("1777617015250", datetime(2026, 5, 1, 6, 30, 15, 250_000, tzinfo=UTC)),
        ("1777617015250.0", datetime(2026, 5, 1, 6, 30, 15, 250_000, tzinfo=UTC)),
        ("1777617015250001", datetime(2026, 5, 1, 6, 30, 15, 250_001, tzinfo=UTC)),
        ("1777617015250001999", datetime(2026, 5, 1, 6, 30, 15, 250_001, tzinfo=UTC)),
        ("1.777617015E9", datetime(2026, 5, 1, 6, 30, 15, tzinfo=UTC)),
        ("-1", datetime(1969, 12, 31, 23, 59, 59, tzinfo=UTC)),
        ("0", datetime(1970, 1, 1, tzinfo=UTC)),
    ],
)
def test_usual_forms_are_read(text, time):
    assert one(text) == time
    assert (one(text).tzinfo is None) == (time.tzinfo is None)


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "yesterday", "2026-02-29", "1900-02-29", "2026-04-31", "2026-00-10", "2026-13-01", "2026-05-00",
        "0000-01-01", "2026-05-01T24:00", "2026-05-01T06:60", "2026-05-01T06:00:60", "2026-05-01T6:00", "2026-5-1",
        "26-05-01", "01/05/2026", "2026-05-01T", "2026-05-01Z", "2026-05-01T06:30+24:00", "2026-05-01T06:30+06:60",
        "2026-05-01T06:30:15.", "2026-05-01T06:30 +", "2026-05-01T06:30ZZ", "nan", "inf", "１７７７６１７０１５",
        "2026-05-01T06:30:15.1234567890123456789012345678901234567890", "1e99", "--1", "1777617015 s",
    ],
)  # fmt: skip
def test_anything_else_is_not_read(text):
    assert one(text) is None


@settings(deadline=None, max_examples=200)
@given(st.lists(st.text(alphabet="0123456789-:T Z+.e", max_size=27), max_size=20))
def test_a_stamp_means_the_same_whatever_stands_around_it(texts):
    together = read_texts(pl.Series(texts, dtype=pl.String), None)
    alone = [one(text) for text in texts]
    assert together.is_read.tolist() == [time is not None for time in alone]
    for time, time_us, is_local in zip(alone, together.time_us, together.is_local, strict=True):
        if time is not None:
            assert is_local == (time.tzinfo is None)
            assert EPOCH + timedelta(microseconds=int(time_us)) == (time if time.tzinfo else time.replace(tzinfo=UTC))


@pytest.mark.parametrize(
    "time_format",
    [
        "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", "%d-%b-%y %H:%M:%S", "%d.%m.%Y %H:%M", "%Y%m%d%H%M%S",
        "%d-%b-%Y %H:%M:%S.%f", "%Y/%j %H:%M", "%d %B %Y, %H:%M", "%Y-%m-%d %H", "%d/%m/%Y %H:%M:%S,%f",
        "%d/%m/%Y", "%Y-%m-%dT%H:%M:%S%z", "%d/%m/%Y %H:%M:%S %z",
    ],
)  # fmt: skip
@settings(deadline=None, max_examples=30)
@given(st.lists(st.datetimes(datetime(1990, 1, 1), datetime(2060, 1, 1), timezones=st.just(UTC)), max_size=10))
def test_the_fields_own_format_is_read_as_strptime_reads_it(time_format, times):
    texts = [time.strftime(time_format) for time in times]
    stamps = read_texts(pl.Series(texts, dtype=pl.String), time_format)
    expected = [datetime.strptime(text, time_format) for text in texts]
    assert stamps.is_read.all()
    assert stamps.is_local.tolist() == [time.tzinfo is None for time in expected]
    assert stamps.time_us.tolist() == [
        (time.replace(tzinfo=UTC) - EPOCH) // timedelta(microseconds=1) for time in expected
    ]


def test_iso_stamps_and_epochs_are_read_beside_the_fields_own_format():
    texts = pl.Series(["01/05/2026 06:30", " 1/5/2026 6:30 ", "2026-05-01T06:30Z", "1777617000", "31/02/2026 00:00"])
    stamps = read_texts(texts, "%d/%m/%Y %H:%M")
    assert stamps.is_read.tolist() == [True, True, True, True, False]
    assert stamps.is_local.tolist()[:4] == [True, True, False, False]
    assert set(stamps.time_us.tolist()[:4]) == {1_777_617_000_000_000}


def test_an_offset_of_z_is_understood_in_the_fields_own_format():
    assert one("2026/05/01 06:30Z", "%Y/%m/%d %H:%M%z") == datetime(2026, 5, 1, 6, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("series", "expected"),
    [
        (pl.Series([1_777_617_015, None]), [1_777_617_015_000_000, None]),
        (pl.Series([1_777_617_015_250]), [1_777_617_015_250_000]),
        (pl.Series([1_777_617_015_250_001_999]), [1_777_617_015_250_001]),
        (pl.Series([1_777_617_015], dtype=pl.UInt32), [1_777_617_015_000_000]),
        (pl.Series([1_777_617_015.25, float("nan"), float("inf"), 1e300]), [1_777_617_015_250_000, None, None, None]),
    ],
)
def test_epoch_numbers_are_read_by_their_size(series, expected):
    stamps = read_numbers(series)
    assert not stamps.is_local.any()
    assert read_or_none(stamps) == expected


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
@pytest.mark.parametrize("zone", [None, "UTC", "America/Denver"])
def test_typed_times_are_utc_with_a_zone_and_wall_clock_without(unit, zone):
    times = pl.Series([datetime(2026, 5, 1, 6, 30), None]).cast(pl.Datetime(unit)).dt.replace_time_zone(zone)
    stamps = read_times(times)
    assert stamps.is_local.tolist() == [zone is None] * 2
    hours = 6 if zone == "America/Denver" else 0
    assert read_or_none(stamps) == [1_777_617_000_000_000 + hours * 3_600_000_000, None]


def test_dates_are_midnights_of_the_wall_clock():
    stamps = read_times(pl.Series([date(2026, 5, 1)]))
    assert (stamps.time_us.tolist(), stamps.is_local.tolist()) == ([1_777_593_600_000_000], [True])
