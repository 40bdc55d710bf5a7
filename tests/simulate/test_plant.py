"""The plant against balances, hand calculations and the valve equation.

All vessels of this file run side by side once, for half a day; each test looks at its own.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from nightgauge.physics.geometry import shell
from nightgauge.physics.valve import flow_m3_per_day, liquid_head_kpa
from nightgauge.simulate.curves import curves
from nightgauge.simulate.design import BARREL, INCH, PSI, Design, wells
from nightgauge.simulate.inflow import inflow
from nightgauge.simulate.plan import DAY_S, HOUR_S, Fault, Interval, Slugs
from nightgauge.simulate.plant import Plant
from nightgauge.simulate.vessels import statics
from nightgauge.units import STANDARD_ATMOSPHERE_KPA

HOURS = 12
SNAP = Design("snap", gap_in=6.0, water_bpd=2500.0)
THROTTLING = replace(SNAP, action="throttling", gap_in=5.0, dump_factor=3.0)
MIXED = {"gas_mcfd": 200.0, "regime": "both", "dump_factor": 3.0}
GASSY = replace(THROTTLING, gas_mcfd=150.0, regime="gas")
EXACT = {"trip_scatter_m": 0.0, "inflow_per_kpa": 0.0, "cut_floor": 0.0, "cut_short": 0.0}

BALANCED = {
    f"{action} {fault.kind if fault else 'sound'}": {
        "design": replace(SNAP, action=action, **MIXED),
        "faults": [fault] if fault else [],
    }
    for action in ("snap", "throttling")
    for fault in (
        None,
        Fault("float_stuck_closed", HOUR_S, 8 * HOUR_S),
        Fault("float_stuck_open", HOUR_S, 8 * HOUR_S),
        Fault("pressure_not_held", HOUR_S, size=0.4, valve="gas"),
        Fault("dump_leaking", HOUR_S, size=5.0, ramp_s=HOUR_S),
    )
}
OTHERS = {
    "snap": {"design": SNAP},
    "exact": {"design": SNAP, "changes": EXACT},
    "throttling": {"design": THROTTLING, "changes": {"slack": 0.0, "inflow_per_kpa": 0.0}},
    "stuck closed": {"design": SNAP, "faults": [Fault("float_stuck_closed", HOUR_S)]},
    "stuck open": {"design": SNAP, "faults": [Fault("float_stuck_open", HOUR_S)]},
    "shut in": {"design": SNAP, "shut_in": (Interval(4 * HOUR_S, 24 * HOUR_S),), "changes": {"seat_leak": 0.002}},
    "oil": {"design": replace(GASSY, regime="oil"), "changes": {"cut_floor": 0.0}},
    "gas": {"design": GASSY, "changes": {"cut_floor": 0.0}},
    "stepped": {
        "design": THROTTLING,
        "faults": [Fault("oil_valve_setpoint_step", 6 * HOUR_S, size=-3.0 * PSI)],
    },
    "little oil": {"design": replace(SNAP, oil_bpd=200.0)},
    "much oil": {"design": replace(SNAP, oil_bpd=6000.0)},
    "slack": {"design": THROTTLING, "changes": {"slack": 0.04}, "shut_in": (Interval(4 * HOUR_S, 24 * HOUR_S),)},
    "sticking float": {
        "design": THROTTLING,
        "faults": [Fault("dump_hunting", HOUR_S, size=0.6)],
        # Slugs set it off: a float that sticks where inflow and dump balance would stay there.
        "wells": wells(THROTTLING, (1.0,), "H", Slugs(0.1)),
    },
    "sticking spring": {
        "design": GASSY,
        "faults": [Fault("back_pressure_hunting", 0.0, size=1.5, valve="gas")],
    },
}


class Run:
    """One vessel of a run: its plan and its trace."""

    def __init__(self, vessel, trace, place):
        self.vessel, self.trace, self.place = vessel, trace, place

    def __getitem__(self, name):
        return self.trace[name][:, self.place]

    def total(self, *names):
        return sum(float(self[name].sum()) for name in names) * self.trace.step_s

    def openings(self):
        is_open = self["dump_open"] > 0.5
        return np.flatnonzero(is_open[1:] & ~is_open[:-1])

    def inside(self):
        s = self.vessel.settings
        return shell(s.inside_diameter_m, s.length_m, s.heads, s.orientation)


def simulate(plan, hours=HOURS):
    plant = Plant(statics(plan.vessels), plan.step_s, plan.rng(2))
    trace = plant.run(inflow(plan), curves(plan, 0, hours * 60), 0, hours * 60)
    return [Run(vessel, trace, place) for place, vessel in enumerate(plan.vessels)]


@pytest.fixture(scope="module")
def runs(make_vessel, make_plan):
    asked = BALANCED | OTHERS
    vessels = [make_vessel(**{**how, "design": replace(how["design"], id=name)}) for name, how in asked.items()]
    return dict(zip(asked, simulate(make_plan(*vessels)), strict=True))


@pytest.mark.parametrize("name", BALANCED)
def test_every_barrel_and_all_gas_that_comes_in_leaves_or_stays(runs, name):
    r = runs[name]
    s = statics((r.vessel,))
    inside = r.inside()
    water = inside.volume_m3(r["water_level_m"])
    oil = inside.volume_m3(r["liquid_level_m"]) - water
    stays_water, stays_oil = float(water[-1] - s.start_water_m3[0]), float(oil[-1] - s.start_oil_m3[0])
    # Of about 200 m3. Levels come from a table of straight lines: volumes found back from them are right to 2e-5 m3.
    water_out = r.total("dump_water", "oil_outlet_water", "gas_water")
    assert r.total("water_in") == pytest.approx(water_out + stays_water, abs=2e-5)
    oil_out = r.total("dump_oil", "oil_outlet_oil", "gas_oil")
    assert r.total("oil_in") == pytest.approx(oil_out + stays_oil, abs=2e-5)
    absolute = r["pressure_kpag"] + r.vessel.physics.atmosphere_kpa
    first = s.oil_holds_kpag[0] + r.vessel.physics.atmosphere_kpa
    before = np.concatenate(([first], absolute[:-1]))
    at_pressure = float(((r["dump_gas"] + r["oil_outlet_gas"]) * before).sum()) * r.trace.step_s
    pack = r.vessel.physics.line_pack_m3
    space = inside.total_volume_m3 - water[-1] - oil[-1] + pack
    space_before = inside.total_volume_m3 - s.start_water_m3[0] - s.start_oil_m3[0] + pack
    stays = absolute[-1] * space - first * space_before
    gas_out = r.total("gas_out") + (at_pressure + stays) / STANDARD_ATMOSPHERE_KPA
    assert r.total("gas_in") == pytest.approx(gas_out, rel=1e-6)


def test_flow_through_the_open_dump_is_the_valve_equation(runs):
    r = runs["snap"]
    fully = np.flatnonzero(r["dump_open"] >= 1.0)
    before = fully - 1  # flow of a step follows from the state at its start
    gravity_w = r.vessel.settings.water_specific_gravity
    gravity_o = 141.5 / (131.5 + r.vessel.settings.oil_gravity_degapi)  # definition of the API degree
    water, liquid = r["water_level_m"][before], r["liquid_level_m"][before]
    head = liquid_head_kpa(water, gravity_w) + liquid_head_kpa(liquid - water, gravity_o)
    drop = r["pressure_kpag"][before] + head - r["water_downstream_kpag"][fully]
    expected = flow_m3_per_day(r.vessel.physics.cv, drop, gravity_w)
    # Heads in `physics` use the density of water at 60 degF, 0.1 % below 1000 kg/m3.
    np.testing.assert_allclose(r["dump_water"][fully] * DAY_S, expected, rtol=1e-3)


def test_fill_time_is_the_gap_volume_over_the_inflow(runs):
    r = runs["exact"]
    step = r.trace.step_s
    p, inside = r.vessel.physics, r.inside()
    inflow_m3_per_s = 2500.0 * BARREL / DAY_S  # by hand: 2500 bbl/day, and nothing leaves while the dump is shut
    cycles = list(pairwise(r.openings()))
    bottom = float(np.mean([r["water_level_m"][a:b].min() for a, b in cycles]))
    filled = inside.volume_m3(p.opens_at_m) - inside.volume_m3(bottom)
    shut_s = [(b - a - np.count_nonzero(r["dump_open"][a:b])) * step for a, b in cycles]
    # The valve strokes for 6 s either way and the step is 5 s, of about 11 min.
    assert np.median(shut_s) == pytest.approx(filled / inflow_m3_per_s, abs=12.0)


def test_over_whole_cycles_what_comes_in_is_dumped(runs):
    r = runs["exact"]
    first = r.openings()
    whole = slice(first[0], first[-1])
    assert r["dump_water"][whole].sum() == pytest.approx(r["water_in"][whole].sum(), rel=2e-3)


def test_float_trips_at_its_mark(runs):
    r = runs["exact"]
    level, travel, mark = r["water_level_m"], r["dump_open"], r.vessel.physics.opens_at_m
    starts = np.flatnonzero((travel[1:] > 0.0) & (travel[:-1] == 0.0)) + 1
    rise = 2500.0 * BARREL / DAY_S * r.trace.step_s / r.inside().area_m2(mark)  # of one step
    assert np.all((level[starts - 1] >= mark) & (level[starts - 1] <= mark + 1.01 * rise))


def test_throttling_dump_settles_where_travel_passes_the_inflow(runs):
    r = runs["throttling"]
    last = slice(-720, None)
    level, p = r["water_level_m"][last], r.vessel.physics
    band = (level.mean() - p.closes_at_m) / (p.opens_at_m - p.closes_at_m)
    assert np.ptp(level) < 0.1 * INCH
    assert r["dump_open"][last].mean() == pytest.approx(band, abs=5e-3)
    assert r["dump_water"][last].mean() == pytest.approx(r["water_in"][last].mean(), rel=0.02)


def test_stuck_closed_floods_to_the_weir_and_the_water_leaves_with_the_oil(runs):
    r = runs["stuck closed"]
    last = slice(-2000, None)
    assert not r["dump_water"][last].any()
    assert r["water_level_m"][last].min() > r.vessel.settings.normal_oil_level_m - 2.0 * INCH
    assert r["oil_outlet_water"][last].mean() == pytest.approx(2500.0 * BARREL / DAY_S, rel=0.02)


def test_stuck_open_draws_the_vessel_down_and_blows_gas(runs):
    r = runs["stuck open"]
    last = slice(-2000, None)
    assert r["dump_open"][last].min() == 1.0
    assert r["water_level_m"][last].max() < r.vessel.physics.nozzle_m + 2.0 * INCH
    assert r["dump_gas"][last].sum() > 0.0
    assert r["pressure_kpag"][last].mean() < r.vessel.physics.oil_holds_kpag - 5.0 * PSI


def test_shut_in_vessel_stands_still_and_its_pressure_sags(runs):
    r = runs["shut in"]
    after = slice(round(4.2 * HOUR_S / r.trace.step_s), None)
    assert np.ptp(r["water_level_m"][after]) < 0.2 * INCH
    pressure = r["pressure_kpag"][after]
    assert 0.5 * PSI < pressure[0] - pressure[-1] < 20.0 * PSI


@pytest.mark.parametrize("valve", ["oil", "gas"])
def test_pressure_stands_on_the_spring_that_the_gas_calls_for(runs, valve):
    r = runs[valve]
    pressure, p = r["pressure_kpag"][-720:], r.vessel.physics
    holds, droop = getattr(p, f"{valve}_holds_kpag"), getattr(p, f"{valve}_droop_kpa")
    assert np.all((pressure > holds) & (pressure < holds + droop))


def test_held_pressure_moves_with_the_spring(runs):
    pressure = runs["stepped"]["pressure_kpag"]
    half = pressure.size // 2
    assert pressure[half - 720 : half].mean() - pressure[-720:].mean() == pytest.approx(3.0 * PSI, rel=0.05)


def test_cut_rises_when_retention_is_short(runs):
    little, much = (runs[name].trace.cut_by_retention[-1, runs[name].place] for name in ("little oil", "much oil"))
    assert much > little + 0.02


def test_lost_motion_does_not_keep_a_throttling_dump_from_shutting(runs):
    r = runs["slack"]
    assert r["dump_open"][-720:].max() < 1e-9  # strokes add up to rounding
    # The level stops where the float has fallen through its band and the slack.
    assert r["water_level_m"][-1] > r.vessel.physics.closes_at_m - 0.1 * 5.0 * INCH


def test_a_sticking_float_hunts_about_its_band_and_does_not_jam(runs):
    r = runs["sticking float"]
    last = slice(-4320, None)
    level, travel, p = r["water_level_m"][last], r["dump_open"][last], r.vessel.physics
    band = p.opens_at_m - p.closes_at_m
    assert 0.5 * band < np.ptp(level) < 2.0 * band
    assert np.ptp(travel) > 0.5
    # Position stands still until the error is large: between jumps it does not move at all.
    assert np.mean(np.diff(travel) == 0.0) > 0.8


def test_sticking_back_pressure_valve_swings_by_what_it_sticks(runs):
    r = runs["sticking spring"]
    # By hand: opens at 1.5 droops above its setting, shuts half a droop below it; late by 10 s either way.
    expected = (2.0 * 1.5 - 1.0) * r.vessel.physics.gas_droop_kpa
    assert expected <= np.ptp(r["pressure_kpag"][-2000:]) < 2.0 * expected


def test_the_step_does_not_decide_the_result(make_vessel, make_plan):
    vessel = make_vessel(SNAP, changes=EXACT)
    counts = [simulate(make_plan(vessel, step_s=step), hours=4)[0].openings().size for step in (2.0, 5.0)]
    assert counts[0] == pytest.approx(counts[1], abs=1)
