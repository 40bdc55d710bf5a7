import numpy as np

from nightgauge.detect import dump_trips

INCH = 0.0254


def _late(made, from_day=20):
    return np.asarray(made.cycles["opened"]) > 24.0 * from_day


def test_trips_that_come_late_and_uneven_are_a_sticking_float(sound_snap):
    made = sound_snap()
    late, n = _late(made), len(made.cycles["opened"])
    made.cycles["opening_level_m"] = made.cycles["opening_level_m"] + late * made.rng.exponential(1.0 * INCH, n)
    made.cycles["closing_level_m"] = made.cycles["closing_level_m"] - late * made.rng.exponential(1.0 * INCH, n)
    (found,) = dump_trips.find(made.history())
    assert (found.kind, found.priority) == ("float_sticking", "medium")


def test_a_gap_widened_at_once_without_scatter_is_a_hand(sound_snap):
    made = sound_snap()
    made.cycles["opening_level_m"] = made.cycles["opening_level_m"] + _late(made) * 2.0 * INCH
    assert dump_trips.find(made.history()) == []


def test_many_small_dumps_are_short_cycling(sound_snap):
    made = sound_snap()
    early = made.every(2.0 / 3.0, 24 * 20.0)
    opened = np.concatenate([early, np.arange(24 * 20.0, made.n, 0.2)])
    small = opened >= 24 * 20.0
    made.dumps(opened, drain_s=np.where(small, 50.0, 180.0), opening=np.where(small, 1.115, 1.15),
               closing=np.where(small, 1.085, 1.05))  # fmt: skip
    late = made.t >= 24 * 20
    made.signal("interface_level", 1.10, np.where(late, 0.015, 0.05))
    (found,) = dump_trips.find(made.history())
    assert found.kind == "dump_short_cycling"


def test_many_dumps_of_the_old_size_are_more_inflow(sound_snap):
    made = sound_snap()
    opened = np.concatenate([made.every(2.0 / 3.0, 24 * 20.0), np.arange(24 * 20.0, made.n, 0.2)])
    made.dumps(opened)
    assert dump_trips.find(made.history()) == []


def test_a_meter_that_falls_apart_while_the_level_saws_on_is_no_short_cycling(sound_snap):
    made = sound_snap()
    opened = np.concatenate([made.every(2.0 / 3.0, 24 * 20.0), np.arange(24 * 20.0, made.n, 0.1)])
    small = opened >= 24 * 20.0
    made.dumps(opened, opening=np.where(small, 1.101, 1.15), closing=np.where(small, 1.099, 1.05), evidence="meter")
    assert dump_trips.find(made.history()) == []


def test_two_days_of_dumps_are_too_little_past(sound_snap):
    made = sound_snap(days=2)
    made.cycles["opening_level_m"] = made.cycles["opening_level_m"] + _late(made, 1) * 3.0 * INCH
    assert dump_trips.find(made.history()) == []
