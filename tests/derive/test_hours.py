from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from nightgauge.derive.dump_hours import time_above_s
from nightgauge.derive.known import Pieces
from nightgauge.derive.spans import SECOND_US
from nightgauge.field.settings import WaterDump

HOUR = 3600.0


def test_a_dump_counts_in_the_hour_in_which_it_opens(signal_samples, derive):
    # Open from 00:59 to 01:02.
    switch = signal_samples("water_dump_open", [0, 1, 0, 0], times_s=[0, 3540, 3720, 7190])
    found = derive(switch, hours=2).hours
    assert found["dumps"].to_list() == [1, 0]
    assert found["open_s"].to_list() == [60.0, 120.0]


def test_an_hour_in_which_nothing_is_known_has_no_count(signal_samples, derive):
    switch = signal_samples("water_dump_open", [0, 1, 0, None, None], times_s=[0, 600, 700, 3000, 9000])
    found = derive(switch, hours=3).hours
    assert found["dumps"].to_list() == [1, None, None]
    assert found["open_s"].to_list() == [100.0, None, None]
    assert found["coverage"].to_list() == pytest.approx([3000 / 3600, 0.0, 0.0])


def test_a_valve_open_since_before_the_first_sample_is_open(signal_samples, derive):
    switch = signal_samples("water_dump_open", [1.0] * 13, period_s=600)
    found = derive(switch, hours=2)
    assert found.hours["open_s"].to_list() == [3600.0, 3600.0]
    assert found.cycles.height == 0


def test_water_is_the_meters_where_there_is_one_and_else_the_dumps(make_saw, derive):
    saw = make_saw([600.0] * 60)
    true = np.interp([HOUR, 2 * HOUR], saw.knots_s, saw.passed_m3)
    true[1] -= true[0]
    for signals in (("water_total",), ("interface_level",), ("water_total", "interface_level")):
        found = derive(saw.samples(*signals, period_s=5.0), hours=2).hours["water_m3"].to_list()
        # The first hour's first dump has no fill before it to tell its inflow by.
        assert found[1] == pytest.approx(true[1], rel=0.02)
    assert derive(saw.samples("water_dump_open"), hours=2).hours["water_m3"].to_list() == [None, None]


def test_a_leak_is_volume_while_shut_over_time_shut(make_saw, derive):
    for leak in (0.0, 30.0, 300.0):
        saw = make_saw([900.0] * 80, leak_m3_per_day=leak)
        row = derive(saw.samples("water_dump_open", "water_total", period_s=5.0), hours=3).days.row(0, named=True)
        assert row["leak_m3"] / row["shut_s"] * 86400.0 == pytest.approx(leak, abs=1e-6)
        assert 0.5 * 3 * HOUR < row["shut_s"] < 3 * HOUR


def test_a_throttling_dump_is_never_called_leaking(make_samples, derive, knockout):
    throttling = replace(knockout, water_dump=(WaterDump(action="throttling"),))
    found = derive(make_samples(water_total=np.arange(361.0).tolist()), throttling, hours=1).hours
    assert found["leak_m3"].to_list() == [None]


def test_time_above_a_line_is_that_of_each_slope():
    cut = Pieces(
        np.zeros(4, dtype=np.intp),
        np.arange(4) * 10 * SECOND_US,
        np.arange(1, 5) * 10 * SECOND_US,
        np.array([0.0, 1.0, 3.0, 2.0]),
        np.array([4.0, 1.0, 1.0, 2.0]),
    )
    assert time_above_s(cut, 2.0).tolist() == [5.0, 0.0, 5.0, 0.0]
    assert time_above_s(cut, 1.5).tolist() == [6.25, 0.0, 7.5, 10.0]


def test_spill_is_time_above_the_weir(signal_samples, derive):
    # Up from 1.6 m to 1.8 m in the hour; the weir is at 1.7 m.
    level = signal_samples("interface_level", [1.6, 1.8], times_s=[0.0, 3599.999999])
    assert derive(level, hours=1).hours["spill_s"][0] == pytest.approx(1800.0, abs=0.01)


