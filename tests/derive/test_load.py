from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from nightgauge.derive.load import Rates
from nightgauge.derive.spans import SECOND_US
from nightgauge.field.settings import WaterDump
from nightgauge.physics.geometry import shell

HOUR_US = 3600 * SECOND_US


def times(*seconds):
    return np.array(seconds, dtype=np.int64) * SECOND_US


def test_a_rate_is_weighted_by_time_into_hours():
    rates = Rates(times(0, 1800, 7200), times(1800, 7200, 9000), np.array([100.0, 40.0, np.nan]))
    found = rates.mean_per_hour(times(0, 3600, 7200, 10800))
    assert found[:2].tolist() == [70.0, 40.0]
    assert np.isnan(found[2])
    assert rates.known_share(times(0, 3600, 7200, 10800)).tolist() == [1.0, 1.0, 0.0]


def test_a_vessel_that_dumps_less_than_hourly_has_a_load_in_every_hour(make_saw, derive):
    # One dump in about five hours.
    saw = make_saw([8.0] * 8)
    hourly = derive(saw.samples("interface_level", "water_dump_open", period_s=30.0), hours=20).hours
    assert hourly["dumps"].sum() < 6
    assert hourly["water_load_m3_per_day"].to_numpy()[1:] == pytest.approx(8.0, rel=0.02)


def test_since_the_last_shutting_the_load_is_what_the_level_gained(make_saw, signal_samples, derive):
    # A float stuck closed: the level goes on rising at 600 m3/day past its opening level.
    saw = make_saw([600.0] * 12, tops_m=[1.15] * 11 + [2.2])
    found = derive(saw.samples("interface_level", "water_dump_open"), hours=1.2).hours
    assert saw.shut_s[-2] < 3600.0 < 1.2 * 3600.0 < saw.opened_s[-1]
    assert found["water_load_m3_per_day"].to_numpy() == pytest.approx(600.0, rel=0.02)


def test_nothing_that_rises_is_no_load(signal_samples, derive):
    still = pl.concat(
        [
            signal_samples("interface_level", [1.10] * 37, period_s=600),
            signal_samples("water_dump_open", [0.0] * 37, period_s=600),
        ]
    )
    assert derive(still, hours=6).hours["water_load_m3_per_day"].to_list() == [0.0] * 6


def test_without_level_and_meter_there_is_no_load(make_saw, derive):
    found = derive(make_saw([600.0] * 100).samples("water_dump_open"), hours=3).hours
    assert found["water_load_m3_per_day"].to_list() == [None] * 3


def test_a_dump_under_way_without_meter_tells_no_load(make_saw, signal_samples, derive):
    # Stuck open: the level stands at the outlet, what comes in goes out.
    level = signal_samples("interface_level", [1.1, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2], period_s=1800)
    switch = signal_samples("water_dump_open", [0.0, 1.0] + [1.0] * 5, period_s=1800)
    found = derive(pl.concat([level, switch]), hours=3).hours
    assert found["water_load_m3_per_day"].to_list()[1:] == [None, None]


def test_a_throttling_dump_passes_what_comes_in(make_samples, derive, knockout):
    throttling = replace(knockout, water_dump=(WaterDump(action="throttling", holds_m=1.1, band_m=0.1),))
    total = np.arange(0, 361) * 10.0 / 86400.0 * 500.0
    found = derive(make_samples(water_total=total.tolist()), throttling, hours=1).hours
    assert found["water_load_m3_per_day"][0] == pytest.approx(500.0, rel=0.01)


def test_a_throttling_dump_with_a_level_counts_what_stays_behind(make_samples, derive, knockout):

    throttling = replace(knockout, water_dump=(WaterDump(action="throttling", holds_m=1.1, band_m=0.1),))
    inside = shell(knockout.inside_diameter_m, knockout.length_m, knockout.heads, knockout.orientation)
    when = np.arange(0, 3610, 10.0)
    level = 1.1 + 0.05 * when / 3600.0
    total = when / 86400.0 * 500.0
    found = derive(make_samples(water_total=total.tolist(), interface_level=level.tolist()), throttling, hours=1)
    gained = (inside.volume_m3(1.15) - inside.volume_m3(1.1)) * 24.0
    assert found.hours["water_load_m3_per_day"][0] == pytest.approx(500.0 + gained, rel=0.01)


@pytest.mark.parametrize(
    "signals", [("water_dump_open", "interface_level"), ("water_total", "interface_level"), ("interface_level",)]
)
def test_what_comes_in_is_what_goes_out_and_what_stays(make_saw, derive, knockout, signals):
    """Mass balance over six hours of uneven inflow, by the tiny plant's own numbers."""
    rng = np.random.default_rng(9)
    saw = make_saw(rng.uniform(300.0, 900.0, 150).tolist())
    found = derive(saw.samples(*signals, period_s=5.0), hours=6).hours
    came_in = found["water_load_m3_per_day"].to_numpy().sum() / 24.0
    went_out = found["water_m3"].sum()
    true_out = np.interp(6 * 3600.0, saw.knots_s, saw.passed_m3)
    stayed = np.interp(6 * 3600.0, saw.knots_s, saw.water_m3) - saw.water_m3[0]
    # The first cycle's fill before any shutting, and scans of 5 s in dumps of 30 s and more.
    assert came_in == pytest.approx(true_out + stayed, rel=0.02)
    assert went_out == pytest.approx(true_out, rel=0.02)
