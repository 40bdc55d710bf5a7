"""Wall-clock times to UTC, against the standard library's zoneinfo."""

# Wall-clock times are the subject here.
# ruff: noqa: DTZ001

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.streams.zones import clock_of

EPOCH = datetime(1970, 1, 1)
LAST = date(2027, 1, 1)
ZONES = [
    "America/Denver", "Europe/Berlin", "Australia/Lord_Howe", "America/St_Johns", "Africa/Casablanca", "Asia/Kathmandu",
    "UTC", "Pacific/Apia", "Asia/Gaza",
]  # fmt: skip
"""Whole and half hours, both hemispheres, half-hour summer time, a skipped day, summer time paused for a month."""


def microseconds(time):
    return (time - EPOCH) // timedelta(microseconds=1)


@settings(deadline=None, max_examples=200)
@given(st.sampled_from(ZONES), st.datetimes(datetime(1990, 1, 1), datetime(2026, 12, 31)), st.data())
def test_utc_of_a_wall_clock_time_is_what_zoneinfo_says(name, near, data):
    zone = ZoneInfo(name)
    clock = clock_of(zone, LAST)
    changes = [EPOCH + timedelta(microseconds=int(us)) for us in clock.begins_us[1:]]
    around = data.draw(st.sampled_from([near, *changes]))
    local = around + timedelta(minutes=data.draw(st.integers(-150, 150)))
    if local < datetime(1990, 1, 1):
        return
    first, second = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    is_missing = first.astimezone(zone).replace(tzinfo=None) != local
    found = clock.to_utc(np.array([microseconds(local)]))
    assert found.is_missing[0] == is_missing
    if not is_missing:
        assert found.utc_us[0] == microseconds(first.replace(tzinfo=None))
        assert (found.window[0] >= 0) == (first != second)
        assert clock.offset_at_us(found.utc_us)[0] == microseconds(local) - found.utc_us[0]
    if not is_missing and first != second:
        delay = clock.second_pass_delay_us(found.window)[0]
        assert delay == microseconds(second.replace(tzinfo=None)) - found.utc_us[0]


def test_the_two_hours_of_denver_in_2026_are_known():
    # Energy Policy Act of 2005, section 110: second Sunday of March, first Sunday of November, at 02:00
    clock = clock_of(ZoneInfo("America/Denver"), LAST)
    times = [datetime(2026, 3, 8, 1, 59), datetime(2026, 3, 8, 2), datetime(2026, 3, 8, 3)]
    times += [datetime(2026, 11, 1, *hour) for hour in ((0, 59), (1, 0), (1, 59), (2, 0))]
    found = clock.to_utc(np.array([microseconds(time) for time in times]))
    assert found.is_missing.tolist() == [False, True, False, False, False, False, False]
    assert (found.window >= 0).tolist() == [False, False, False, False, True, True, False]
    hours = [(us - microseconds(time)) / 3.6e9 for us, time in zip(found.utc_us, times, strict=True)]
    assert [hours[i] for i in (0, 2, 3, 4, 5, 6)] == [7, 6, 6, 6, 6, 7]


@pytest.mark.parametrize("far", [datetime(1, 1, 1), datetime(9999, 12, 31)])
def test_times_far_outside_have_some_utc_and_are_neither_missing_nor_doubled(far):
    found = clock_of(ZoneInfo("Europe/Berlin"), LAST).to_utc(np.array([microseconds(far)]))
    assert not found.is_missing[0]
    assert found.window[0] == -1