def test_time_above_opening_counts_while_the_dump_is_not_open(signal_samples, derive):
    # Above 1.15 m from 00:20 on; the switch says open from 00:40 to 00:50.
    level = signal_samples("interface_level", [1.10, 1.10, 1.20, 1.20], times_s=[0, 1199, 1200, 3599.999999])
    switch = signal_samples("water_dump_open", [0, 1, 0], times_s=[0, 2400, 3000])
    found = derive(pl.concat([level, switch]), hours=1).hours
    assert found["above_opening_s"][0] == pytest.approx(2400.0 - 600.0, abs=1.0)


def test_time_below_closing_counts_while_the_dump_is_open(signal_samples, derive):
    level = signal_samples("interface_level", [1.10, 1.10, 0.90, 0.90], times_s=[0, 1199, 1200, 3599.999999])
    switch = signal_samples("water_dump_open", [0, 1, 1, 0], times_s=[0, 600, 1500, 3000])
    found = derive(pl.concat([level, switch]), hours=1).hours
    assert found["below_closing_s"][0] == pytest.approx(1800.0, abs=1.0)


def test_scrubber_dumps_are_counted_for_the_gas(signal_samples, derive):
    times = [t for k in range(6) for t in (600.0 * k + 100, 600.0 * k + 130)]
    scrubber = signal_samples("scrubber_dump_open", [0.0, *[1.0, 0.0] * 6], times_s=[0.0, *times])
    gas = signal_samples("gas_rate", [48_000.0] * 361)
    row = derive(pl.concat([scrubber, gas]), hours=1).hours.row(0, named=True)
    assert row["scrubber_dumps"] == 6
    assert row["gas_m3"] == pytest.approx(2000.0, rel=0.01)
    assert row["scrubber_dumps_per_1000m3_gas"] == pytest.approx(3.0, rel=0.01)


def test_pressure_sag_is_how_far_the_lowest_lies_below_the_median(make_samples, derive):
    found = derive(make_samples(vessel_pressure=[300.0] * 300 + [280.0] * 20 + [300.0] * 41), hours=1)
    assert found.hours["pressure_sag_kpa"][0] == pytest.approx(20.0)
    assert found.days["pressure_sag_kpa"][0] == pytest.approx(20.0)


def test_oil_is_what_its_meter_counted(make_samples, derive):
    found = derive(make_samples(oil_total=(np.arange(361) * 0.01).tolist()), hours=1).hours.row(0, named=True)
    # The last of 360 steps is seen at the end of the hour, which belongs to the next.
    assert found["oil_m3"] == pytest.approx(3.59)
    assert found["oil_load_m3_per_day"] == pytest.approx(3.59 * 24)


def test_the_well_of_an_hour_is_the_one_routed_for_most_of_it(signal_samples, derive):
    wells = signal_samples("well_on_test", ["A", "B", "B"], times_s=[0, 1200, 7000])
    assert derive(wells, hours=3).hours["well_on_test"].to_list() == ["B", "B", "B"]


@pytest.mark.parametrize("leak", [0.0, 300.0])
def test_a_totaliser_that_reports_by_exception_says_what_leaks_as_one_that_is_scanned(make_saw, derive, leak):
    saw = make_saw([900.0] * 80, leak_m3_per_day=leak)
    scanned = saw.samples("interface_level", "water_total")
    changed = (pl.col("value") != pl.col("value").shift()).fill_null(value=True)
    by_exception = scanned.filter((pl.col("signal") != "water_total") | changed)
    for samples in (scanned, by_exception):
        row = derive(samples, saw.vessel).days.row(0, named=True)
        assert row["leak_m3"] / row["shut_s"] * 86400.0 == pytest.approx(leak, abs=1e-6)
    assert leak > 0.0 or by_exception.height < scanned.height
