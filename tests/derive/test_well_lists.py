"""Well tests by schedule, routing and hand gauges; their uncertainty, net oil, and what spoils them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.derive.gauged import volume_m3
from nightgauge.field.settings import Gauge, Outage, Routing, ScheduledTest, TagRow, Tank, Vessel, WaterDump, Well
from nightgauge.units import Conversion

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

    def run(hours=48.0, water=None, oil=OIL, cut=None, vessel=VESSEL, extra=(), wells=None, wells_of=(), **lists):
        when = np.arange(0, hours * HOUR, 120.0)
        level = np.full(when.shape, WATER) if water is None else water(when / HOUR)
        parts = [signal_samples("water_rate", level.tolist(), times_s=when)]
        if oil is not None:
            parts.append(signal_samples("oil_rate", np.full(when.shape, oil).tolist(), times_s=when))
        parts += [signal_samples(name, [value] * len(when), times_s=when) for name, value in extra]
        if cut is not None:
            parts.append(signal_samples("oil_water_cut", cut(when / HOUR).tolist(), times_s=when))
        if wells is not None:
            parts.append(signal_samples("well_on_test", wells[0], times_s=[hour * HOUR for hour in wells[1]]))
        return derive(pl.concat(parts), vessel, hours=hours, wells=wells_of, **lists).tests.sort("start_utc").to_dicts()

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


def test_a_well_turned_out_before_its_name_was_taken_off_is_told_by_what_it_gave(tests_of):
    (one,) = tests_of(water=lambda h: np.where(h > 20, 20.0, WATER), tests=(ScheduledTest("A", "T-1", at(6), at(22)),))
    assert one["state"] == "accepted"
    assert one["water_m3_per_day"] == pytest.approx(WATER, rel=0.005)


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


def test_the_volume_of_a_test_counts_as_a_rate_per_day(signal_samples, derive):
    """Q = V x 24 / t, exact: a totaliser goes on by 1 m3 every 3 min, 100 m3 in the 5 h after an hour of purge."""
    when = np.arange(0, 24 * HOUR, 180.0)
    samples = signal_samples("water_total", np.arange(when.size, dtype=float).tolist(), times_s=when)
    lists = {"tests": (ScheduledTest("A", "T-1", at(6), at(12)),)}
    (one,) = derive(samples, VESSEL, hours=24, **lists).tests.to_dicts()
    assert one["water_m3_per_day"] == pytest.approx(100.0 * 24 / 5, rel=1e-9)


def test_a_register_of_coarse_steps_is_no_surer_than_one_step_at_either_end(signal_samples, derive):
    when = np.arange(0, 24 * HOUR, 180.0)
    samples = signal_samples("water_total", (2.0 * np.arange(when.size)).tolist(), times_s=when)
    lists = {"tests": (ScheduledTest("A", "T-1", at(6), at(12)),)}
    (one,) = derive(samples, VESSEL, hours=24, **lists).tests.to_dicts()
    # Rates do not scatter; the difference of two readings of a register of 2 m3 has a deviation of 2 / sqrt(6) m3.
    assert one["water_uncertainty_m3_per_day"] == pytest.approx(2.0 / 6**0.5 * 24 / 5, rel=1e-9)


def test_the_signal_wins_and_the_schedule_keeps_the_rest_of_its_time(tests_of):
    """B by the signal from hour 1 to 20, where it falls silent for good; C's line keeps what is left of it."""
    found = tests_of(tests=(ScheduledTest("C", "T-1", at(10), at(46)),), wells=(["B", "B"], [1, 20]), hours=72)
    assert [(one["well"], one["source"], one["start_utc"]) for one in found] == [
        ("B", "well_on_test", at(1)),
        ("C", "tests", at(20)),
    ]


def test_where_signal_and_schedule_disagree_the_test_is_the_signals_and_says_so(tests_of):
    lines = (ScheduledTest("A", "T-1", at(2), at(12)), ScheduledTest("B", "T-1", at(11), at(30)))
    (one, other) = tests_of(tests=lines, wells=(["B", "B", "C", "C"], [1, 9, 13, 20]), hours=36)
    assert (one["well"], one["state"]) == ("B", "accepted")
    assert one["reason"] == "the schedule has well A on the vessel, the signal B"
    # C has no line of its own, and most of its time is B's.
    assert (other["well"], other["state"], other["reason"]) == (
        "C", "running", "the schedule has well B on the vessel, the signal C",
    )  # fmt: skip


