from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from nightgauge.derive.readings import readings_of
from nightgauge.field.settings import Outage

HOUR = 3600.0
START = datetime(2026, 3, 2, tzinfo=UTC)


def test_a_state_is_unknown_while_all_other_tags_are_silent(signal_samples, derive):
    # Pressure speaks every ten minutes but for 02:00 to 06:00; the switch speaks once an hour throughout.
    times = [t for t in np.arange(0, 12 * HOUR, 600) if not 2 * HOUR < t < 6 * HOUR]
    pressure = signal_samples("vessel_pressure", [300.0] * len(times), times_s=times)
    switch = signal_samples("water_dump_open", [0.0] * 12, times_s=np.arange(12) * HOUR)
    hourly = derive(pl.concat([pressure, switch]), hours=12).hours["coverage_water_dump_open"].to_list()
    assert hourly[:2] + hourly[6:11] == [1.0] * 7
    assert hourly[2:6] == [0.0] * 4


def test_a_state_is_known_when_there_is_no_other_tag_to_judge_by(signal_samples, derive):
    switch = signal_samples("water_dump_open", [0.0, 0.0], times_s=[0.0, 11.9 * HOUR])
    assert derive(switch, hours=12).hours["coverage_water_dump_open"].to_list() == [1.0] * 12


def test_a_totaliser_is_known_while_all_other_tags_are_silent(signal_samples, derive):
    total = signal_samples("water_total", [5.0, 5.0], times_s=[0.0, 11.9 * HOUR])
    pressure = signal_samples("vessel_pressure", [300.0, 300.0], times_s=[0.0, 600.0])
    hourly = derive(pl.concat([total, pressure]), hours=12).hours["coverage_water_total"].to_list()
    assert hourly == [1.0] * 12


def test_an_outage_has_rows_that_know_nothing(make_saw, derive):
    saw = make_saw([2000.0] * 300)
    out = Outage("T-1", START + timedelta(hours=3), START + timedelta(hours=5))
    samples = saw.samples("interface_level", "water_dump_open", "water_total")
    found = derive(samples, hours=8, outages=(out,))
    assert found.hours["coverage"].to_list() == [1.0] * 3 + [0.0] * 2 + [1.0] * 3
    assert found.hours["dumps"].to_list()[3:5] == [None, None]
    assert found.hours["water_load_m3_per_day"].to_list()[4] is None
    inside = found.cycles.filter((pl.col("opened_utc") >= out.from_utc) & (pl.col("opened_utc") < out.to_utc))
    assert inside.height == 0


def test_an_outage_of_another_vessel_changes_nothing(make_saw, derive):
    samples = make_saw([2000.0] * 100).samples("water_dump_open")
    out = Outage("T-2", START, START + timedelta(hours=5))
    assert derive(samples, hours=2, outages=(out,)).cycles.equals(derive(samples, hours=2).cycles)


def test_texts_are_kept_as_places_in_a_sorted_list(signal_samples):
    found = readings_of(signal_samples("well_on_test", ["B", None, "A", "B"], period_s=60))["well_on_test"]
    assert found.labels == ("A", "B")
    assert found.usable.tolist() == [True, False, True, True]
    assert found.value[found.usable].tolist() == [1.0, 0.0, 1.0]


def test_of_two_samples_at_one_time_one_stays_whatever_their_order(signal_samples):
    twice = signal_samples("interface_level", [1.0, 2.0, 3.0], times_s=[0.0, 0.0, 60.0])
    forwards = readings_of(twice)["interface_level"]
    backwards = readings_of(twice.reverse())["interface_level"]
    assert forwards.value.tolist() == backwards.value.tolist() == [2.0, 3.0]


def test_infinite_and_missing_values_are_not_used(signal_samples):
    found = readings_of(signal_samples("interface_level", [1.0, None, float("nan"), float("inf"), 2.0]))
    assert found["interface_level"].usable.tolist() == [True, False, False, False, True]


def test_signals_that_the_format_does_not_have_are_passed_over(signal_samples):
    samples = signal_samples("interface_level", [1.0]).with_columns(signal=pl.lit("moon_phase"))
    assert readings_of(samples) == {}
