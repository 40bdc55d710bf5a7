"""Well tests by schedule, routing and hand gauges; their uncertainty, net oil, and what spoils them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.derive.gauged import volume_m3
from nightgauge.field.settings import Gauge, Outage, Routing, ScheduledTest, Tank, Vessel, WaterDump, Well

HOUR = 3600.0
WATER, OIL = 400.0, 50.0
START = datetime(2026, 3, 2, tzinfo=UTC)
VESSEL = Vessel(id="T-1", service="test vessel", water_dump=(WaterDump(action="throttling"),))
TANK = Tank("K", (0.0, 1.0, 6.0), (0.0, 10.0, 160.0))


def at(hour: float) -> datetime:
    return START + timedelta(hours=hour)


@pytest.fixture
def tests_of(signal_samples, derive):
    """Test records over some days of two meters [m3/day], further signals, and what the lists say."""

    def run(hours=48.0, water=None, oil=OIL, vessel=VESSEL, extra=(), wells=None, **lists):
        when = np.arange(0, hours * HOUR, 120.0)
        level = np.full(when.shape, WATER) if water is None else water(when / HOUR)
        parts = [signal_samples("water_rate", level.tolist(), times_s=when)]
        if oil is not None:
            parts.append(signal_samples("oil_rate", np.full(when.shape, oil).tolist(), times_s=when))
        parts += [signal_samples(name, [value] * len(when), times_s=when) for name, value in extra]
        if wells is not None:
            parts.append(signal_samples("well_on_test", wells[0], times_s=[hour * HOUR for hour in wells[1]]))
        return derive(pl.concat(parts), vessel, hours=hours, **lists).tests.sort("start_utc").to_dicts()

    return run


def test_a_schedule_makes_tests_where_no_signal_says_which_well(tests_of):
    found = tests_of(tests=(ScheduledTest("A", "T-1", at(6), at(14)), ScheduledTest("B", "T-9", at(6), at(14))))
    (one,) = found
    assert (one["well"], one["source"], one["state"]) == ("A", "tests", "accepted")
    assert one["water_m3_per_day"] == pytest.approx(WATER, rel=1e-6)
    assert (one["end_utc"] - one["start_utc"]).total_seconds() == 8 * HOUR


def test_the_signal_wins_over_the_schedule_at_its_own_time_only(tests_of):
    lists = (ScheduledTest("A", "T-1", at(2), at(8)), ScheduledTest("C", "T-1", at(30), at(40)))
    # The signal's last word is at hour 9, and holds for 24 h: it knows all of A's time and a third of C's.
    found = tests_of(tests=lists, wells=(["B", "B", "B"], [1, 5, 9]), hours=48)
    assert [(one["well"], one["source"]) for one in found] == [("B", "well_on_test"), ("C", "tests")]


def test_routing_tells_a_well_from_its_line_to_the_next_that_concerns_the_vessel(tests_of):
    lines = (
        Routing(at(2), "A", "T-1"), Routing(at(5), "Z", "P-9"), Routing(at(12), "B", "T-1"), Routing(at(20), "B", None),
    )  # fmt: skip
    found = tests_of(routings=lines)
    told = [(one["well"], one["source"], (one["end_utc"] - one["start_utc"]).total_seconds() / HOUR) for one in found]
    assert told == [("A", "routing", 10.0), ("B", "routing", 8.0)]


def test_routing_to_a_production_vessel_is_no_test(tests_of):
    plain = replace(VESSEL, service="separator")
    assert tests_of(routings=(Routing(at(2), "A", "T-1"), Routing(at(12), "A", None)), vessel=plain) == []


def test_rows_are_the_same_wherever_deriving_begins(signal_samples, derive):
    when = np.arange(0, 96 * HOUR, 300.0)
    rng = np.random.default_rng(3)
    parts = [signal_samples("water_rate", (WATER + rng.normal(0, 20, when.size)).tolist(), times_s=when)]
    lists = {"tests": (ScheduledTest("A", "T-1", at(50), at(62)),), "routings": (Routing(at(70), "B", "T-1"),)}
    whole = derive(pl.concat(parts), VESSEL, hours=96, **lists).tests.filter(pl.col("start_utc") >= at(48))
    late = derive(pl.concat(parts), VESSEL, hours=48, start=at(48), **lists).tests
    assert whole.height >= 2
    assert whole.equals(late)


def test_net_oil_is_the_stream_without_its_water_at_standard_conditions(tests_of):
    # NSV = IV x MF x (1 - WC) x CTL x SF: 1000 bbl gross, 1.002, 40 %, 0.971380 (35 degAPI at 120 degF, by the
    # petroleum measurement standards' volume correction), 0.985 give 575.233751 bbl.
    vessel = replace(VESSEL, oil_gravity_degapi=35.0, oil_meter_factor=1.002, oil_shrinkage=0.985)
    (one,) = tests_of(
        oil=1000.0, vessel=vessel, extra=(("oil_water_cut", 0.4), ("temperature", (120 - 32) / 1.8)),
        tests=(ScheduledTest("A", "T-1", at(6), at(14)),),
    )  # fmt: skip
    assert one["net_oil_m3_per_day"] == pytest.approx(575.233751, rel=1e-6)
    # of 400 + 1000 m3/day of liquid 400 + 400 are water
    assert one["water_cut_fraction"] == pytest.approx(800 / 1400, rel=1e-6)


def test_without_a_cut_no_net_oil_is_claimed(tests_of):
    (one,) = tests_of(tests=(ScheduledTest("A", "T-1", at(6), at(14)),))
    assert one["net_oil_m3_per_day"] is None


def test_the_steady_end_of_a_test_counts_and_its_unsettled_start_does_not(tests_of):
    (one,) = tests_of(water=lambda h: np.where(h < 9, 700.0, WATER), tests=(ScheduledTest("A", "T-1", at(6), at(22)),))
    assert one["state"] == "accepted"
    assert one["water_m3_per_day"] == pytest.approx(WATER, rel=0.02)
    assert one["steady_utc"] >= at(8)


def test_the_uncertainty_covers_the_truth_about_as_often_as_it_says(tests_of):
    """Hours that hang together (first-order, 0.6): within two standard uncertainties nine times of ten and more."""
    rng, hits, count = np.random.default_rng(7), 0, 60
    for _ in range(count):
        noise = np.zeros(48)
        for hour in range(1, 48):
            noise[hour] = 0.6 * noise[hour - 1] + rng.normal(0, 12.0)
        (one,) = tests_of(
            water=lambda h, noise=noise: WATER + noise[h.astype(int)], tests=(ScheduledTest("A", "T-1", at(4), at(40)),)
        )
        hits += abs(one["water_m3_per_day"] - WATER) < 2.0 * one["water_uncertainty_m3_per_day"]
    assert hits / count > 0.95 - 3 * (0.95 * 0.05 / count) ** 0.5


@pytest.mark.parametrize(
    ("level", "said"),
    [(1.5, "the dump did not act"), (0.7, "gas may have gone through"), (1.1, None)],
)
def test_a_test_during_a_fault_of_the_dump_is_rejected_and_says_so(tests_of, knockout, level, said):
    (one,) = tests_of(
        vessel=replace(knockout, service="test vessel"),
        extra=(("interface_level", level),),
        tests=(ScheduledTest("A", "T-1", at(6), at(30)),),
    )
    assert one["state"] == ("accepted" if said is None else "rejected")
    assert said is None or said in one["reason"]


def test_a_test_in_an_outage_is_rejected_and_says_so(tests_of):
    (one,) = tests_of(
        tests=(ScheduledTest("A", "T-1", at(6), at(20)),), outages=(Outage("T-1", at(10), at(11)),)
    )  # fmt: skip
    assert (one["state"], one["reason"]) == ("rejected", "the vessel was out of service during it")


def test_a_tank_gives_the_oil_of_a_vessel_that_meters_only_water(tests_of):
    # From 1 m to 3 m of a tank of 30 m3 per metre there: 60 m3 in 12 h are 120 m3/day, a quarter of it water.
    gauge = Gauge("A", "K", at(8), at(20), 1.0, 3.0, 0.25)
    (one,) = tests_of(
        oil=None, vessel=replace(VESSEL, oil_gravity_degapi=30.0, temperature_c=60 / 1.8 - 32 / 1.8),
        tests=(ScheduledTest("A", "T-1", at(6), at(22)),), gauges=(gauge,), tanks=(TANK,),
    )  # fmt: skip
    assert (one["source"], one["state"]) == ("tests", "accepted")
    assert one["oil_m3_per_day"] == pytest.approx(90.0)
    assert one["water_m3_per_day"] == pytest.approx(WATER + 30.0, rel=1e-6)
    # an eighth of an inch at 10 m3/m below and 30 m3/m above, root-sum-square, over half a day
    assert one["oil_uncertainty_m3_per_day"] == pytest.approx(0.75 * 2 * 0.003175 * (10**2 + 30**2) ** 0.5, rel=1e-6)
    assert one["net_oil_m3_per_day"] == pytest.approx(90.0, rel=0.02)  # at 60 degF hardly anything is corrected


def test_a_gauge_without_any_test_stands_by_itself_on_the_wells_own_vessel(signal_samples, derive):
    samples = signal_samples("water_rate", [WATER] * 720, period_s=120)
    lists = {"gauges": (Gauge("A", "K", at(8), at(20), 1.0, 3.0),), "tanks": (TANK,)}
    of_vessel = derive(samples, VESSEL, hours=24, wells=(Well("A", "T-1"),), **lists).tests.to_dicts()
    of_another = derive(samples, VESSEL, hours=24, wells=(Well("A", "P-9"),), **lists).tests
    assert [(one["source"], one["oil_m3_per_day"], one["water_m3_per_day"]) for one in of_vessel] == [
        ("gauges", pytest.approx(120.0), None)
    ]
    assert of_another.is_empty()


@given(st.floats(0.0, 6.0), st.floats(0.0, 6.0))
def test_more_gauge_is_more_volume(one, other):
    low, high = sorted((one, other))
    assert volume_m3(TANK, low) <= volume_m3(TANK, high)


def test_a_gauge_beyond_the_strapping_gives_no_volume():
    assert np.isnan(volume_m3(TANK, 6.1))
