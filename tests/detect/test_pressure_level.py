import numpy as np

from nightgauge.detect import pressure_level

FROM_H = 20 * 24


def test_pressure_far_down_while_dumps_go_on_is_not_held(sound_snap):
    made = sound_snap()
    made.signal("vessel_pressure", np.where(made.t >= FROM_H, 220.0, 314.0), 4.0)
    (found,) = pressure_level.find(made.history(FROM_H + 12))
    assert (found.kind, found.element, found.ended) == ("pressure_not_held", "oil_valve", None)


def test_pressure_far_down_without_dumps_is_a_shut_in(sound_snap):
    made = sound_snap(last_dump_h=FROM_H)
    made.hours(dumps=np.where(made.t >= FROM_H, 0.0, 1.5))
    made.signal("vessel_pressure", np.where(made.t >= FROM_H, 220.0, 314.0), 1.0)
    assert pressure_level.find(made.history(FROM_H + 24)) == []


def test_a_slow_drift_is_not_called_not_held(sound_snap):
    made = sound_snap(days=42)
    made.signal("vessel_pressure", 314.0 - np.clip((made.t - FROM_H) * 0.15, 0.0, None), 4.0)
    assert pressure_level.find(made.history()) == []


def test_a_day_or_two_of_low_pressure_do_not_become_what_is_held(sound_snap):
    made = sound_snap(days=42)
    low = 220.0 + 20.0 * np.sin(made.t / 9.0)
    made.signal("vessel_pressure", np.where(made.t >= FROM_H, low, 314.0), 4.0)
    (found,) = pressure_level.find(made.history(24 * 40))
    assert found.ended is None


def test_a_lower_pressure_held_as_steadily_as_before_is_a_turned_spring(sound_snap):
    made = sound_snap(days=42)
    wander = 1.0 * np.sin(made.t / 9.0)
    made.signal("vessel_pressure", np.where(made.t >= FROM_H, 250.0, 314.0) + wander, 4.0)
    assert pressure_level.find(made.history()) == []


def test_pressure_within_a_tenth_of_the_working_pressure_is_high(sound_snap):
    made = sound_snap()
    made.signal("vessel_pressure", np.where(made.t >= FROM_H, 790.0, 314.0), 2.0)
    found = pressure_level.find(made.history(FROM_H + 2))
    assert [(c.kind, c.priority) for c in found] == [("pressure_near_limit", "high")]


def test_dumps_that_pull_the_pressure_down_far_more_than_ever_blow_gas(sound_snap):
    made = sound_snap()
    late = np.asarray(made.cycles["opened"]) >= FROM_H
    made.cycles["pressure_sag_kpa"] = np.where(late, 90.0, 6.0)
    (found,) = pressure_level.find(made.history(FROM_H + 12))
    assert (found.kind, found.priority) == ("gas_in_liquid", "high")
