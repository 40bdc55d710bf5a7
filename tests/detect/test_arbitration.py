from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from nightgauge.detect.arbitration import CONSEQUENCES, arbitrate
from nightgauge.vocabulary.findings import Candidate, Evidence
from nightgauge.vocabulary.kinds import KINDS

DAY = datetime(2026, 5, 1, tzinfo=UTC)


def candidate(kind, element, from_day=0.0, to_day=3.0, ended=None, **more):
    onset, last = DAY + timedelta(days=from_day), DAY + timedelta(days=to_day)
    return Candidate("V1", element, kind, "medium", 0.8, onset, last, ended, "s.", **more)


def test_what_a_stuck_float_brings_about_is_told_inside_it():
    stuck = candidate("float_stuck_open", "water_dump")
    (told,) = arbitrate([candidate("oil_in_water", "vessel", 0.5), stuck, candidate("gas_in_liquid", "vessel", 0.2)])
    assert told.kind == "float_stuck_open"
    assert set(told.also) == {"oil_in_water", "gas_in_liquid"}


def test_what_began_long_before_is_no_consequence():
    told = arbitrate([candidate("water_in_oil", "vessel", -6.0), candidate("float_stuck_closed", "water_dump")])
    assert [c.kind for c in told] == ["water_in_oil", "float_stuck_closed"]


def test_a_frozen_level_explains_the_level_but_not_the_pressure():
    told = arbitrate(
        [
            candidate("instrument_frozen", "instrument:interface_level"),
            candidate("interface_setpoint_step", "water_dump", 0.2),
            candidate("oil_valve_setpoint_drift", "oil_valve", 0.2),
        ]
    )
    assert {c.kind for c in told} == {"instrument_frozen", "oil_valve_setpoint_drift"}


def test_flow_beyond_the_travel_of_a_hunting_dump_is_told_inside_the_hunting():
    told = arbitrate([candidate("dump_leaking", "water_dump"), candidate("dump_hunting", "water_dump", 0.1)])
    assert [(c.kind, c.also) for c in told] == [("dump_hunting", ("dump_leaking",))]


def test_a_level_that_rose_past_its_opening_level_and_then_rests_is_a_stuck_float_not_a_frozen_reading():
    above = (Evidence("time above the opening level", 36000.0, "s", 0.0),)
    stuck = candidate("float_stuck_closed", "water_dump", evidence=above)
    (told,) = arbitrate([candidate("instrument_frozen", "instrument:interface_level", 0.1), stuck])
    assert told.kind == "float_stuck_closed"
    assert told.instead[0].kind == "instrument_frozen"


def test_a_level_that_froze_before_it_could_pass_the_opening_level_is_a_frozen_reading():
    above = (Evidence("time above the opening level", 36000.0, "s", 0.0),)
    stuck = candidate("float_stuck_closed", "water_dump", evidence=above)
    (told,) = arbitrate([candidate("instrument_frozen", "instrument:interface_level", -0.1), stuck])
    assert told.kind == "instrument_frozen"


def _move(kind, element, by, **more):
    return candidate(kind, element, evidence=(Evidence("held", 300.0 + by, "kPag", 300.0),), **more)


def test_two_valves_that_move_in_step_are_one_transmitter():
    oil = _move("oil_valve_setpoint_drift", "oil_valve", 12.0)
    gas = _move("gas_valve_setpoint_drift", "gas_valve", 11.0)
    (told,) = arbitrate([oil, gas])
    assert (told.kind, told.element) == ("instrument_drift", "instrument:vessel_pressure")


@pytest.mark.parametrize("by", [-11.0, 3.0])
def test_two_valves_that_move_apart_are_two_findings(by):
    oil = _move("oil_valve_setpoint_drift", "oil_valve", 12.0)
    gas = _move("gas_valve_setpoint_drift", "gas_valve", by)
    assert len(arbitrate([oil, gas])) == 2


def test_order_of_detectors_decides_nothing():
    found = [
        candidate("float_stuck_open", "water_dump"),
        candidate("pressure_not_held", "oil_valve", 0.1),
        candidate("oil_in_water", "vessel", 0.3),
        candidate("vessel_undersized", "vessel", 0.2),
    ]
    assert arbitrate(found) == arbitrate(found[::-1])


def test_causes_and_consequences_are_kinds_and_no_pair_explains_each_other():
    for cause, consequences in CONSEQUENCES.items():
        assert {cause, *consequences} <= KINDS.keys()
        for consequence in consequences:
            assert cause not in CONSEQUENCES.get(consequence, ())


def unusual(from_day):
    return candidate("unusual_day", "vessel", from_day, from_day + 1.0)


@pytest.mark.parametrize("from_day", [-1.5, 0.0, 2.0, 3.5])
def test_an_unusual_day_is_told_inside_the_finding_that_touches_it(from_day):
    (told,) = arbitrate([unusual(from_day), candidate("dump_leaking", "water_dump", 0.0, 3.0)])
    assert (told.kind, told.also) == ("dump_leaking", ("unusual_day",))


@pytest.mark.parametrize("from_day", [-2.5, 6.5])
def test_an_unusual_day_apart_from_every_finding_is_told(from_day):
    told = arbitrate([unusual(from_day), candidate("dump_leaking", "water_dump", 0.0, 3.0)])
    assert {c.kind for c in told} == {"dump_leaking", "unusual_day"}


