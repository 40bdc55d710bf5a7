from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from nightgauge.field.settings import WaterDump
from nightgauge.physics.geometry import shell
from nightgauge.physics.valve import flow_m3_per_day, liquid_head_kpa

SIGNALS = ("water_dump_open", "water_total", "interface_level")


def column(cycles, name):
    return cycles[name].cast(pl.Float64).fill_null(np.nan).to_numpy()


@pytest.fixture
def saw(make_saw):
    return make_saw([500.0, 700.0, 600.0, 400.0, 800.0] * 40)


@pytest.fixture
def cycles(saw, derive):
    return derive(saw.samples(*SIGNALS, period_s=2.0), hours=6).cycles


def test_trip_levels_are_those_at_which_the_float_trips(cycles):
    # A millimetre of a gap of 100 mm.
    assert np.abs(column(cycles, "opening_level_m")[1:-1] - 1.15).max() < 0.001
    assert np.abs(column(cycles, "closing_level_m")[:-1] - 1.05).max() < 0.001


def test_fill_runs_from_shutting_to_opening_and_drain_from_opening_to_shutting(cycles, saw):
    fill, drain = column(cycles, "fill_s"), column(cycles, "drain_s")
    assert np.isnan(fill[0])
    true_fill = saw.opened_s[1:] - saw.shut_s[:-1]
    assert np.abs(fill[1:] - true_fill[: fill.size - 1]).max() <= 2.0
    assert np.nanmax(np.abs(drain - (saw.shut_s - saw.opened_s)[: drain.size])) <= 2.0


def test_volume_through_the_valve_is_the_gap_and_what_came_in_meanwhile(cycles, saw, knockout):
    inside = shell(knockout.inside_diameter_m, knockout.length_m, knockout.heads, knockout.orientation)
    gap = inside.volume_m3(1.15) - inside.volume_m3(1.05)
    drain_s = (saw.shut_s - saw.opened_s)[: cycles.height]
    true = gap + saw.inflow_m3_per_day[: cycles.height] * drain_s / 86400.0
    for name in ("volume_geometry_m3", "volume_meter_m3"):
        assert np.nanmax(np.abs(column(cycles, name) / true - 1.0)) < 0.01


def test_inflow_is_that_of_each_cycle(cycles, saw):
    # In a cycle that follows another rate, the fill up to its own shutting before has its own rate throughout.
    found = column(cycles, "inflow_m3_per_day")[1:-1]
    assert np.abs(found / saw.inflow_m3_per_day[1 : found.size + 1] - 1.0).max() < 0.01


@pytest.mark.parametrize("signals", [("interface_level",), ("water_total",), ("water_dump_open", "interface_level")])
def test_inflow_is_told_by_level_or_meter_alone(saw, derive, signals):
    found = column(derive(saw.samples(*signals, period_s=2.0), hours=6).cycles, "inflow_m3_per_day")[2:-2]
    assert np.abs(found / saw.inflow_m3_per_day[2 : found.size + 2] - 1.0).max() < 0.04


def test_a_switch_alone_tells_no_inflow(saw, derive):
    found = derive(saw.samples("water_dump_open"), hours=3).cycles
    assert found["inflow_m3_per_day"].null_count() == found.height
    assert found["volume_geometry_m3"].null_count() == found.height


def test_a_leak_is_counted_while_the_valve_is_shut(make_saw, derive):
    saw = make_saw([600.0] * 100, leak_m3_per_day=50.0)
    found = derive(saw.samples(*SIGNALS, period_s=2.0), hours=4).cycles
    leak, fill = column(found, "leak_m3")[1:-1], column(found, "fill_s")[1:-1]
    # Whole readings within the fill: two scans of 2 s at most are missing of several minutes.
    assert leak / fill * 86400.0 == pytest.approx(50.0, rel=0.03)


