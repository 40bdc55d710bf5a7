import numpy as np
import pytest

from nightgauge.detect import float_stuck

STUCK_H = 20 * 24 + 10.0


def _risen(made, since_h, to_m=1.45, over_h=3.0, until_h=None):
    """Let the level rise from the opening level since a time, over some hours, and stay."""
    until_h = made.n if until_h is None else until_h
    share = np.clip((made.t + 0.5 - since_h) / over_h, 0.0, 1.0)
    inside = (made.t >= since_h) & (made.t < until_h)
    columns = made.signals["interface_level"]
    for name in ("mean", "minimum", "maximum", "first", "last"):
        columns[name] = np.where(inside, 1.15 + share * (to_m - 1.15), columns[name])
    return made


def test_silence_with_the_level_above_the_opening_level_is_a_float_stuck_closed(sound_snap):
    made = _risen(sound_snap(last_dump_h=STUCK_H), STUCK_H)
    (found,) = float_stuck.find(made.history(STUCK_H + 7))
    assert (found.kind, found.priority, found.ended) == ("float_stuck_closed", "high", None)
    assert found.confidence >= 0.9
    assert abs(found.onset.timestamp() - made.history().start_s - STUCK_H * 3600) < 3600


@pytest.mark.parametrize("elapsed_h", [6.0, 7.0, 12.0])
def test_stuck_closed_is_told_after_six_hours_whatever_the_hour_of_the_night(sound_snap, elapsed_h):
    made = _risen(sound_snap(last_dump_h=STUCK_H), STUCK_H)
    assert [c.kind for c in float_stuck.find(made.history(STUCK_H + elapsed_h))] == ["float_stuck_closed"]


def test_silence_with_the_level_below_the_opening_level_is_no_stuck_float(sound_snap):
    made = sound_snap(last_dump_h=STUCK_H)
    assert float_stuck.find(made.history(STUCK_H + 30)) == []


def test_without_a_level_a_held_pressure_shows_that_wells_produce(sound_snap):
    made = sound_snap(last_dump_h=STUCK_H, without=["interface_level"])
    (found,) = float_stuck.find(made.history(STUCK_H + 7))
    assert found.kind == "float_stuck_closed"
    assert 0.5 < found.confidence < 0.9


def test_without_a_level_a_sagging_pressure_is_a_shut_in(sound_snap):
    made = sound_snap(last_dump_h=STUCK_H, without=["interface_level"])
    sag = np.clip((made.t - STUCK_H) / 12.0, 0.0, 1.0) * 120.0
    made.signal("vessel_pressure", 314.0 - sag, 1.0)
    assert float_stuck.find(made.history(STUCK_H + 20)) == []


def test_without_a_level_a_line_that_lost_its_friction_is_a_shut_in(sound_snap):
    made = sound_snap(last_dump_h=STUCK_H, without=["interface_level"])
    made.signal("inlet_pressure", np.where(made.t < STUCK_H, 340.0, 315.0), 2.0)
    assert float_stuck.find(made.history(STUCK_H + 20)) == []


def test_silence_in_which_the_switch_is_not_known_says_nothing(sound_snap):
    made = _risen(sound_snap(last_dump_h=STUCK_H), STUCK_H)
    made.hours(coverage=np.where(made.t < STUCK_H, 1.0, 0.0))
    assert float_stuck.find(made.history(STUCK_H + 10)) == []


def test_a_stuck_float_that_dumps_again_is_over_when_it_dumped(sound_snap):
    made = sound_snap()
    again = STUCK_H + 9.0
    opened = made.every(2.0 / 3.0)
    made.dumps(opened[(opened < STUCK_H) | (opened >= again)], drain_s=180.0)
    _risen(made, STUCK_H, until_h=again)
    (found,) = float_stuck.find(made.history())
    assert found.ended is not None
    assert abs(found.ended.timestamp() - made.history().start_s - again * 3600) < 3600


def test_a_long_fill_that_ends_in_an_ordinary_dump_was_slow_inflow(sound_snap):
    made = sound_snap(without=["interface_level"])
    opened = made.every(2.0 / 3.0)
    made.dumps(opened[(opened < STUCK_H) | (opened >= STUCK_H + 8.0)], drain_s=180.0)
    assert float_stuck.find(made.history()) == []


def test_a_dump_open_for_hours_with_the_level_at_the_outlet_is_stuck_open(sound_snap):
    made = sound_snap(last_dump_h=STUCK_H)
    opened = np.append(made.cycles["opened"], STUCK_H)
    made.dumps(opened, drain_s=np.append(np.full(len(opened) - 1, 180.0), np.nan))
    columns = made.signals["interface_level"]
    for name in ("mean", "minimum", "maximum"):
        columns[name] = np.where(made.t >= STUCK_H, 0.3, columns[name])
    (found,) = float_stuck.find(made.history(STUCK_H + 7))
    assert (found.kind, found.priority, found.ended) == ("float_stuck_open", "high", None)
    assert found.onset.timestamp() == made.history().start_s + STUCK_H * 3600


def test_a_long_slug_is_no_stuck_float_because_the_level_stays_up(sound_snap):
    made = sound_snap(last_dump_h=STUCK_H)
    opened = np.append(made.cycles["opened"], STUCK_H)
    made.dumps(opened, drain_s=np.append(np.full(len(opened) - 1, 180.0), 3 * 3600.0))
    assert float_stuck.find(made.history(STUCK_H + 4)) == []


def test_by_the_switch_alone_a_dump_open_for_six_hours_is_stuck(sound_snap):
    made = sound_snap(last_dump_h=STUCK_H, without=["interface_level", "vessel_pressure"])
    opened = np.append(made.cycles["opened"], STUCK_H)
    made.dumps(opened, drain_s=np.append(np.full(len(opened) - 1, 180.0), np.nan))
    assert [c.kind for c in float_stuck.find(made.history(STUCK_H + 6))] == ["float_stuck_open"]
    assert float_stuck.find(made.history(STUCK_H + 2)) == []


def test_a_vessel_of_two_days_has_too_little_past_to_call_a_pause_stuck(sound_snap):
    made = sound_snap(days=2, last_dump_h=1.0, without=["interface_level"])
    assert float_stuck.find(made.history()) == []


def test_a_level_above_the_opening_level_while_the_meter_goes_on_is_a_dump_that_cannot_keep_up(sound_snap):
    made = _risen(sound_snap(last_dump_h=STUCK_H), STUCK_H)
    made.signal("water_rate", np.where(made.t < STUCK_H, 500.0, 300.0), 10.0)
    (found,) = float_stuck.find(made.history(STUCK_H + 7))
    assert (found.kind, found.priority) == ("dump_restricted", "high")


def test_a_level_above_the_opening_level_with_the_meter_still_is_a_stuck_float(sound_snap):
    made = _risen(sound_snap(last_dump_h=STUCK_H), STUCK_H)
    made.signal("water_rate", np.where(made.t < STUCK_H, 500.0, 0.0), 10.0)
    (found,) = float_stuck.find(made.history(STUCK_H + 7))
    assert found.kind == "float_stuck_closed"
