import numpy as np
import pytest

from nightgauge.detect import throttling

FROM_H = 20 * 24 + 9


def _with(made, name, values, swing=0.01):
    return made.signal(name, np.where(made.t >= FROM_H, values, made.signals[name]["mean"]), swing)


def test_a_sound_throttling_dump_is_not_stuck(sound_throttling):
    assert throttling.find(sound_throttling().history()) == []


def test_level_high_and_no_flow_is_stuck_closed(sound_throttling):
    made = _with(_with(sound_throttling(), "interface_level", 1.5), "water_rate", 0.0)
    (found,) = throttling.find(made.history(FROM_H + 7))
    assert (found.kind, found.priority, found.ended) == ("float_stuck_closed", "high", None)


def test_level_high_with_full_flow_is_a_busy_day(sound_throttling):
    made = _with(_with(sound_throttling(), "interface_level", 1.19), "water_rate", 900.0)
    _with(made, "water_dump_position", 0.72)
    assert throttling.find(made.history(FROM_H + 12)) == []


def test_level_low_with_flow_going_on_is_stuck_open(sound_throttling):
    made = _with(_with(sound_throttling(), "interface_level", 0.4), "water_rate", 520.0)
    (found,) = throttling.find(made.history(FROM_H + 7))
    assert found.kind == "float_stuck_open"


def test_level_low_with_no_flow_is_a_shut_in(sound_throttling):
    made = _with(_with(sound_throttling(), "interface_level", 0.4), "water_rate", 0.0)
    assert throttling.find(made.history(FROM_H + 20)) == []


@pytest.mark.parametrize("elapsed_h", [6, 8, 24])
def test_by_the_level_alone_standing_at_the_weir_is_stuck_closed(sound_throttling, elapsed_h):
    made = sound_throttling(without=["water_rate", "water_dump_position", "vessel_pressure"])
    _with(made, "interface_level", 1.6)
    assert [c.kind for c in throttling.find(made.history(FROM_H + elapsed_h))] == ["float_stuck_closed"]


def test_by_level_and_pressure_a_slow_sinking_with_the_pressure_is_a_shut_in(sound_throttling):
    made = sound_throttling(without=["water_rate", "water_dump_position"])
    since = made.t - FROM_H
    _with(made, "interface_level", 1.10 - np.clip(since * 0.1, 0, 0.9))
    _with(made, "vessel_pressure", 314.0 * np.exp(-np.clip(since, 0, None) / 8.0))
    assert throttling.find(made.history(FROM_H + 20)) == []


def test_a_float_that_works_again_is_over(sound_throttling):
    made = sound_throttling()
    stuck = (made.t >= FROM_H) & (made.t < FROM_H + 10)
    made.signal("interface_level", np.where(stuck, 1.5, 1.1), 0.01)
    made.signal("water_rate", np.where(stuck, 0.0, 500.0), 10.0)
    (found,) = throttling.find(made.history())
    assert found.ended is not None
    assert found.ended.timestamp() == made.history().start_s + (FROM_H + 10) * 3600


def test_a_level_that_sinks_over_days_while_water_leaves_is_a_leak_not_a_jam(sound_throttling):
    made = sound_throttling(without=["water_dump_position"])
    since = made.t - FROM_H
    # Within its band the valve closes as the seat is cut; shut, it cannot keep the water from running down.
    _with(made, "interface_level", 1.10 - np.clip(since * 0.001, 0.0, 0.05) - np.clip((since - 50) * 0.2, 0.0, 0.75))
    kinds = {c.kind for c in throttling.find(made.history(FROM_H + 80))}
    assert kinds == {"dump_leaking"}


def test_a_level_that_sinks_over_days_and_is_held_there_is_no_leak_and_no_jam(sound_throttling):
    made = sound_throttling(without=["water_dump_position"])
    _with(made, "interface_level", 1.10 - np.clip((made.t - FROM_H) * 0.001, 0.0, 0.15))
    assert throttling.find(made.history(FROM_H + 200)) == []
