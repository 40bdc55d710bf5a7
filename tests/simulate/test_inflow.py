from dataclasses import replace

import numpy as np
import pytest

from nightgauge.simulate.design import BARREL, Design, wells
from nightgauge.simulate.inflow import inflow
from nightgauge.simulate.plan import DAY_S, HOUR_S, Fault, Interval, Slugs


def shares(plan, vessel=0):
    """Water inflow as a share of 2500 bbl/day, minute by minute."""
    return inflow(plan).water_m3_per_s[:, vessel] * DAY_S / (2500.0 * BARREL)


@pytest.fixture
def steady(make_vessel):
    def make(name="A", **changes):
        made = make_vessel(Design(name, water_bpd=2500.0))
        return replace(made, wells=tuple(replace(w, **changes) for w in made.wells))

    return make


def test_a_steady_well_makes_its_rate(steady, make_plan):
    np.testing.assert_allclose(shares(make_plan(steady())), 1.0)


def test_a_well_that_is_off_makes_nothing_and_comes_back_over_ten_minutes(steady, make_plan):
    share = shares(make_plan(steady(off=(Interval(HOUR_S, 2 * HOUR_S),))))
    assert not share[60:120].any()
    assert share[59] == 1.0
    assert share[125] == pytest.approx(0.5)
    assert share[131] == 1.0


def test_shutting_the_vessel_in_stops_every_well(make_vessel, make_plan):
    vessel = make_vessel(wells=wells(Design("A"), (1.0, 2.0, 0.5), "W"), shut_in=(Interval(HOUR_S, 3 * HOUR_S),))
    flow = inflow(make_plan(vessel))
    for part in (flow.water_m3_per_s, flow.oil_m3_per_s, flow.gas_m3_per_s):
        assert not part[60:180].any()
        assert part[:60].all()


def test_slugs_keep_the_mean_and_move_gas_against_liquid(steady, make_plan):
    plan = make_plan(steady(slugs=Slugs(0.4, 1800.0, 0.1)), days=10)
    flow = inflow(plan)
    water, gas = flow.water_m3_per_s[:, 0], flow.gas_m3_per_s[:, 0]
    assert shares(plan).mean() == pytest.approx(1.0, abs=0.02)
    assert water.std() / water.mean() > 0.3
    assert np.corrcoef(water, gas)[0, 1] < -0.9


def test_a_well_on_test_flows_to_the_test_vessel_and_not_to_its_own(steady, make_plan):
    turn = Interval(6 * HOUR_S, 12 * HOUR_S)
    home = steady("A", on_test=(turn,), test_vessel="T")
    plan = make_plan(home, replace(steady("T"), wells=()))
    own, test = shares(plan, 0), shares(plan, 1)
    np.testing.assert_allclose(own + test, 1.0)
    assert not own[360:720].any()
    assert not test[:360].any()


def test_the_trend_is_a_share_of_the_first_day_per_day(steady, make_plan):
    share = shares(make_plan(steady(trend_per_day=-0.01), days=11))
    assert share[10 * 1440] == pytest.approx(0.9)


def test_a_declining_well_loses_its_share_of_everything_over_the_ramp(steady, make_plan):
    fault = Fault("well_test_decline", 6 * HOUR_S, size=0.4, ramp_s=12 * HOUR_S, part="A-W1")
    tester = replace(steady("T"), wells=(), faults=(fault,))
    flow = inflow(make_plan(steady("A"), tester))
    for part in (flow.water_m3_per_s, flow.oil_m3_per_s):
        left = part[:, 0] / part[0, 0]
        np.testing.assert_allclose(left[[0, 359, 720, 1080, 1439]], [1.0, 1.0, 0.8, 0.6, 0.6], atol=1e-3)
