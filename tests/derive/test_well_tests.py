from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from nightgauge.field.settings import Vessel, WaterDump

HOUR = 3600.0
WATER, OIL = 400.0, 50.0


@pytest.fixture
def tests_of(signal_samples, derive):
    """The test records of wells given as (name, start hour), with rates in m3/day as functions of the hour."""

    def run(turns, hours=72.0, water=lambda h: WATER + 0 * h, oil=lambda h: OIL + 0 * h, vessel=None):
        when = np.arange(0, hours * HOUR, 120.0)
        hourly = np.arange(0.0, hours)
        names = [turns[np.searchsorted([h for _, h in turns], h, side="right") - 1][0] for h in hourly]
        samples = pl.concat(
            [
                signal_samples("well_on_test", names, times_s=hourly * HOUR),
                signal_samples("water_rate", water(when / HOUR).tolist(), times_s=when),
                signal_samples("oil_rate", oil(when / HOUR).tolist(), times_s=when),
            ]
        )
        plain = Vessel(id="T-1", service="test vessel", water_dump=(WaterDump(action="throttling"),))
        found = derive(samples, plain if vessel is None else replace(vessel, water_dump=plain.water_dump), hours=hours)
        return found.tests.sort("start_utc").to_dicts()

    return run


def test_each_turn_of_a_well_is_a_test(tests_of):
    found = tests_of([("A", 0), ("B", 12), ("A", 24), ("B", 40)], hours=64)
    assert [(t["well"], t["state"]) for t in found] == [
        ("A", "accepted"),
        ("B", "accepted"),
        ("A", "accepted"),
        ("B", "running"),
    ]
    assert found[1]["water_m3_per_day"] == pytest.approx(WATER, rel=1e-6)
    assert found[1]["oil_m3_per_day"] == pytest.approx(OIL, rel=1e-6)
    assert found[1]["water_cut_fraction"] == pytest.approx(WATER / (WATER + OIL), rel=1e-6)
    assert (found[1]["end_utc"] - found[1]["start_utc"]).total_seconds() == 12 * HOUR


def test_the_liquid_of_the_well_before_is_purged(tests_of):
    # For its first hour the second well's meter still sees the first well's liquid.
    found = tests_of([("A", 0), ("B", 12)], water=lambda h: np.where(h < 13, 900.0, WATER))
    assert found[1]["water_m3_per_day"] == pytest.approx(WATER, rel=0.01)


def test_a_large_vessel_is_purged_for_longer(tests_of, knockout):
    """Three liquid volumes: common practice, no source. 21.6 m3 below the oil level at 450 m3/day is 3.5 h."""
    late = {"water": lambda h: np.where(h < 15.3, 430.0, WATER)}
    in_small = tests_of([("A", 0), ("B", 12)], hours=20, **late)[1]
    in_large = tests_of([("A", 0), ("B", 12)], hours=20, vessel=knockout, **late)[1]
    assert in_small["water_m3_per_day"] > WATER + 5.0
    assert in_large["water_m3_per_day"] == pytest.approx(WATER, rel=0.01)


def test_a_test_that_is_not_steady_is_rejected_and_says_so(tests_of):
    found = tests_of(
        [("A", 0), ("B", 12), ("A", 24)], hours=36, water=lambda h: np.where((h > 18) & (h < 24), 250.0, WATER)
    )
    assert (found[1]["state"], found[0]["state"]) == ("rejected", "accepted")
    assert "water not steady" in found[1]["reason"]


def test_a_test_too_short_is_rejected_and_says_so(tests_of):
    found = tests_of([("A", 0), ("B", 12), ("C", 14), ("A", 30)], hours=48)
    assert (found[1]["state"], found[2]["state"]) == ("rejected", "accepted")
    assert "after the purge" in found[1]["reason"]


def test_a_test_without_a_rate_is_rejected_and_says_so(signal_samples, derive):
    wells = signal_samples("well_on_test", ["A", "A", "B"], times_s=[0, 12 * HOUR - 60, 12 * HOUR])
    found = derive(wells, hours=20).tests.to_dicts()
    assert found[0]["reason"] == "no rate is known"
    assert found[0]["water_m3_per_day"] is None


def test_a_run_of_more_than_a_day_counts_once_a_day(tests_of):
    # A from Monday 06:00 for good: to Wednesday 00:00, the first midnight after a day, then day by day.
    found = tests_of([("B", 0), ("A", 6)], hours=96)
    mine = [t for t in found if t["well"] == "A"]
    assert [(t["end_utc"] - t["start_utc"]).total_seconds() / HOUR for t in mine] == [42.0, 24.0, 24.0]
    assert [t["state"] for t in mine] == ["accepted", "accepted", "running"]


def test_a_test_of_exactly_a_day_is_one_test(tests_of):
    found = tests_of([("B", 0), ("A", 8), ("B", 32)], hours=72)
    assert [(t["well"], (t["end_utc"] - t["start_utc"]).total_seconds() / HOUR) for t in found][1] == ("A", 24.0)


def test_a_vessel_without_wells_has_no_tests(make_saw, derive):
    assert derive(make_saw([500.0] * 20).samples("water_dump_open"), hours=1).tests.height == 0