def test_edges_of_the_schedule_beside_the_signals_are_no_disagreement(tests_of):
    lines = (ScheduledTest("A", "T-1", at(0), at(4)), ScheduledTest("B", "T-1", at(4), at(14)))
    found = tests_of(tests=lines, wells=(["B", "B", "A"], [1, 9, 13]), hours=20)
    assert [one["reason"] for one in found if one["well"] == "B"] == [None]


def test_where_the_schedule_has_the_same_well_as_the_routing_the_edges_are_no_tests(tests_of):
    lists = {"tests": (ScheduledTest("A", "T-1", at(8), at(18)),)}
    lines = (Routing(at(6), "A", "T-1"), Routing(at(20), "A", None))
    assert [(one["source"], one["start_utc"]) for one in tests_of(routings=lines, **lists)] == [("tests", at(8))]


def test_two_wells_at_a_time_are_nobodys_test(tests_of):
    found = tests_of(tests=(ScheduledTest("A", "T-1", at(6), at(16)), ScheduledTest("B", "T-1", at(10), at(20))))
    assert [(one["well"], one["state"]) for one in found] == [("A", "rejected"), ("B", "rejected")]
    assert "well B on the vessel at the same time" in found[0]["reason"]


def test_rows_are_the_same_wherever_deriving_begins_also_of_long_runs(signal_samples, derive):
    """Every day by itself, from the samples of two days before it to one day after it, gives its rows of the whole."""
    days, rng = 8, np.random.default_rng(5)
    when = np.arange(0, days * 24 * HOUR, 300.0)
    samples = signal_samples("water_rate", (WATER + rng.normal(0, 20, when.size)).tolist(), times_s=when)
    lists = {
        "tests": (ScheduledTest("A", "T-1", at(20), at(30)), ScheduledTest("C", "T-1", at(100), at(112))),
        "routings": (Routing(at(40), "B", "T-1"), Routing(at(165), "A", "T-1")),
        "gauges": tuple(Gauge(well, "K", at(a), at(b), 1.0, 2.0) for well, a, b in (
            ("A", 23, 29), ("B", 44, 52), ("B", 70, 80), ("B", 94, 99), ("B", 120, 140), ("A", 150, 160), ("D", 5, 15),
        )),
        "tanks": (TANK,), "wells": tuple(Well(name, "T-1") for name in "ABCD"),
    }  # fmt: skip
    whole = derive(samples, VESSEL, hours=days * 24, **lists).tests
    for day in range(days - 1):
        seen = samples.filter(pl.col("time_utc").is_between(at(24 * day - 48), at(24 * day + 48), closed="left"))
        mine = pl.col("start_utc").is_between(at(24 * day), at(24 * day + 24), closed="left")
        alone = derive(seen, VESSEL, hours=48, start=at(24 * day), **lists).tests.filter(mine)
        assert alone.equals(whole.filter(mine))
    with_oil = whole.filter(pl.col("oil_m3_per_day").is_not_null())
    # every gauge once: B's run is told in parts, up to hour 72, 96, 100 (C's test) and 144
    assert sorted(with_oil.select("well", "source").rows()) == sorted(
        [("A", "tests"), ("A", "gauges"), ("D", "gauges"), *[("B", "routing")] * 4]
    )


def test_a_gauge_during_a_run_that_began_the_day_before_is_no_test_of_its_own(tests_of):
    found = tests_of(
        oil=None, wells=(["A", "B"], [20, 32]), gauges=(Gauge("A", "K", at(26), at(31), 1.0, 2.0),), tanks=(TANK,)
    )
    told = [(one["well"], one["oil_m3_per_day"]) for one in found]
    assert told == [("A", pytest.approx(30.0 * 24 / 5)), ("B", None)]


