import numpy as np
import pytest

from nightgauge.detect import dump_valve

FROM_H = 20 * 24


def _metered(sound_snap, leak):
    made = sound_snap()
    made.signal("water_total", 0.0, net_change=500.0 / 24)
    return made.hours(leak_m3=leak, shut_s=3300.0)


def test_a_meter_that_moves_while_the_dump_is_shut_is_a_leak(sound_snap):
    leak = np.where(np.arange(24 * 28) >= FROM_H, 4.0, 0.05)
    (found,) = dump_valve.find(_metered(sound_snap, leak).history(FROM_H + 36))
    assert found.kind == "dump_leaking"
    # 4 m3 in 3300 s, as a day.
    assert found.evidence[0].value == pytest.approx(4.0 / 3300.0 * 86400.0, rel=0.01)


def test_a_creep_that_was_always_there_is_the_meters(sound_snap):
    assert dump_valve.find(_metered(sound_snap, 1.0).history()) == []


def test_a_single_upset_of_hours_is_no_leak(sound_snap):
    t = np.arange(24 * 28)
    assert dump_valve.find(_metered(sound_snap, np.where((t > FROM_H) & (t < FROM_H + 6), 8.0, 0.05)).history()) == []


def test_a_coefficient_that_falls_is_a_restriction(sound_snap):
    made = sound_snap()
    late = np.asarray(made.cycles["opened"]) >= FROM_H
    made.cycles["cv_effective"] = np.where(late, 60.0, 90.0) + made.rng.normal(0.0, 1.0, len(late))
    (found,) = dump_valve.find(made.history())
    assert found.kind == "dump_restricted"
    assert found.evidence[0].value == pytest.approx(60.0, rel=0.02)


def test_less_flow_by_less_pressure_leaves_the_coefficient_and_says_nothing(sound_snap):
    made = sound_snap()
    late = np.asarray(made.cycles["opened"]) >= FROM_H
    made.cycles["cv_effective"] = 90.0 + made.rng.normal(0.0, 1.0, len(late))
    made.cycles["drain_s"] = np.where(late, 260.0, 180.0)
    assert dump_valve.find(made.history()) == []
