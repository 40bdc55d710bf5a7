"""Deadlines of the bench, each worked by hand."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from nightgauge.field.settings import BackPressureValve, Field, Vessel
from nightgauge.score.promptness import Pace, deadline, paces_of
from nightgauge.score.truth import known_faults
from nightgauge.vocabulary.frames import DUMP_CYCLES

MAY = datetime(2026, 5, 1, tzinfo=UTC)
PSI = 6.894757293168361


def fault(kind, detail="", end="", vessel="A"):
    row = {"vessel": vessel, "kind": kind, "start": MAY.isoformat(), "end": end, "detail": detail}
    return known_faults(pl.DataFrame([row]))[0]


def hours_until_due(known, **pace):
    due = deadline(known, {"A": Pace(**pace)})
    return None if due is None else (due - MAY).total_seconds() / 3600.0


@pytest.mark.parametrize("kind", ["float_stuck_closed", "float_stuck_open"])
@pytest.mark.parametrize(("period_h", "hours"), [(None, 6.0), (0.5, 6.0), (2.0, 6.0), (5.0, 15.0)])
def test_a_stuck_float_is_due_the_night_after_six_hours_or_three_periods(kind, period_h, hours):
    period_s = None if period_h is None else 3600.0 * period_h
    assert hours_until_due(fault(kind), period_s=period_s) == hours + 24.0


def test_a_stuck_float_that_lets_go_before_it_is_due_has_no_deadline():
    let_go = (MAY + timedelta(hours=5)).isoformat()
    assert hours_until_due(fault("float_stuck_closed", end=let_go)) is None


@pytest.mark.parametrize(
    ("held_psi", "days"),
    [
        (40.0, 3.0),  # 3 % of 40 psi is 1.2 psi, so 1.5 psi of 5 psi in 10 days
        (100.0, 6.0),  # 3 psi
    ],
)
def test_a_drift_is_due_before_it_has_moved_3_percent_or_1_5_psi(held_psi, days):
    drift = fault("oil_valve_setpoint_drift|instrument_drift", "spring moved -5.00 psi over 10.0 days")
    assert hours_until_due(drift, oil_kpag=held_psi * PSI) == pytest.approx(24.0 * days)


def test_the_gas_valve_is_measured_by_what_it_holds():
    drift = fault("gas_valve_setpoint_drift", "spring moved +6.00 psi over 12.0 days")
    assert hours_until_due(drift, oil_kpag=10.0, gas_kpag=100.0 * PSI) == pytest.approx(24.0 * 6.0)


def test_a_reading_in_kpa_and_one_in_metres():
    pressure = fault("instrument_drift", "reading of vessel_pressure goes wrong by -41.4 kPa over 8.0 days")
    assert hours_until_due(pressure, oil_kpag=40.0 * PSI) == pytest.approx(24.0 * 2.0, rel=1e-3)  # 1.5 of 6 psi
    level = fault("instrument_drift", "reading of interface_level goes wrong by +0.102 m over 8.0 days")
    assert hours_until_due(level) == pytest.approx(24.0 * 4.0, rel=0.01)  # 2 of 4 in


def test_an_interface_is_due_before_it_has_moved_2_inches():
    drift = fault("interface_setpoint_drift|instrument_drift", "float marks move -4.00 in over 12.0 days")
    assert hours_until_due(drift) == pytest.approx(24.0 * 6.0)


@pytest.mark.parametrize(
    "detail",
    [
        "spring moved -1.40 psi over 10.0 days",  # never moves so far
        "spring moved -4.00 psi at once",
        "spring moved -4.00 in over 10.0 days",  # no pressure
        "spring moved a little over 10.0 days",
        "",
    ],
)
def test_a_drift_whose_growth_is_small_or_not_told_has_no_deadline(detail):
    assert hours_until_due(fault("oil_valve_setpoint_drift", detail), oil_kpag=40.0 * PSI) is None


def test_other_kinds_and_unknown_pressures_have_no_deadline():
    assert hours_until_due(fault("dump_leaking")) is None
    assert hours_until_due(fault("oil_valve_setpoint_drift", "spring moved -5.00 psi over 10.0 days")) is None


def test_a_vessels_period_is_the_median_of_its_first_weeks(tmp_path):
    vessel = Vessel("A", "separator", oil_valve=(BackPressureValve(holds_kpag=300.0),))
    field = Field(tmp_path / "field.toml", "Two", "UTC", (), (), (vessel, Vessel("B", "separator")))
    starts = [MAY + timedelta(hours=2 * n) for n in range(5)] + [MAY + timedelta(days=20, minutes=n) for n in range(50)]
    cycles = DUMP_CYCLES.build({"vessel": ["A"] * len(starts), "opened_utc": starts})
    paces = paces_of(field, cycles, MAY)
    assert paces["A"] == Pace(7200.0, 300.0, None)
    assert paces["B"] == Pace()