def test_a_gauge_of_a_well_that_is_listed_on_another_vessel_is_no_test_here(tests_of, make_field):
    gauge = Gauge("A", "K", at(8), at(20), 1.0, 3.0)
    found = tests_of(
        oil=None, gauges=(gauge,), tanks=(TANK,), wells_of=(Well("A", "T-1"),),
        vessels=(VESSEL, Vessel("T-2", "test vessel")), tests=(ScheduledTest("A", "T-2", at(6), at(22)),),
    )  # fmt: skip
    assert found == []


@pytest.mark.parametrize(
    ("opening", "closing", "said"),
    [(5.0, 6.2, "gauge beyond the strapping of tank K"), (3.0, 1.0, "tank K fell between its gauges")],
)
def test_gauges_that_cannot_be_are_rejected_and_say_so(tests_of, opening, closing, said):
    gauge = Gauge("A", "K", at(8), at(20), opening, closing)
    for lists in ({"wells_of": (Well("A", "T-1"),)}, {"tests": (ScheduledTest("A", "T-1", at(6), at(22)),)}):
        (one,) = tests_of(oil=None, gauges=(gauge,), tanks=(TANK,), **lists)
        assert (one["state"], one["reason"]) == ("rejected", said)


def test_an_oil_meter_is_believed_rather_than_a_tank(tests_of):
    (one,) = tests_of(
        tests=(ScheduledTest("A", "T-1", at(6), at(22)),), gauges=(Gauge("A", "K", at(8), at(20), 1.0, 3.0),),
        tanks=(TANK,),
    )  # fmt: skip
    assert one["oil_m3_per_day"] == pytest.approx(OIL)


def test_the_uncertain_cut_makes_net_oil_less_sure(tests_of):
    """dN / N = -dWC / (1 - WC): at a cut of 90 % its scatter counts ten times."""
    vessel = replace(VESSEL, oil_gravity_degapi=35.0, temperature_c=40.0)
    scheduled = (ScheduledTest("A", "T-1", at(6), at(22)),)
    errors = []
    for swing in (0.0, 0.01):
        cuts = lambda h, swing=swing: 0.9 + swing * np.where(h.astype(int) % 2, 1.0, -1.0)  # noqa: E731
        (one,) = tests_of(vessel=vessel, cut=cuts, tests=scheduled)
        errors.append(one["net_oil_uncertainty_m3_per_day"] / one["net_oil_m3_per_day"])
        oil_error = one["oil_uncertainty_m3_per_day"] / one["oil_m3_per_day"]
        assert errors[-1] == pytest.approx(oil_error, rel=1e-6)  # the oil rate itself does not scatter here
    assert errors[0] == pytest.approx(0.0, abs=1e-9)
    # fifteen hours of +-0.01: 0.01 x sqrt(15 / 14) / sqrt(15) / 0.1, and Student's t of 14 for few hours
    assert errors[1] == pytest.approx(0.01 / 14**0.5 / 0.1 * 2.1448 / 1.96, rel=0.1)


@pytest.mark.parametrize(("pressure", "state"), [(None, "rejected"), (400.0, "accepted"), ("sags", "rejected")])
def test_flow_at_low_level_is_gas_where_the_pressure_does_not_hold(
    make_saw, signal_samples, derive, knockout, pressure, state
):
    """For two hours of twenty the level lies far below the closing level, and the meter goes on."""
    vessel = replace(knockout, service="test vessel")
    saw = make_saw([400.0] * 420, vessel=vessel)
    when = np.arange(0, 30 * HOUR, 60.0)
    stuck = (when > 16 * HOUR) & (when < 18 * HOUR)
    level = np.where(stuck, 0.9, saw.level(when))
    samples = [
        signal_samples("interface_level", level.tolist(), times_s=when),
        signal_samples("water_total", saw.total(when).tolist(), times_s=when),
    ]
    if pressure is not None:
        held = np.where(stuck, 330.0, 400.0) if pressure == "sags" else np.full(when.shape, pressure)
        samples.append(signal_samples("vessel_pressure", held.tolist(), times_s=when))
    lists = {"tests": (ScheduledTest("A", "T-1", at(4), at(28)),)}
    (one,) = derive(pl.concat(samples), vessel, hours=30, **lists).tests.to_dicts()
    assert one["state"] == state
    assert state == "accepted" or "gas may have gone through" in one["reason"]


