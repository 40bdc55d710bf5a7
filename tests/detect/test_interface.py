import numpy as np
import pytest

from nightgauge.detect import interface

INCH = 0.0254


def _moved(made, move_m):
    """Move opening and closing level of each dump by an amount given over hours."""
    at = np.asarray(made.cycles["opened"])
    shift = np.interp(at, made.t, move_m)
    for name in ("opening_level_m", "closing_level_m"):
        made.cycles[name] = made.cycles[name] + shift
    return made


def test_a_sound_dump_has_no_moved_interface(sound_snap):
    assert interface.find(sound_snap(days=42).history()) == []


def test_trips_that_creep_together_are_a_drift_told_before_two_inches(sound_snap):
    made = sound_snap(days=42)
    _moved(made, np.clip((made.t / 24 - 20) * 0.2 * INCH, 0, None))
    told_at = next(d for d in range(20, 43) if interface.find(made.history(24.0 * d)))
    assert (told_at - 20) * 0.2 < 2.0
    (found,) = interface.find(made.history())
    assert (found.kind, found.element, found.priority) == ("interface_setpoint_drift", "water_dump", "medium")
    assert "instrument_drift" in {other.kind for other in found.instead}


def test_trips_that_jump_together_are_a_step_and_low(sound_snap):
    made = sound_snap(days=28)
    _moved(made, np.where(made.t > 24 * 22, 2.0 * INCH, 0.0))
    (found,) = interface.find(made.history())
    assert (found.kind, found.priority) == ("interface_setpoint_step", "low")
    assert found.evidence[0].value == pytest.approx(1.10 + 2.0 * INCH, abs=0.005)
    assert found.evidence[0].expected == pytest.approx(1.10, abs=0.005)


def test_a_gap_that_widens_both_ways_moves_no_interface(sound_snap):
    made = sound_snap(days=28)
    late = np.asarray(made.cycles["opened"]) > 24 * 20
    made.cycles["opening_level_m"] = made.cycles["opening_level_m"] + np.where(late, 1.5 * INCH, 0.0)
    made.cycles["closing_level_m"] = made.cycles["closing_level_m"] - np.where(late, 1.5 * INCH, 0.0)
    assert interface.find(made.history()) == []


def test_dumps_by_hand_move_no_interface(sound_snap):
    made = sound_snap(days=28)
    hand = np.zeros(len(made.cycles["opened"]), dtype=bool)
    hand[700:712] = True
    made.cycles["opening_level_m"] = np.where(hand, 1.07, made.cycles["opening_level_m"])
    made.cycles["closing_level_m"] = np.where(hand, 0.4, made.cycles["closing_level_m"])
    assert interface.find(made.history()) == []


def _throttling(sound_throttling, load, move_m=0.0):
    made = sound_throttling(days=35)
    travel = 0.4 * load
    made.signal("water_dump_position", travel)
    made.signal("interface_level", 1.10 + 0.1 * (travel - 0.4) + move_m + made.noise(0.002), 0.01)
    return made.hours(water_load_m3_per_day=500.0 * load)


def test_a_throttling_dump_that_stands_higher_with_more_water_has_not_moved(sound_throttling):
    t = np.arange(24.0 * 35)
    load = 1.0 + 0.1 * np.sin(t / 5.0) + np.where(t > 24 * 25, 0.8, 0.0)
    assert interface.find(_throttling(sound_throttling, load).history()) == []


def test_a_throttling_dump_whose_held_level_creeps_is_a_drift(sound_throttling):
    t = np.arange(24.0 * 35)
    load = 1.0 + 0.1 * np.sin(t / 5.0)
    move = np.clip((t / 24 - 20) * 0.25 * INCH, 0, None)
    (found,) = interface.find(_throttling(sound_throttling, load, move).history())
    assert found.kind == "interface_setpoint_drift"


def test_a_first_week_is_compared_with_the_setting_and_says_so(sound_snap):
    made = _moved(sound_snap(days=3), np.full(72, 5.0 * INCH))
    (found,) = interface.find(made.history(48.0))
    assert "no past yet" in found.summary
    assert found.confidence <= 0.6
