import numpy as np
import pytest

from nightgauge.simulate.curves import curves, grown
from nightgauge.simulate.plan import DAY_S, HOUR_S, Fault, Interval


def test_a_drift_grows_from_zero_to_its_size_over_its_ramp():
    fault = Fault("interface_setpoint_drift", DAY_S, size=0.1, ramp_s=10 * DAY_S)
    share = grown(fault, np.array([0.0, DAY_S, 6 * DAY_S, 11 * DAY_S, 30 * DAY_S]))
    np.testing.assert_allclose(share, [0.0, 0.0, 0.5, 1.0, 1.0])


def test_a_fault_that_ends_leaves_nothing_behind():
    fault = Fault("float_stuck_open", HOUR_S, 2 * HOUR_S)
    np.testing.assert_array_equal(grown(fault, np.array([0.0, HOUR_S, 1.9 * HOUR_S, 2 * HOUR_S])), [0, 1, 1, 0])


@pytest.mark.parametrize(
    ("fault", "parameter", "change"),
    [
        (Fault("interface_setpoint_step", 0.0, size=0.05), "opens_at_m", 0.05),
        (Fault("interface_setpoint_step", 0.0, size=0.05), "closes_at_m", 0.05),
        (Fault("dump_leaking", 0.0, size=2.0), "leak_cv", 2.0),
        (Fault("dump_restricted", 0.0, size=0.4), "cv_share", -0.4),
        (Fault("oil_valve_setpoint_step", 0.0, size=-20.0), "oil_holds_kpag", -20.0),
        (Fault("back_pressure_margin_lost", 0.0, size=-20.0), "gas_holds_kpag", -20.0),
        (Fault("float_sticking", 0.0, size=0.04), "stick_m", 0.04),
        (Fault("water_in_oil", 0.0, size=0.1), "extra_cut", 0.1),
        (Fault("liquid_in_gas", 0.0, size=4.0), "mist", 4.0 * 3e-6),
        (Fault("pressure_not_held", 0.0, size=0.5, valve="gas"), "gas_floor", 0.5),
        (Fault("float_stuck_closed", 0.0), "jam_shut", 1.0),
    ],
)
def test_each_kind_changes_its_own_part_of_the_plant(make_vessel, make_plan, fault, parameter, change):
    sound = curves(make_plan(make_vessel()), 0, 2)
    faulty = curves(make_plan(make_vessel(faults=[fault])), 0, 2)
    np.testing.assert_allclose(faulty[parameter] - sound[parameter], change)


def test_short_cycling_takes_its_share_of_the_gap_evenly(make_vessel, make_plan):
    vessel = make_vessel(faults=[Fault("dump_short_cycling", 0.0, size=0.8)])
    faulty = curves(make_plan(vessel), 0, 1)
    gap = vessel.physics.opens_at_m - vessel.physics.closes_at_m
    assert faulty["opens_at_m"][0, 0] - faulty["closes_at_m"][0, 0] == pytest.approx(0.2 * gap)
    middle = 0.5 * (vessel.physics.opens_at_m + vessel.physics.closes_at_m)
    assert 0.5 * (faulty["opens_at_m"][0, 0] + faulty["closes_at_m"][0, 0]) == pytest.approx(middle)


def test_a_hand_on_the_dump_is_no_fault_but_opens_it(make_vessel, make_plan):
    vessel = make_vessel(hand_dumps=(Interval(120.0, 240.0),))
    assert curves(make_plan(vessel), 0, 5)["hand_open"][:, 0].tolist() == [0, 0, 1, 1, 0]


def test_a_stretch_of_curves_is_the_same_as_that_part_of_the_whole(make_vessel, make_plan):
    plan = make_plan(make_vessel(faults=[Fault("dump_leaking", HOUR_S, size=3.0, ramp_s=5 * HOUR_S)]))
    whole, part = curves(plan, 0, 600), curves(plan, 200, 100)
    np.testing.assert_array_equal(part["leak_cv"], whole["leak_cv"][200:300])
