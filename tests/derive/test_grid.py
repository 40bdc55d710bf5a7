from datetime import UTC, date, datetime

import pytest

from nightgauge.derive.grid import HOUR_US, days


@pytest.fixture
def zoned(make_field, knockout):
    return lambda zone: make_field(knockout, time_zone=zone)


def test_a_day_has_as_many_hours_as_the_clock_gives_it(zoned):
    # Denver went to summer time on 8 March 2026 and back on 1 November (tz database).
    field = zoned("America/Denver")
    spring = days(field, datetime(2026, 3, 7, 7, tzinfo=UTC), datetime(2026, 3, 9, 6, tzinfo=UTC))
    autumn = days(field, datetime(2026, 11, 1, 6, tzinfo=UTC), datetime(2026, 11, 2, 7, tzinfo=UTC))
    assert [(d.date, d.hours_us.size) for d in spring] == [(date(2026, 3, 7), 24), (date(2026, 3, 8), 23)]
    assert [(d.date, d.hours_us.size) for d in autumn] == [(date(2026, 11, 1), 25)]


def test_hours_count_from_midnight_where_the_zone_is_half_an_hour_off(zoned):
    found = days(
        zoned("Asia/Kolkata"), datetime(2026, 3, 1, 18, 30, tzinfo=UTC), datetime(2026, 3, 2, 18, 30, tzinfo=UTC)
    )
    first = datetime.fromtimestamp(found[0].hours_us[0] / 1e6, tz=UTC)
    assert (len(found), found[0].hours_us.size, first.minute) == (1, 24, 30)


def test_where_the_clock_moves_by_half_an_hour_the_last_hour_is_short(zoned):
    # Lord Howe Island sets its clock by half an hour: 4 October 2026 has 23.5 hours.
    found = days(
        zoned("Australia/Lord_Howe"), datetime(2026, 10, 3, 13, 30, tzinfo=UTC), datetime(2026, 10, 4, 13, tzinfo=UTC)
    )
    assert (found[0].lengths_us / HOUR_US).tolist() == [1.0] * 23 + [0.5]


def test_the_last_day_ends_at_until(zoned):
    found = days(zoned("UTC"), datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 3, 2, 20, tzinfo=UTC))
    assert [d.date for d in found] == [date(2026, 3, 2), date(2026, 3, 3)]
    assert (found[1].lengths_us / HOUR_US).tolist() == pytest.approx([1.0, 1.0, 1 / 3])


def test_no_time_has_no_days(zoned):
    at = datetime(2026, 3, 2, tzinfo=UTC)
    assert days(zoned("UTC"), at, at) == []


def test_hours_around_a_day_begin_a_day_before_and_end_with_what_is_seen(zoned):
    day = days(zoned("UTC"), datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 3, tzinfo=UTC))[0]
    edges = day.edges_around_us(day.end_us + HOUR_US * 5 // 2)
    assert (edges[0], edges[24], edges[48]) == (day.start_us - 24 * HOUR_US, day.start_us, day.end_us)
    assert ((edges[48:] - day.end_us) / HOUR_US).tolist() == [0.0, 1.0, 2.0, 2.5]
