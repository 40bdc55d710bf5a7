"""What faults cost: numbers planted in a vessel's past, the cost worked by hand beside each."""

from dataclasses import replace

import numpy as np
import pytest

from nightgauge.detect import carryover, dump_valve, float_stuck, pressure_level, size
from nightgauge.detect.costs import liquid_held_back
from nightgauge.field.settings import Well

FROM_H = 20 * 24


def _by_name(effect):
    return {term.name: term.value for term in effect.terms}


def test_a_stuck_float_costs_at_most_the_water_of_the_week_before(sound_snap):
    made = sound_snap(last_dump_h=FROM_H)
    risen = np.where(made.t >= FROM_H + 1, 1.45, 1.10)
    made.signal("interface_level", risen, 0.01)
    (found,) = float_stuck.find(made.history(FROM_H + 9))
    assert found.effect.is_upper_bound
    assert found.effect.value == pytest.approx(500.0)
    assert _by_name(found.effect) == {"water coming in, median of the week before": pytest.approx(500.0)}


def test_a_leak_costs_what_leaves_beyond_what_always_seemed_to(sound_snap):
    made = sound_snap().signal("water_total", 0.0, net_change=500.0 / 24)
    made.hours(leak_m3=np.where(made.t >= FROM_H, 4.0, 0.05), shut_s=3300.0)
    (found,) = dump_valve.find(made.history(FROM_H + 36))
    now, before = (term.value for term in found.effect.terms)
    # 4 m3 and 0.05 m3 in 3300 s, as a day: 104.7 and 1.3.
    assert (now, before) == (pytest.approx(104.727, abs=0.01), pytest.approx(1.309, abs=0.01))
    assert found.effect.value == pytest.approx(now - before)
    assert not found.effect.is_upper_bound


def test_a_vessel_too_small_costs_the_load_beyond_what_it_holds_long_enough(past):
    made = past(days=28).hours(dumps=1.0)
    made.day(water_short_h=np.where(np.arange(28.0) >= 20, 6.0, 0.5), inflow_h=24.0, water_load_m3_per_day=800.0,
             water_retention_min=6.0, water_required_min=8.0)  # fmt: skip
    (found,) = size.find(made.history())
    assert [term.value for term in found.effect.terms] == [pytest.approx(n) for n in (800.0, 6.0, 8.0)]
    # 800 x (1 - 6 / 8).
    assert found.effect.value == pytest.approx(200.0)


def test_back_pressure_costs_the_sum_of_the_productivity_indices_times_the_rise(past):
    history = past().history()
    wells = (Well("W1", "V1", None, 0.2), Well("W2", "V1", None, 0.3), Well("W3", "other", None, 9.9), Well("W4", "V1"))
    effect = liquid_held_back(replace(history, field=replace(history.field, wells=wells)), 20.0)
    # (0.2 + 0.3) m3/day/kPa x 20 kPa.
    assert (effect.value, effect.is_upper_bound) == (pytest.approx(10.0), True)
    assert list(_by_name(effect).values()) == [0.2, 0.3, 20.0]
    assert liquid_held_back(history, 20.0) is None


def _wet_oil(past, **more):
    made = past(days=28)
    cut = np.where(made.t >= FROM_H, 0.15, 0.02) + 0.002 * np.sin(made.t)
    return made.hours(dumps=1.0, water_in_oil_fraction=cut, water_load_m3_per_day=500.0, **more)


def test_water_in_the_oil_costs_the_rise_of_the_cut_times_the_stream(past):
    (found,) = carryover.find(_wet_oil(past, oil_load_m3_per_day=100.0).history(FROM_H + 48))
    # (0.15 - 0.02) x 100; the cut wanders by 0.002.
    assert found.effect.value == pytest.approx(13.0, abs=0.3)
    cut, usual, stream = (term.value for term in found.effect.terms)
    assert found.effect.value == pytest.approx((cut - usual) * stream)


def test_water_in_an_oil_stream_that_is_not_metered_has_no_cost(past):
    (found,) = carryover.find(_wet_oil(past).history(FROM_H + 48))
    assert found.effect is None


@pytest.mark.parametrize(("gravity", "has_cost"), [(35.0, True), (None, False)])
def test_oil_in_the_water_costs_its_mass_over_the_density_of_the_oil(past, gravity, has_cost):
    made = past(days=28)
    made.vessel = replace(made.vessel, oil_gravity_degapi=gravity)
    content = np.where(made.t >= FROM_H, 900.0, 100.0) + 5.0 * np.sin(made.t)
    made.hours(dumps=1.0, oil_in_water_mg_l=content, water_load_m3_per_day=500.0)
    (found,) = carryover.find(made.history(FROM_H + 48))
    assert (found.effect is not None) == has_cost
    if has_cost:
        # 800 g/m3 x 500 m3/day = 400 kg/day; 35 degAPI is 141.5 / 166.5 = 0.84985 of 999.0 kg/m3: 849.0 kg/m3.
        assert found.effect.value == pytest.approx(400.0 / 849.0, rel=0.02)


@pytest.mark.parametrize(("since", "cost"), [(6000.0, 4000.0), (9500.0, None)])
def test_gas_that_goes_another_way_costs_what_the_meter_misses(sound_snap, since, cost):
    made = sound_snap()
    made.signal("vessel_pressure", np.where(made.t >= FROM_H, 200.0, 314.0), 4.0)
    made.signal("gas_rate", np.where(made.t >= FROM_H, since, 10000.0))
    late = np.asarray(made.cycles["opened"]) >= FROM_H
    made.cycles["pressure_sag_kpa"] = np.where(late, 90.0, 6.0)
    by_kind = {one.kind: one.effect for one in pressure_level.find(made.history(FROM_H + 12))}
    assert by_kind.keys() == {"pressure_not_held", "gas_in_liquid"}
    for effect in by_kind.values():
        assert (None if effect is None else effect.value) == (None if cost is None else pytest.approx(cost, rel=0.1))


def test_a_fault_that_is_over_costs_nothing(past):
    made = _wet_oil(past, oil_load_m3_per_day=100.0)
    made.hours(water_in_oil_fraction=np.where((made.t >= FROM_H) & (made.t < FROM_H + 72), 0.15, 0.02)
               + 0.002 * np.sin(made.t))  # fmt: skip
    (found,) = carryover.find(made.history(FROM_H + 120))
    assert found.ended is not None
    assert found.effect is None
