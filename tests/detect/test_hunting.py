import numpy as np

from nightgauge.detect import hunting

FROM_H = 20 * 24


def _swinging(made, name, before, after, regularity=0.9, period_s=600.0):
    late = made.t >= FROM_H
    size = np.where(late, after, before)
    columns = made.signals[name]
    columns |= {
        "deviation": size / np.sqrt(8.0), "swing": size, "swing_period_s": period_s,
        "swing_regularity": np.where(late, regularity, 0.2),
        "p10": columns["mean"] - 0.4 * size, "p90": columns["mean"] + 0.4 * size,
    }  # fmt: skip
    return made


def test_even_swings_of_level_and_travel_are_a_hunting_dump(sound_throttling):
    made = _swinging(sound_throttling(), "interface_level", 0.004, 0.04)
    _swinging(made, "water_dump_position", 0.01, 0.3)
    (found,) = hunting.find(made.history(FROM_H + 26))
    assert (found.kind, found.element) == ("dump_hunting", "water_dump")


def test_uneven_swings_are_slugs(sound_throttling):
    made = _swinging(sound_throttling(), "interface_level", 0.004, 0.04, regularity=0.3)
    assert hunting.find(made.history(FROM_H + 26)) == []


def test_even_swings_of_pressure_are_a_hunting_valve(sound_snap):
    made = _swinging(sound_snap(), "vessel_pressure", 3.0, 25.0)
    (found,) = hunting.find(made.history(FROM_H + 26))
    assert (found.kind, found.element) == ("back_pressure_hunting", "oil_valve")


def test_swings_that_dumps_always_made_are_no_hunting(sound_snap):
    made = _swinging(sound_snap(), "vessel_pressure", 20.0, 22.0, period_s=2400.0)
    assert hunting.find(made.history()) == []


def test_a_pressure_that_swings_with_the_interface_of_a_throttling_dump_is_the_dumps(sound_throttling):
    made = _swinging(sound_throttling(), "interface_level", 0.009, 0.018)
    _swinging(made, "vessel_pressure", 3.0, 25.0)
    assert [c.kind for c in hunting.find(made.history(FROM_H + 50))] == ["dump_hunting"]


def test_a_pressure_that_swings_over_a_still_interface_is_the_valves(sound_throttling):
    made = _swinging(sound_throttling(), "vessel_pressure", 3.0, 25.0)
    assert [c.kind for c in hunting.find(made.history(FROM_H + 50))] == ["back_pressure_hunting"]
