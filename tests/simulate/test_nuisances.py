from dataclasses import replace

import numpy as np

from nightgauge.simulate.nuisances import annoy
from nightgauge.simulate.plan import DAY_S, Fault, Interval


def annoyed(vessel, seeds):
    return [annoy(vessel, 42, np.random.default_rng(seed)) for seed in seeds]


def test_every_nuisance_is_met_in_a_fleet_and_none_in_all_of_it(make_vessel):
    fleet = annoyed(make_vessel(), range(60))
    for has in (
        [bool(v.shut_in) for v in fleet],
        [bool(v.hand_dumps) for v in fleet],
        [any(w.off for w in v.wells) for v in fleet],
        [any(w.trend_per_day for w in v.wells) for v in fleet],
        [any(i.resets_s for i in v.instruments) for v in fleet],
        [any(i.back_pulses_s for i in v.instruments) for v in fleet],
    ):
        assert 0 < sum(has) <= len(fleet)
    assert all(any(i.bad for i in v.instruments) for v in fleet)


def test_wells_flow_while_a_passing_fault_stands(make_vessel):
    fault = Fault("float_stuck_open", 5 * DAY_S, 35 * DAY_S)
    for vessel in annoyed(make_vessel(faults=[fault]), range(30)):
        stops = [*vessel.shut_in, *(s for w in vessel.wells for s in w.off)]
        assert all(s.end_s <= fault.start_s or s.start_s >= fault.end_s for s in stops)


def test_when_a_well_is_off_by_plan_stays(make_vessel):
    vessel = make_vessel()
    turn = Interval(DAY_S, 2 * DAY_S)
    planned = replace(vessel, wells=tuple(replace(w, off=(turn,)) for w in vessel.wells))
    assert all(w.off[0] == turn for v in annoyed(planned, range(5)) for w in v.wells)