def test_a_fill_over_a_gap_is_not_known(saw, derive):
    samples = saw.samples("water_dump_open", "interface_level", period_s=10.0)
    start = samples["time_utc"].min()
    gap = pl.col("time_utc").is_between(start + pl.duration(minutes=60), start + pl.duration(minutes=180))
    found = derive(samples.filter(~gap), hours=6).cycles
    after = found.filter(pl.col("opened_utc") > start + pl.duration(minutes=180))
    assert after["fill_s"].is_null().to_list() == [True] + [False] * (after.height - 1)
    assert after["inflow_m3_per_day"].is_null().to_list()[0]


def test_the_effective_flow_coefficient_is_that_of_the_valve(make_saw, signal_samples, derive, knockout):
    """A valve of Cv 90 by the formula of IEC 60534-2-1, on brine of 1.05 from 1.1 m above its outlet."""
    drop = 300.0 + liquid_head_kpa(1.1, 1.05) - 100.0
    saw = make_saw([500.0] * 100, dump_m3_per_day=flow_m3_per_day(90.0, drop, 1.05))
    pressure = signal_samples("vessel_pressure", [300.0] * 1500, period_s=10)
    samples = pl.concat([saw.samples(*SIGNALS, period_s=1.0), pressure])
    found = derive(samples, hours=4).cycles
    # A scan of 1 s in a dump of 30 s to 40 s.
    assert found["cv_effective"].median() == pytest.approx(90.0, rel=0.03)
    assert found["pressure_kpag"].median() == pytest.approx(300.0)

    raised = replace(knockout, water_dump=(replace(knockout.water_dump[0], elevation_m=1.1),))
    without_head = derive(samples, raised, hours=4).cycles["cv_effective"].median()
    assert without_head == pytest.approx(90.0 * np.sqrt(drop / 200.0), rel=0.03)


def test_without_a_downstream_pressure_there_is_no_flow_coefficient(saw, signal_samples, derive, knockout):
    unset = replace(knockout, water_dump=(WaterDump(action="snap", opens_at_m=1.15, closes_at_m=1.05),))
    pressure = signal_samples("vessel_pressure", [300.0] * 1500, period_s=10)
    downstream = signal_samples("water_downstream_pressure", [100.0] * 1500, period_s=10)
    samples = pl.concat([saw.samples(*SIGNALS, period_s=2.0), pressure])
    assert derive(samples, unset, hours=4).cycles["cv_effective"].null_count() > 30
    assert derive(pl.concat([samples, downstream]), unset, hours=4).cycles["cv_effective"].null_count() <= 2


def test_pressure_sag_and_lowest_level_are_those_while_open(make_saw, signal_samples, derive):
    saw = make_saw([500.0] * 20)
    when = saw.scan(2.0)
    # The pressure falls by 20 kPa in the ten seconds after each opening, so the scan at the opening still sees most.
    since = when - saw.opened_s[np.maximum(np.searchsorted(saw.opened_s, when, side="right") - 1, 0)]
    pressure = 300.0 - 20.0 * saw.is_open(when) * np.clip(since / 10.0, 0.0, 1.0)
    samples = pl.concat(
        [saw.samples(*SIGNALS, period_s=2.0), signal_samples("vessel_pressure", pressure.tolist(), times_s=when)]
    )
    found = derive(samples, hours=1).cycles
    assert (column(found, "pressure_sag_kpa")[:-1] > 15.0).all()
    assert (column(found, "pressure_sag_kpa")[:-1] <= 20.0 + 1e-9).all()
    assert column(found, "lowest_level_m")[:-1] == pytest.approx(1.05, abs=0.005)


def test_the_well_on_test_is_told_with_each_dump(make_saw, signal_samples, derive):
    saw = make_saw([500.0] * 60)
    wells = signal_samples("well_on_test", ["A", "B"], times_s=[0.0, 3600.0])
    found = derive(pl.concat([saw.samples("interface_level"), wells]), hours=2).cycles
    first, second = found["well_on_test"].to_list()[0], found["well_on_test"].to_list()[-1]
    assert (first, second) == ("A", "B")
