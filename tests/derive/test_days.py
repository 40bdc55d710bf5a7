from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest


def test_a_day_is_the_sum_and_the_mean_of_its_hours(make_saw, derive):
    rng = np.random.default_rng(2)
    saw = make_saw(rng.uniform(200.0, 900.0, 350).tolist())
    found = derive(saw.samples("water_dump_open", "water_total", "interface_level", period_s=20.0), hours=48)
    for day, row in enumerate(found.days.to_dicts()):
        hours = found.hours[24 * day : 24 * (day + 1)]
        for name in ("dumps", "open_s", "water_m3", "above_opening_s", "spill_s", "shut_s"):
            assert row[name] == pytest.approx(hours[name].sum())
        assert row["water_load_m3_per_day"] == pytest.approx(hours["water_load_m3_per_day"].mean())
        assert row["coverage"] == pytest.approx(hours["coverage"].mean())
        cycles = found.cycles.filter(pl.col("opened_utc").dt.date() == row["day"])
        assert row["dumps"] == cycles.height
        assert row["opening_level_m"] == pytest.approx(cycles["opening_level_m"].median())


@pytest.mark.parametrize(
    ("start", "hours"),
    [(datetime(2026, 3, 8, 7, tzinfo=UTC), 23), (datetime(2026, 11, 1, 6, tzinfo=UTC), 25)],
)
def test_a_day_of_23_or_25_hours_is_divided_by_its_own_length(signal_samples, derive, start, hours):
    """Denver's clock changes of 2026 (tz database). A pressure known for the first half of the day."""
    half = hours * 3600.0 / 2
    times = np.arange(0.0, half + 1, 600.0 if hours == 23 else 500.0)
    samples = signal_samples("vessel_pressure", [300.0] * times.size, times_s=times, start=start)
    found = derive(samples, hours=hours, start=start, time_zone="America/Denver")
    assert found.hours.height == hours
    assert found.days["coverage_vessel_pressure"][0] == pytest.approx(0.5, abs=0.005)


def test_days_are_those_of_the_fields_zone(make_saw, derive):
    start = datetime(2026, 3, 2, 18, 30, tzinfo=UTC)
    samples = make_saw([300.0] * 300).samples("interface_level", period_s=60.0)
    late = samples.with_columns(pl.col("time_utc") + (start - samples["time_utc"].min()))
    found = derive(late, hours=48, start=start, time_zone="Asia/Kolkata")
    assert found.days["day"].to_list() == [date(2026, 3, 3), date(2026, 3, 4)]


def test_water_in_oil_is_weighted_by_the_oil_that_carries_it(make_samples, derive):
    # An hour of much oil at 10 %, an hour of a tenth of it at 50 %.
    oil = [1000.0] * 360 + [100.0] * 361
    cut = [0.10] * 360 + [0.50] * 361
    row = derive(make_samples(oil_rate=oil, oil_water_cut=cut), hours=2).days.row(0, named=True)
    assert row["water_in_oil_fraction"] == pytest.approx((1000 * 0.10 + 100 * 0.50) / 1100, rel=0.01)


def test_without_an_oil_meter_water_in_oil_is_weighted_by_time(make_samples, derive):
    row = derive(make_samples(oil_water_cut=[0.10] * 360 + [0.50] * 361), hours=2).days.row(0, named=True)
    assert row["water_in_oil_fraction"] == pytest.approx(0.30, abs=0.002)


def test_the_well_of_a_day_is_the_one_of_most_hours(signal_samples, derive):
    wells = signal_samples("well_on_test", ["A", "B", "B"], times_s=[0, 9 * 3600, 23 * 3600])
    assert derive(wells).days["well_on_test"].to_list() == ["B"]


def test_the_held_interface_is_the_mean_level(make_samples, derive):
    assert derive(make_samples(interface_level=[1.0, 1.2] * 180), hours=1).days["held_interface_m"][0] == pytest.approx(
        1.1
    )
