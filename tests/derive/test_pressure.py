from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from nightgauge.derive.past import Past
from nightgauge.field.settings import BackPressureValve
from nightgauge.vocabulary.frames import VESSEL_DAYS

DAY_S = 86400.0
WHEN = np.arange(0, 2 * DAY_S, 60.0)


@pytest.fixture
def set_valves(knockout):
    return replace(
        knockout, oil_valve=(BackPressureValve(holds_kpag=300.0),), gas_valve=(BackPressureValve(holds_kpag=330.0),)
    )


@pytest.fixture
def held(signal_samples, derive):
    """Both days of a vessel from its pressure, oil rate and gas rate."""

    def run(vessel, pressure, oil=None, gas=None, earlier=None, hours=48):
        parts = [signal_samples("vessel_pressure", np.broadcast_to(pressure, WHEN.shape).tolist(), times_s=WHEN)]
        if oil is not None:
            parts.append(signal_samples("oil_rate", np.broadcast_to(oil, WHEN.shape).tolist(), times_s=WHEN))
        if gas is not None:
            parts.append(signal_samples("gas_rate", np.broadcast_to(gas, WHEN.shape).tolist(), times_s=WHEN))
        return derive(pl.concat(parts), vessel, hours=hours, earlier=earlier)

    return run


def swinging(low, high, hours):
    """A load that goes up and down with the given period."""
    return low + (high - low) * (0.5 - 0.5 * np.cos(2 * np.pi * WHEN / (hours * 3600.0)))


def past_days(loads):
    days = [date(2026, 2, 10) + timedelta(days=k) for k in range(len(loads))]
    return VESSEL_DAYS.build(
        pl.DataFrame(
            {"vessel": ["T-1"] * len(loads), "day": days, "oil_load_m3_per_day": loads},
            schema_overrides={"day": pl.Date},
        )
    )


def test_without_load_or_gas_all_of_the_pressure_is_the_oil_valves(held, knockout):
    found = held(knockout, 301.0 + 0.5 * np.sin(WHEN))
    assert found.days["oil_hold_kpag"].to_list() == pytest.approx([301.0, 301.0], abs=0.05)
    assert found.days["gas_clip_kpag"].to_list() == [None, None]
    assert found.hours["oil_hold_kpag"].null_count() == 0


def test_droop_is_taken_out_so_that_a_busier_day_is_no_drift(held, set_valves):
    # A spring that lets the pressure rise by 0.05 kPa per m3/day; the second day carries twice the oil.
    oil = swinging(100.0, 200.0, 6) * np.where(WHEN < DAY_S, 1.0, 2.0)
    found = held(set_valves, 300.0 + 0.05 * oil, oil=oil, earlier=past_days([150.0] * 14)).days
    raw = 0.05 * 150.0
    assert found["oil_droop_kpa_per_m3_per_day"].to_list() == pytest.approx([0.05, 0.05], rel=0.05)
    assert found["oil_hold_kpag"].to_list() == pytest.approx([300.0 + raw] * 2, abs=0.3)


def test_a_drift_of_the_setting_is_not_taken_for_droop(held, set_valves):
    oil = swinging(100.0, 200.0, 6)
    drifting = 300.0 + 6.0 * WHEN / (2 * DAY_S)
    found = held(set_valves, drifting + 0.05 * oil, oil=oil, earlier=past_days([150.0] * 14)).days["oil_hold_kpag"]
    assert found[1] - found[0] == pytest.approx(3.0, abs=0.3)


def test_pressure_belongs_to_the_gas_valve_while_gas_flows(held, set_valves):
    # Six hours at the oil valve without gas, six at the gas valve with gas, in turn.
    flows = (WHEN // (6 * 3600)) % 2 == 1
    found = held(set_valves, np.where(flows, 331.0, 302.0), gas=np.where(flows, 5000.0, 0.0))
    assert found.days["oil_hold_kpag"].to_list() == pytest.approx([302.0] * 2)
    assert found.days["gas_clip_kpag"].to_list() == pytest.approx([331.0] * 2)
    hourly = found.hours["gas_clip_kpag"].to_list()
    assert hourly[1:5] == [None] * 4
    assert hourly[7:11] == pytest.approx([331.0] * 4)


def test_a_day_that_does_not_come_down_to_the_oil_valve_has_no_oil_hold(held, set_valves):
    # Dips after dumps shut the gas valve for ten minutes an hour, at 325 kPa.
    dips = WHEN % 3600 < 600
    found = held(set_valves, np.where(dips, 325.0, 331.0), gas=np.where(dips, 0.0, 5000.0)).days
    assert found["oil_hold_kpag"].to_list() == [None, None]
    assert found["gas_clip_kpag"].to_list() == pytest.approx([331.0] * 2)


def test_a_day_without_gas_has_no_gas_clip(held, set_valves):
    found = held(set_valves, 302.0, gas=0.0).days
    assert found["oil_hold_kpag"].to_list() == pytest.approx([302.0] * 2)
    assert found["gas_clip_kpag"].to_list() == [None, None]


def test_gas_that_only_seeps_does_not_matter(held, set_valves):
    # A tenth of the volume of a vessel of 30 m3 in a day.
    found = held(set_valves, 302.0, gas=3.0 * (1.0 + np.sin(WHEN / 5000.0))).days
    assert found["gas_clip_kpag"].to_list() == [None, None]


def test_gas_that_always_flows_keeps_the_pressure_on_the_nearer_setting(held, set_valves):
    assert held(set_valves, 332.0, gas=5000.0).days["gas_clip_kpag"].to_list() == pytest.approx([332.0] * 2)
    below = held(set_valves, 304.0, gas=5000.0).days
    assert below["oil_hold_kpag"].to_list() == pytest.approx([304.0] * 2)
    assert below["gas_clip_kpag"].to_list() == [None, None]


def test_the_pressure_of_a_vessel_at_rest_is_nobodys(held, set_valves):
    # Shut in for half of each day: the pressure sags, nothing flows.
    flowing = WHEN % DAY_S < 0.5 * DAY_S
    found = held(set_valves, np.where(flowing, 302.0, 250.0), oil=np.where(flowing, 100.0, 0.0)).days
    assert found["oil_hold_kpag"].to_list() == pytest.approx([302.0] * 2)


def test_an_hour_of_pressure_makes_no_day_without_readings(held, set_valves, derive, make_samples):
    assert held(set_valves, 302.0, hours=0.75).days["oil_hold_kpag"].to_list() == [None]
    assert derive(make_samples(interface_level=[1.0] * 360), set_valves).days["oil_hold_kpag"].to_list() == [None]


def test_the_reference_is_the_first_fortnight_and_grows_until_it_is_full():
    past = Past.of(past_days([100.0, None, 300.0]))
    assert past.reference("oil_load_m3_per_day") == 200.0
    assert past.reference("oil_load_m3_per_day", today=200.0) == 200.0
    full = Past.of(past_days([float(k) for k in range(1, 15)]))
    assert full.and_then({"oil_load_m3_per_day": 900.0}).reference("oil_load_m3_per_day", today=900.0) == 7.5
    assert np.isnan(Past.of(VESSEL_DAYS.empty()).reference("oil_load_m3_per_day"))
