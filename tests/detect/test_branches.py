"""Which valve a lone level belongs to, by where the other one stood on the days about it."""

import numpy as np

from nightgauge.detect.branches import hold_and_clip

OIL, GAS = 300.0, 335.0


def _made(sound_snap, oil, gas):
    made = sound_snap(days=28)
    day = (made.t // 24).astype(int)
    made.hours(oil_hold_kpag=np.asarray(oil, dtype=float)[day], gas_clip_kpag=np.asarray(gas, dtype=float)[day])
    return hold_and_clip(made.history())


def test_a_lone_level_at_the_clip_is_the_gas_valves(sound_snap):
    oil, gas = np.full(28, OIL), np.full(28, GAS)
    oil[10:13], gas[10:13] = GAS + 1.0, np.nan
    hold, clip = _made(sound_snap, oil, gas)
    assert np.isnan(hold[240:312]).all()
    assert np.allclose(clip[240:312], GAS + 1.0)


def test_where_the_hold_was_never_seen_a_lone_level_at_the_clip_is_the_gas_valves_too(sound_snap):
    oil, gas = np.full(28, np.nan), np.full(28, GAS)
    oil[20], gas[20] = GAS, np.nan
    hold, _ = _made(sound_snap, oil, gas)
    assert np.isnan(hold).all()


def test_a_hold_on_its_own_level_stays_the_oil_valves(sound_snap):
    oil, gas = np.full(28, OIL), np.full(28, GAS)
    gas[10:20] = np.nan
    hold, clip = _made(sound_snap, oil, gas)
    assert np.allclose(hold, OIL)
    assert np.isnan(clip[240:480]).all()


def test_an_oil_valve_on_its_way_up_is_not_taken_for_the_gas_valve(sound_snap):
    oil, gas = OIL + np.clip(np.arange(28.0) - 10.0, 0.0, None), np.full(28, GAS)
    gas[10:] = np.nan
    hold, _ = _made(sound_snap, oil, gas)
    assert np.isfinite(hold).all()