@pytest.mark.parametrize(
    ("tops", "state"),
    [([1.15] * 320, "accepted"), ([1.2] * 220, "accepted"), ([1.15] * 120 + [1.6] * 40, "rejected")],
    ids=["trips as set", "trips beside its setting", "hangs"],
)
def test_a_float_that_hangs_spoils_a_test_and_one_that_trips_beside_its_setting_does_not(
    make_saw, derive, knockout, tops, state
):
    vessel = replace(knockout, service="test vessel")
    saw = make_saw([400.0] * len(tops), vessel=vessel, tops_m=tops)
    assert saw.knots_s[-1] > 24 * HOUR
    samples = saw.samples("interface_level", "water_total", "water_dump_open", period_s=20.0)
    lists = {"tests": (ScheduledTest("A", "T-1", at(0), at(20)),)}
    (one,) = derive(samples, vessel, hours=24, **lists).tests.to_dicts()
    assert (one["state"], one["reason"] is None) == (state, state == "accepted")
    assert state == "accepted" or "the dump did not act" in one["reason"]


def test_the_water_cut_and_the_ratio_of_water_to_oil_say_the_same(tests_of):
    """WC = Qw / (Qo + Qw) and WOR = WC / (1 - WC): 0.90 is 9 of water to 1 of oil."""
    (one,) = tests_of(
        water=lambda h: np.full(h.shape, 900.0), oil=100.0, tests=(ScheduledTest("A", "T-1", at(6), at(14)),)
    )
    assert one["water_cut_fraction"] == pytest.approx(0.90, rel=1e-9)
    assert one["water_m3_per_day"] / one["oil_m3_per_day"] == pytest.approx(9.0, rel=1e-9)


def test_oil_that_leaves_in_dumps_is_no_surer_than_one_of_them_at_either_end(signal_samples, derive):
    """Two dumps of 1.5 m3 in every hour, evenly: no scatter, and a dump more or less may fall into the test."""
    when = np.arange(0, 24 * HOUR, 60.0)
    dumps = np.floor(when / 1800.0 + 0.5)
    parts = [
        signal_samples("water_rate", np.full(when.shape, WATER).tolist(), times_s=when),
        signal_samples("oil_total", (1.5 * dumps).tolist(), times_s=when),
    ]
    lists = {"tests": (ScheduledTest("A", "T-1", at(6), at(12)),)}
    (one,) = derive(pl.concat(parts), VESSEL, hours=24, **lists).tests.to_dicts()
    assert one["oil_m3_per_day"] == pytest.approx(72.0)
    assert one["oil_uncertainty_m3_per_day"] == pytest.approx(1.5 / 6**0.5 * 24 / 5, rel=1e-6)


def test_where_a_signal_alone_knows_the_runs_a_gauge_of_none_is_told_on_its_vessel(signal_samples, derive):
    samples = pl.concat(
        [
            signal_samples("water_rate", [WATER] * 1440, period_s=120),
            signal_samples("well_on_test", ["B", "B"], times_s=[0, 20 * HOUR]),
        ]
    )
    tags = tuple(
        TagRow(signal, "T-1", signal, "", Conversion(1.0, 0.0), 86400.0) for signal in ("well_on_test", "water_rate")
    )
    lists = {
        "gauges": (Gauge("A", "K", at(8), at(20), 1.0, 3.0),), "tanks": (TANK,), "tags": tags,
        "wells": (Well("A", "P-9"), Well("B", "P-9")), "vessels": (VESSEL, Vessel("P-9", "separator")),
    }  # fmt: skip
    on_test = derive(samples, VESSEL, hours=40, **lists).tests
    assert on_test.filter(pl.col("source") == "gauges")["well"].to_list() == ["A"]
    at_home = derive(samples.filter(pl.col("signal") == "water_rate"), Vessel("P-9", "separator"), hours=40, **lists)
    assert at_home.tests.is_empty()
