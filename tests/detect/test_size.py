import numpy as np
import pytest

from nightgauge.detect import size


def _short(past, hours, **more):
    made = past(days=28).hours(dumps=1.0)
    return made.day(water_short_h=hours, inflow_h=24.0, water_load_m3_per_day=800.0, water_retention_min=6.0,
                    water_required_min=8.0, **more)  # fmt: skip


def test_short_in_more_than_a_tenth_of_the_hours_of_a_week_is_undersized(past):
    days = np.arange(28.0)
    (found,) = size.find(_short(past, np.where(days >= 20, 6.0, 0.5)).history())
    assert (found.kind, found.element, found.ended) == ("vessel_undersized", "vessel", None)
    # 6 short hours of 24 a day for a week: a quarter.
    assert found.evidence[0].value == pytest.approx(0.25)
    assert found.onset.timestamp() == pytest.approx(_short(past, 0.0).history().start_s + 20 * 86400)
    # The load at which 6 min become 8 min: 800 x 6 / 8.
    assert found.effect.value == pytest.approx(800.0 - 600.0)


def test_short_in_a_twentieth_of_the_hours_is_not(past):
    assert size.find(_short(past, 1.2).history()) == []


def test_a_week_without_inflow_says_nothing(past):
    made = _short(past, 2.0)
    made.day(inflow_h=2.0)
    assert size.find(made.history()) == []


def test_a_load_that_went_away_ends_it(past):
    days = np.arange(28.0)
    (found,) = size.find(_short(past, np.where((days >= 8) & (days < 16), 12.0, 0.0)).history())
    assert found.ended is not None
    assert found.ended.timestamp() == _short(past, 0.0).history().start_s + 16 * 86400
