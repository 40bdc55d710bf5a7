"""Leaks and restrictions of throttling dumps, from what leaves against what the travel passes."""

import numpy as np
import pytest

from nightgauge.detect import throttling_flow

FROM_H = 24 * 18


def _kinds(made, hours):
    return [c.kind for c in throttling_flow.find(made.history(FROM_H + hours))]


def test_water_that_leaves_beyond_what_the_travel_passes_is_a_leak(sound_throttling):
    made = sound_throttling()
    share = np.clip((made.t - FROM_H) / 100.0, 0.0, 0.6)
    made.signal("water_dump_position", 0.4 * (1.0 - share) + made.noise(0.01), 0.02)
    (found,) = throttling_flow.find(made.history(FROM_H + 80))
    assert (found.kind, found.priority) == ("dump_leaking", "medium")


def test_a_valve_that_has_to_open_twice_as_far_for_its_water_is_restricted(sound_throttling):
    made = sound_throttling()
    share = np.clip((made.t - FROM_H) / 100.0, 0.0, 1.0)
    made.signal("water_dump_position", 0.4 * (1.0 + share) + made.noise(0.01), 0.02)
    assert _kinds(made, 200) == ["dump_restricted"]


@pytest.mark.parametrize("power", [0.5, 1.0, 2.5])
def test_more_water_through_a_sound_valve_of_any_trim_is_neither(sound_throttling, power):
    made = sound_throttling()
    more = 1.0 + 0.4 * np.clip((made.t - FROM_H) / 50.0, 0.0, 1.0)
    made.signal("water_rate", 500.0 * more + made.noise(5.0), 10.0)
    made.signal("water_dump_position", 0.4 * more ** (1.0 / power) + made.noise(0.01), 0.02)
    assert _kinds(made, 200) == []


def test_less_flow_for_less_pressure_is_no_restriction(sound_throttling):
    made = sound_throttling()
    share = np.clip((made.t - FROM_H) / 50.0, 0.0, 1.0)
    made.signal("vessel_pressure", 314.0 * (1.0 - 0.5 * share) + made.noise(1.0), 2.0)
    made.signal("water_dump_position", 0.4 / np.sqrt(1.0 - 0.5 * share) + made.noise(0.01), 0.02)
    assert _kinds(made, 200) == []
