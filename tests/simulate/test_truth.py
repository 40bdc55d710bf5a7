from datetime import datetime

import pytest

from nightgauge.simulate import random_fleet
from nightgauge.simulate.design import PSI
from nightgauge.simulate.faults import KINDS
from nightgauge.simulate.plan import DAY_S, Fault
from nightgauge.simulate.truth import kinds, truth_rows
from nightgauge.vocabulary.kinds import KINDS as TOLD

P, H, L = "vessel_pressure", "inlet_pressure", "interface_level"


@pytest.mark.parametrize(
    ("fault", "signals", "same"),
    [
        (Fault("dump_leaking", 0.0), (L,), set()),
        (Fault("interface_setpoint_drift", 0.0), (L, P, H), {"instrument_drift"}),
        (Fault("instrument_drift", 0.0, signal=L), (L, P, H), {"interface_setpoint_drift"}),
        (Fault("instrument_drift", 0.0, signal=P), (P, H), set()),
        (
            Fault("instrument_drift", 0.0, signal=P),
            (P,),
            {"oil_valve_setpoint_drift", "gas_valve_setpoint_drift"},
        ),
        (Fault("oil_valve_setpoint_drift", 0.0, size=-20.0), (P,), {"instrument_drift"}),
        (Fault("oil_valve_setpoint_drift", 0.0, size=-20.0), (P, H), set()),
        (Fault("gas_valve_setpoint_drift", 0.0, size=-3.5 * PSI), (P, H), {"back_pressure_margin_lost"}),
        (Fault("gas_valve_setpoint_drift", 0.0, size=3.5 * PSI), (P, H), set()),
        (Fault("back_pressure_margin_lost", 0.0, size=-25.0, ramp_s=DAY_S), (P, H), {"gas_valve_setpoint_drift"}),
        (Fault("back_pressure_margin_lost", 0.0, size=-25.0), (P, H), {"gas_valve_setpoint_step"}),
        (Fault("dump_hunting", 0.0), (L,), {"float_sticking"}),
    ],
)
def test_alternatives_are_what_the_signals_cannot_tell_apart(make_vessel, fault, signals, same):
    first, *others = kinds(make_vessel(signals=signals, faults=[fault]), fault)
    assert first == fault.kind
    assert set(others) == same


def test_rows_follow_the_vessels_with_the_fields_offset_and_open_ends(make_vessel, make_plan):
    lasting, over = Fault("dump_leaking", DAY_S, size=2.0), Fault("data_gap", DAY_S, 1.5 * DAY_S)
    rows = truth_rows(make_plan(make_vessel(faults=[lasting, over]), days=3))
    assert rows["start"].to_list() == ["2026-04-07T00:00:00-06:00"] * 2
    assert rows["end"].to_list() == ["", "2026-04-07T12:00:00-06:00"]
    assert rows["detail"][0] == "seat passes a Cv of 2.00 when shut at once"


def test_every_drawn_fault_lies_inside_the_plan_and_has_kinds_that_findings_have():
    plan = random_fleet(120, 42, seed=3)
    rows = truth_rows(plan)
    assert rows.height > 40
    for row in rows.iter_rows(named=True):
        assert set(row["kind"].split("|")) <= set(TOLD)
        assert plan.start < datetime.fromisoformat(row["start"]) < plan.end
        assert row["end"] == "" or row["start"] < row["end"]
    assert set(KINDS) <= set(TOLD)
