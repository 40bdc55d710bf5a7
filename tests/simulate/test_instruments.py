"""Instruments and historian over a trace drawn by hand, so that every kept sample can be checked by eye."""

from dataclasses import replace

import numpy as np
import pytest

from nightgauge.simulate.instruments import Historian
from nightgauge.simulate.plan import Fault, Instrument, Interval
from nightgauge.simulate.plant import RECORDED, Trace
from nightgauge.simulate.readings import Carried, View, move_on

STEP_S = 10.0


@pytest.fixture
def watch(make_vessel):
    """Return kept (second, value) of one instrument over given values of one variable."""

    def run(instrument, name, values, faults=(), seed=0, stretches=1):
        vessel = replace(make_vessel(), instruments=(instrument,), faults=tuple(faults))
        values = np.asarray(values, dtype=float)
        historian, carried, kept = Historian(((vessel, instrument),)), Carried(), []
        rng = np.random.default_rng(seed)
        for number, part in enumerate(np.split(values, stretches)):
            recorded = np.zeros((len(RECORDED), part.size, 1))
            recorded[RECORDED.index(name), :, 0] = part
            minutes = part.size // 6
            empty = np.zeros((minutes, 1))
            view = View(vessel, Trace(STEP_S, number * part.size * STEP_S, recorded, empty, empty), None, 0, carried)
            frame = historian.keep([view], rng)
            kept += list(zip(frame["second"], frame["value"], frame["is_bad"], strict=True))
            move_on(view)
        return kept

    return run


LEVEL = {
    "signal": "interface_level",
    "tag": "LIT-1",
    "unit": "m",
    "scan_s": 10.0,
    "dead_band": 0.15,
    "max_interval_s": 1e6,
    "resolution": 0.01,
}


def level(**changes):
    return Instrument(**{**LEVEL, **changes})


def pairs(kept):
    return [(second, value) for second, value, _ in kept]


def test_a_value_is_kept_when_it_has_moved_by_more_than_the_dead_band(watch):
    values = [1.0, 1.1, 1.2, 1.3, 1.2, 1.0]
    assert pairs(watch(level(), "water_level_m", values)) == [(10.0, 1.0), (30.0, 1.2), (60.0, 1.0)]


def test_a_value_is_kept_when_the_longest_interval_has_passed(watch):
    kept = pairs(watch(level(max_interval_s=30.0), "water_level_m", [1.0] * 12))
    assert [second for second, _ in kept] == [10.0, 40.0, 70.0, 100.0]


def test_the_historian_remembers_over_stretches(watch):
    values = np.round(1.0 + 0.5 * np.sin(np.arange(48) / 3.0), 2)
    assert watch(level(), "water_level_m", values, stretches=4) == watch(level(), "water_level_m", values)


def test_a_slow_scan_sees_every_sixth_step(watch):
    kept = pairs(watch(level(scan_s=60.0, dead_band=0.0), "water_level_m", np.arange(12) / 10.0))
    assert kept == [(60.0, 0.5), (120.0, 1.1)]


def test_values_come_in_the_unit_shown_with_its_resolution(watch):
    kept = pairs(watch(level(unit="in", resolution=0.5), "water_level_m", [1.0] * 6))
    assert kept == [(10.0, 39.5)]  # 39.37 in


def test_noise_has_its_size(watch):
    kept = watch(level(noise=0.2, dead_band=0.0, resolution=1e-6), "water_level_m", np.ones(6000))
    assert np.std([value for _, value, _ in kept]) == pytest.approx(0.2, rel=0.05)


def test_a_frozen_transmitter_stays_at_what_it_showed_and_goes_on_reporting(watch):
    fault = Fault("instrument_frozen", 25.0, 85.0, signal="interface_level")
    values = np.arange(12) / 2.0
    kept = pairs(watch(level(max_interval_s=20.0), "water_level_m", values, [fault]))
    assert [value for second, value in kept if 30.0 <= second < 85.0] == [1.0, 1.0, 1.0]
    assert (90.0, 4.0) in kept


def test_a_drifting_transmitter_goes_wrong_slowly(watch):
    fault = Fault("instrument_drift", 0.0, size=1.0, ramp_s=120.0, signal="interface_level")
    kept = pairs(watch(level(dead_band=0.0), "water_level_m", np.ones(12), [fault]))
    np.testing.assert_allclose([value for _, value in kept], np.round(1.0 + np.arange(1, 13) / 12.0, 2))


def test_bad_hours_are_flagged_and_silent_ones_leave_no_rows(watch):
    made = level(dead_band=0.0, bad=(Interval(20.0, 40.0),), silent=(Interval(50.0, 60.0),))
    kept = watch(made, "water_level_m", np.arange(6) / 2.0 + 1.0)
    assert kept == [(10.0, 1.0, False), (20.0, 0.0, True), (30.0, 0.0, True), (40.0, 2.5, False), (60.0, 3.5, False)]


def total(**changes):
    return Instrument("water_total", "FQI-1", "m3", scan_s=10.0, dead_band=0.5, pulse=1.0, **changes)


def test_a_totaliser_counts_whole_pulses(watch):
    kept = pairs(watch(total(), "dump_water", [0.04] * 12))  # 0.4 m3 a step
    assert kept == [(10.0, 0.0), (30.0, 1.0), (50.0, 2.0), (80.0, 3.0), (100.0, 4.0)]


def test_a_totaliser_goes_on_over_stretches(watch):
    flow = np.full(24, 0.04)
    assert watch(total(), "dump_water", flow, stretches=2) == watch(total(), "dump_water", flow)


def test_a_totaliser_rolls_over(watch):
    kept = pairs(watch(total(first_count=97.0, roll_over=100.0), "dump_water", [0.1] * 6))
    assert [value for _, value in kept] == [98.0, 99.0, 0.0, 1.0, 2.0, 3.0]


def test_a_totaliser_is_reset_and_steps_back_by_a_pulse(watch):
    made = total(resets_s=(30.0,), back_pulses_s=(60.0,))
    kept = pairs(watch(made, "dump_water", [0.1] * 12))  # a pulse a step
    # Reset at 30 s counts anew from there; at 60 s one pulse is counted backwards, so that step shows no change.
    assert [value for _, value in kept] == [1.0, 2.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]


def test_a_meter_counts_gas_as_liquid(watch):
    kept = pairs(watch(total(), "dump_gas", [0.1] * 6))
    assert kept[-1] == (60.0, 6.0)


def test_a_switch_is_kept_at_each_change(watch):
    made = Instrument("water_dump_open", "ZSO-1", "", scan_s=10.0, dead_band=0.5, max_interval_s=1e6)
    kept = pairs(watch(made, "dump_open", [0, 0, 0.5, 1, 1, 0]))
    assert kept == [(10.0, 0.0), (30.0, 1.0), (60.0, 0.0)]


def test_a_scrubber_dumps_once_for_each_dump_volume(watch, make_vessel):
    made = Instrument("scrubber_dump_open", "ZSO-1", "", scan_s=10.0, dead_band=0.5, max_interval_s=1e6)
    volume = make_vessel().physics.scrubber_dump_m3
    flow = np.full(126, volume / 300.0)  # a dump every 300 s
    kept = pairs(watch(made, "gas_oil", flow))
    assert [second for second, value in kept if value == 1.0] == pytest.approx([300.0, 600.0, 900.0, 1200.0], abs=10.0)
