"""Days, weeks and nights of a field's zone, on days whose length and dates are known from the law that made them."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.errors import SettingError
from nightgauge.field.calendar import (
    TimeProblem,
    day_bounds,
    default_until,
    midnights,
    parse_time,
    parse_until,
    week_of,
)
from nightgauge.field.settings import Field

DENVER = ZoneInfo("America/Denver")
# Zones with quarter-hour offsets, midnight changes, a skipped day, none at all.
ZONES = [ZoneInfo(name) for name in ("UTC", "America/Denver", "Asia/Kathmandu", "America/Havana", "Africa/Cairo")]
ZONES += [ZoneInfo(name) for name in ("Asia/Beirut", "Pacific/Apia")]


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc]


@pytest.mark.parametrize(
    ("zone", "day", "start", "hours"),
    [
        # United States: clocks change at 02:00 on the second Sunday of March and the first of November (15 USC 260a)
        (DENVER, date(2026, 3, 7), utc(2026, 3, 7, 7), 24),
        (DENVER, date(2026, 3, 8), utc(2026, 3, 8, 7), 23),
        (DENVER, date(2026, 3, 9), utc(2026, 3, 9, 6), 24),
        (DENVER, date(2026, 11, 1), utc(2026, 11, 1, 6), 25),
        (DENVER, date(2026, 11, 2), utc(2026, 11, 2, 7), 24),
        # Lebanon 2022: 00:00 on 27 March became 01:00, so the day began at its 01:00 (IANA tz database, file asia)
        (ZoneInfo("Asia/Beirut"), date(2022, 3, 27), utc(2022, 3, 26, 22), 23),
        # Cuba: 01:00 daylight time on 1 November 2026 becomes 00:00; midnight comes twice (tz database, northamerica)
        (ZoneInfo("America/Havana"), date(2026, 11, 1), utc(2026, 11, 1, 4), 25),
        # Egypt: 24:00 daylight time on 29 October 2026 becomes 23:00 (tz database, file africa)
        (ZoneInfo("Africa/Cairo"), date(2026, 10, 29), utc(2026, 10, 28, 21), 25),
        # Samoa had no 30 December 2011 (tz database, file australasia)
        (ZoneInfo("Pacific/Apia"), date(2011, 12, 30), utc(2011, 12, 30, 10), 0),
        (ZoneInfo("UTC"), date(2026, 5, 18), utc(2026, 5, 18), 24),
    ],
)
def test_a_day_has_the_hours_that_the_clocks_give_it(zone: ZoneInfo, day: date, start: datetime, hours: int) -> None:
    assert day_bounds(zone, day) == (start, start + timedelta(hours=hours))


@given(st.sampled_from(ZONES), st.dates(date(2005, 1, 1), date(2035, 12, 31)))
def test_days_follow_each_other_without_gap_or_overlap(zone: ZoneInfo, day: date) -> None:
    start, end = day_bounds(zone, day)
    assert end == day_bounds(zone, day + timedelta(days=1))[0]
    if start < end:
        just_before = (start - timedelta(microseconds=1)).astimezone(zone).date()
        assert start.astimezone(zone).date() == day == (end - timedelta(microseconds=1)).astimezone(zone).date()
        assert just_before < day


@given(
    st.sampled_from(ZONES),
    st.integers(0, 24 * 365 * 20).map(lambda hours: utc(2010, 1, 1) + timedelta(hours=hours)),
    st.integers(0, 24 * 30),
)
def test_midnights_are_the_instants_at_which_the_date_changes(zone: ZoneInfo, start: datetime, hours: int) -> None:
    end = start + timedelta(hours=hours)
    # slow twin: every quarter of an hour, as no zone's offset since 1990 is finer, at which a new date begins
    quarters = (start + timedelta(minutes=15 * n) for n in range(4 * hours + 1))
    changes = [
        when
        for when in quarters
        if when.astimezone(zone).date() > (when - timedelta(microseconds=1)).astimezone(zone).date()
    ]
    assert midnights(zone, start, end) == changes


def test_midnights_include_both_ends_and_are_empty_between() -> None:
    first, second = utc(2026, 5, 18, 6), utc(2026, 5, 19, 6)
    assert midnights(DENVER, first, second) == [first, second]
    assert midnights(DENVER, first, first) == [first]
    assert midnights(DENVER, first + timedelta(seconds=1), second - timedelta(seconds=1)) == []
    assert midnights(DENVER, second, first) == []


@pytest.fixture
def field(read: Callable[..., Field]) -> Field:
    return read()


@pytest.mark.parametrize(
    ("clock", "until"),
    [
        (utc(2026, 5, 18, 5, 59, 59), utc(2026, 5, 17, 6)),
        (utc(2026, 5, 18, 6), utc(2026, 5, 18, 6)),
        (utc(2026, 5, 18, 23), utc(2026, 5, 18, 6)),
        (utc(2026, 11, 2, 6, 30), utc(2026, 11, 1, 6)),  # still Sunday of 25 hours in Denver
    ],
)
def test_a_night_judges_up_to_the_last_field_midnight(field: Field, clock: datetime, until: datetime) -> None:
    assert default_until(field, clock) == until


def test_as_of_stands_for_the_clock(field: Field) -> None:
    fixed = replace(field, as_of=utc(2026, 5, 18, 6))
    assert default_until(fixed, utc(2030, 1, 1)) == utc(2026, 5, 18, 6)


@pytest.mark.parametrize("day", [date(2026, 5, 18), date(2026, 5, 20), date(2026, 5, 24)])
def test_a_week_runs_from_monday_to_monday(day: date) -> None:
    # 18 May 2026 is a Monday (ISO 8601: day 1 of 2026-W21)
    assert week_of(day) == (date.fromisocalendar(2026, 21, 1), date.fromisocalendar(2026, 22, 1))


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2026-05-18", utc(2026, 5, 18, 6)),
        (" 2026-05-18T06:30 ", utc(2026, 5, 18, 12, 30)),
        ("2026-05-18 06:30", utc(2026, 5, 18, 12, 30)),
        ("2026-05-18T06:30+02:00", utc(2026, 5, 18, 4, 30)),
        ("2026-05-18T06:30Z", utc(2026, 5, 18, 6, 30)),
        ("2026-11-01T01:30", utc(2026, 11, 1, 7, 30)),  # comes twice; the first is daylight time, six hours behind
    ],
)
def test_a_time_without_an_offset_is_of_the_zone(text: str, instant: datetime) -> None:
    assert parse_until(text, DENVER) == instant


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("yesterday", '"yesterday" is no time; expected a time like'),
        ("", '"" is no time'),
        ("2026-02-30", "is no time"),
        ("2026-03-08T02:30", "does not exist in America/Denver: the clocks skip it"),
        ("9999-12-31T23:59", "lies beyond the calendar"),
        ("0001-01-01T00:00+10:00", "lies beyond the calendar"),
    ],
)
def test_a_text_that_is_no_time_of_the_zone_is_refused(text: str, says: str) -> None:
    with pytest.raises(SettingError, match=says):
        parse_until(text, DENVER)


@pytest.mark.parametrize("value", [3, None, True, ["2026-05-18"]])
def test_a_value_that_is_no_text_or_date_is_refused(value: object) -> None:
    with pytest.raises(TimeProblem, match="is no time"):
        parse_time(value, DENVER)


@given(st.text(max_size=30), st.sampled_from(ZONES))
def test_any_text_is_a_time_or_a_setting_error(text: str, zone: ZoneInfo) -> None:
    try:
        instant = parse_until(text, zone)
    except SettingError:
        return
    assert instant.utcoffset() == timedelta(0)
