import numpy as np
import pytest

from nightgauge.detect import margin

PSI = 6.894757


def _levels(past, oil, gas):
    return past(days=30).day(oil_hold_kpag=oil, gas_clip_kpag=gas).hours(dumps=1.0)


def test_a_clip_that_comes_down_to_the_oil_hold_has_lost_the_margin(past):
    days = np.arange(30.0)
    (found,) = margin.find(_levels(past, 310.0, np.where(days < 20, 338.0, 313.0)).history())
    assert (found.kind, found.element, found.ended) == ("back_pressure_margin_lost", "gas_valve", None)
    assert found.evidence[0].value == pytest.approx(3.0)


def test_an_oil_hold_that_comes_up_is_the_oil_valves_and_told_there(past):
    days = np.arange(30.0)
    assert margin.find(_levels(past, np.where(days < 20, 310.0, 336.0), 338.0).history()) == []


def test_a_margin_that_was_always_small_is_not_lost(past):
    assert margin.find(_levels(past, 310.0, 314.0).history()) == []


def test_much_gas_at_a_pressure_at_which_the_valve_was_shut_is_a_lost_margin(past):
    made = past(days=30)
    late = made.t > 24 * 20
    made.signal("vessel_pressure", np.where(late, 312.0, 314.0) + made.noise(0.5), 2.0)
    made.signal("gas_rate", np.where(late, 2000.0, 40.0) + made.noise(3.0), 5.0)
    (found,) = margin.find(made.history())
    assert found.kind == "back_pressure_margin_lost"
    assert abs(found.onset.timestamp() - made.history().start_s - 20 * 86400) < 86400


def test_much_gas_at_the_gas_valves_own_pressure_is_more_gas(past):
    made = past(days=30)
    late = made.t > 24 * 20
    made.signal("vessel_pressure", np.where(late, 339.0, 314.0) + made.noise(0.5), 2.0)
    made.signal("gas_rate", np.where(late, 2000.0, 40.0) + made.noise(3.0), 5.0)
    assert margin.find(made.history()) == []