def test_days_after_a_long_fault_are_first_compared_with_it():
    fault = candidate("dump_leaking", "water_dump", -20.0, 0.0)
    assert [c.kind for c in arbitrate([fault, unusual(6.0)])] == ["dump_leaking"]
    assert [c.kind for c in arbitrate([fault, unusual(8.5)])] == ["dump_leaking", "unusual_day"]


def test_a_dump_that_runs_on_days_after_it_began_to_leak_is_the_leak_that_has_grown():
    leak, ran = candidate("dump_leaking", "water_dump"), candidate("float_stuck_open", "water_dump", 3.0, 6.0)
    (told,) = arbitrate([leak, replace(ran, priority="high")])
    assert (told.kind, told.also, told.priority) == ("dump_leaking", ("float_stuck_open",), "high")
    assert told.last_seen == ran.last_seen


def test_water_that_leaves_through_a_jammed_dump_is_no_leak_beside_it():
    leak, ran = candidate("dump_leaking", "water_dump", 0.3), candidate("float_stuck_open", "water_dump", 0.0, 6.0)
    (told,) = arbitrate([leak, ran])
    assert (told.kind, told.also) == ("float_stuck_open", ("dump_leaking",))


def test_water_held_back_for_want_of_pressure_makes_the_lost_pressure_urgent():
    shut = replace(candidate("float_stuck_closed", "water_dump", 1.0), priority="high")
    (told,) = arbitrate([candidate("pressure_not_held", "oil_valve"), shut])
    assert (told.kind, told.priority) == ("pressure_not_held", "high")


def test_level_and_pressure_that_left_and_came_back_together_are_worth_knowing_only():
    moves = [
        candidate(kind, element, 0.1, 2.0, ended=DAY + timedelta(days=2.2))
        for kind, element in (("interface_setpoint_step", "water_dump"), ("oil_valve_setpoint_drift", "oil_valve"))
    ]
    told = arbitrate(moves)
    assert [(c.priority, c.instead[0].kind) for c in told] == [("low", "wells shut in")] * 2


def test_level_and_pressure_that_stay_where_they_went_are_two_moves():
    moves = [
        candidate("interface_setpoint_step", "water_dump", 0.1), candidate("oil_valve_setpoint_drift", "oil_valve", 0.1)
    ]  # fmt: skip
    assert [c.priority for c in arbitrate(moves)] == ["medium", "medium"]


def test_a_signal_that_stays_silent_after_the_others_came_back_is_one_silence_with_theirs():
    whole = candidate("data_gap", "vessel", 0.0, 2.0, ended=DAY + timedelta(days=2))
    (told,) = arbitrate([whole, candidate("data_gap", "instrument:vessel_pressure", 2.0, 5.0)])
    assert (told.element, told.ended, told.last_seen) == ("vessel", None, DAY + timedelta(days=5))
    assert "vessel pressure" in told.summary


def test_a_silence_of_one_signal_days_later_is_another():
    whole = candidate("data_gap", "vessel", 0.0, 2.0, ended=DAY + timedelta(days=2))
    assert len(arbitrate([whole, candidate("data_gap", "instrument:vessel_pressure", 4.0, 5.0)])) == 2


@pytest.mark.parametrize(("swing", "cause"), [(10.0, "gas_valve_setpoint_step"), (40.0, "back_pressure_hunting")])
def test_a_swing_is_told_inside_a_larger_move_and_a_smaller_move_inside_the_swing(swing, cause):
    hunting = (Evidence("swing of the pressure", swing, "kPa", 3.0),)
    told = arbitrate(
        [
            _move("gas_valve_setpoint_step", "gas_valve", 30.0),
            candidate("back_pressure_hunting", "gas_valve", 0.2, evidence=hunting),
        ]
    )
    assert [c.kind for c in told] == [cause]


def test_dumps_too_small_to_be_seen_are_no_leak_beside_the_short_cycling():
    leak, short = candidate("dump_leaking", "water_dump"), candidate("dump_short_cycling", "water_dump", 2.0)
    assert [(c.kind, c.also) for c in arbitrate([leak, short])] == [("dump_short_cycling", ("dump_leaking",))]


def test_what_is_only_worth_knowing_does_not_hide_what_needs_a_visit():
    doubtful = replace(candidate("dump_restricted", "water_dump"), priority="low")
    told = arbitrate([doubtful, candidate("interface_setpoint_step", "water_dump", 0.1)])
    assert {c.kind for c in told} == {"dump_restricted", "interface_setpoint_step"}


def test_water_that_leaves_through_a_dump_that_cannot_keep_up_is_no_leak_beside_it():
    above = (Evidence("time above the opening level", 36000.0, "s", 0.0),)
    full = candidate("dump_restricted", "water_dump", evidence=above)
    (told,) = arbitrate([full, candidate("dump_leaking", "water_dump", 0.3)])
    assert (told.kind, told.also) == ("dump_restricted", ("dump_leaking",))


def test_an_anode_that_died_explains_no_unusual_day():
    lost = candidate("anode_current_lost", "anode:A1", -20.0, 10.0)
    assert {c.kind for c in arbitrate([lost, unusual(2.0)])} == {"anode_current_lost", "unusual_day"}


def test_an_anode_that_stays_silent_is_told_by_name_inside_the_silence_of_all():
    whole = candidate("data_gap", "vessel", ended=DAY + timedelta(days=3))
    (told,) = arbitrate([whole, candidate("data_gap", "instrument:anode_current:A1")])
    assert "Still silent after that: anode current of A1." in told.summary
