from dataclasses import replace

import numpy as np
import pytest

from nightgauge.detect import held_pressure
from nightgauge.detect.load import all_loads, without_load
from nightgauge.detect.past import first_weeks
from nightgauge.field.settings import Well

PSI = 6.894757


def _ramp(t, from_day, psi_per_day):
    return np.clip(t / 24 - from_day, 0, None) * psi_per_day * PSI


def _vessel(past, move=0.0, header_moves=True, header=True, days=42):
    made = past(days=days)
    pressure = 310.0 + move + made.noise(1.0)
    made.signal("vessel_pressure", pressure, 4.0).hours(oil_hold_kpag=pressure)
    if header:
        made.signal("inlet_pressure", 335.0 + (move if header_moves else 0.0) + made.noise(1.0), 4.0)
    return made


def test_a_sound_valve_has_no_finding(past):
    assert held_pressure.find(_vessel(past).history()) == []


@pytest.mark.parametrize("psi_per_day", [0.12, 0.25, 0.45, -0.25])
def test_a_drift_is_told_before_one_and_a_half_psi(past, psi_per_day):
    made = past(days=42)
    made = _vessel(past, _ramp(made.t, 20, psi_per_day))
    told_at = next(d for d in range(20, 43) if held_pressure.find(made.history(24.0 * d)))
    assert (told_at - 20) * abs(psi_per_day) < 1.5
    (found,) = held_pressure.find(made.history())
    assert (found.kind, found.element, found.priority) == ("oil_valve_setpoint_drift", "oil_valve", "medium")


def test_when_the_header_does_not_move_it_is_the_transmitter(past):
    move = _ramp(past(days=42).t, 20, 0.25)
    (found,) = held_pressure.find(_vessel(past, move, header_moves=False).history())
    assert (found.kind, found.element) == ("instrument_drift", "instrument:vessel_pressure")


def test_without_a_header_the_transmitter_is_named_as_the_other_explanation(past):
    move = _ramp(past(days=42).t, 20, 0.25)
    (found,) = held_pressure.find(_vessel(past, move, header=False).history())
    assert found.kind == "oil_valve_setpoint_drift"
    assert "gauge" in next(i.why for i in found.instead if i.kind == "instrument_drift")


def test_a_step_is_told_low_and_learned_after_seven_days(past):
    move = np.where(past(days=42).t > 24 * 20, 2.5 * PSI, 0.0)
    (standing,) = held_pressure.find(_vessel(past, move).history(24.0 * 24))
    assert (standing.kind, standing.priority, standing.ended) == ("oil_valve_setpoint_step", "low", None)
    (learned,) = held_pressure.find(_vessel(past, move).history())
    assert learned.settled
    assert "taken as the new setting" in learned.summary


def test_a_day_without_flow_in_the_line_is_no_step(past):
    made = past(days=42)
    off = (made.t > 24 * 20 + 6) & (made.t < 24 * 22)
    pressure = np.where(off, 250.0, 310.0) + made.noise(1.0)
    made.signal("vessel_pressure", pressure, np.where(off, 0.3, 4.0)).hours(oil_hold_kpag=pressure)
    made.signal("inlet_pressure", np.where(off, 251.0, 335.0) + made.noise(0.3), np.where(off, 0.3, 4.0))
    assert held_pressure.find(made.history()) == []


def test_the_droop_of_a_busier_week_is_taken_out(past):
    made = past(days=42)
    load = 1000.0 * (1.0 + 0.15 * np.sin(made.t / 4.0) + np.where(made.t > 24 * 25, 0.5, 0.0))
    pressure = 300.0 + 0.03 * load + made.noise(0.5)
    made.signal("vessel_pressure", pressure, 4.0).signal("oil_rate", load, 20.0)
    history = made.history()
    level = without_load(history, pressure, first_weeks(history, np.isfinite(pressure)), all_loads(history))
    # 0.03 kPa per m3/day times half of 1000 m3/day: 15 kPa of droop, planted above, have to go.
    assert abs(np.median(level[24 * 26 :]) - np.median(level[: 24 * 20])) < 1.0
    assert held_pressure.find(history) == []


def test_a_rise_costs_at_most_the_productivity_of_the_wells(past):
    move = _ramp(past(days=42).t, 20, 0.25)
    history = _vessel(past, move).history()
    wells = (Well("W1", "V1", productivity_index_m3_per_day_per_kpa=0.2), Well("W2", "other", None, 9.9))
    history = replace(history, field=replace(history.field, wells=wells))
    (found,) = held_pressure.find(history)
    # 21.9 days at 0.25 psi: the last day's median lies half a day back.
    assert found.effect is not None
    assert found.effect.value == pytest.approx(0.2 * 21.5 * 0.25 * PSI, rel=0.05)
